"""A layer to come, laid on a day: its forecast, and how the rules are told of it and of what goes over it later."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Row

from server.science.recipe import Ground, LayerRecipe
from server.science.results import LayerEstimate
from server.services.board.films import LayerToCome
from server.services.forecasts import FORECASTS, Forecast
from server.services.verdicts import Coming, LaidLayer


def forecast_on(layer: LayerToCome, on: date, zone: ZoneInfo) -> Forecast | None:
    """The forecast of a layer laid at noon of a day; None where the drying model has nothing to say of it."""
    question = layer.question(on, zone)
    return None if question is None else FORECASTS.one(question)


def forecasts_on(laid_on: Sequence[tuple[LayerToCome, date]], zone: ZoneInfo) -> dict[str, Forecast]:
    """The same of many, each on its day, by their uids; what is not kept of them is worked out together."""
    asked = [(layer.row.uid, layer.question(on, zone)) for layer, on in laid_on]
    questions = {uid: question for uid, question in asked if question is not None}
    return dict(zip(questions, FORECASTS.ask(list(questions.values())), strict=True))


def coming(layer: LayerToCome, estimate: LayerEstimate | None, on: date) -> Coming:
    """The layer as the rules ask about it, laid ``on`` that day."""
    recipe = layer.recipe or without_mixes(layer.row)
    stages = dict(estimate.stages) if estimate else {}
    return Coming((layer.key, layer.climate.key, on), layer.material, stages, recipe, bool(layer.row.wet_in_wet))


def laid(layer: LayerToCome, upper: Coming, at: datetime) -> LaidLayer:
    """The layer as the rules find it below another one, once it went on at that instant."""
    return LaidLayer((upper.key, at), layer.material, at, upper.stages, layer.recipe, layer.row.surface)


def without_mixes(row: Row[Any]) -> LayerRecipe:
    """What the rules are told of a layer that is not made of mixes, such as acrylic."""
    return LayerRecipe(row.wet_thickness_um, Ground.PAINT, ())
