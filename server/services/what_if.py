"""What if a layer were laid otherwise: thinner, with another medium or pigment, or where it is warmer.

The layer is taken as it was painted or as it is planned; nothing is changed. The same question is asked of the model
for the layer as it is, as it is tried out, and for a few ways to have it dry sooner, all in one call. What of a layer
that lies can still be changed, the air around it, is answered from now on: see ``what_if_lying.py``.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.science import reference
from server.science.breakdown import breakdown
from server.science.recipe import LayerRecipe, Room
from server.science.results import LayerEstimate, Stage
from server.services import pigment_names
from server.services.access import Actor
from server.services.board.facts import Moment
from server.services.board.films import LayerOn, LayerToCome, panel_layers, stage_days, where_of
from server.services.board.rows import StudioRows, load
from server.services.climates import Climate, room_in
from server.services.errors import FieldError, Invalid
from server.services.forecasts import FORECASTS, Forecast, NoForecast, question_of
from server.services.on_panel import LayerOnPanel
from server.services.verdicts import DRYING
from server.services.what_if_changes import changed, with_medium, with_pigment, with_thinner
from server.services.what_if_lying import from_now
from server.services.what_if_reasons import culprit_of, holder_of, reasons
from server.services.what_if_types import (
    TRIED_PCT,
    Dates,
    LayerNow,
    WhatIfAnswer,
    WhatIfQuestion,
    place_of,
    worth_telling,
)

__all__ = ["WhatIfAnswer", "WhatIfQuestion", "layer_now", "work_out"]
TRIED_PIGMENT = "PBr7/burnt umber"


def layer_now(session: Session, actor: Actor, here: LayerOnPanel, moment: Moment) -> tuple[LayerNow, StudioRows] | None:
    """The layer as it is; None for one that no date can be given for: it names no mix that dries as oil."""
    uid = here.layer.uid
    rows = load(session, actor, here.panel.uid)
    if rows is None:
        return None
    [layers] = panel_layers(rows, moment)
    every: list[LayerOn | LayerToCome] = [*layers.on, *layers.to_come]
    found = next((layer for layer in every if layer.row.uid == uid), None)
    recipe = None if found is None else _recipe(found)
    if found is None or recipe is None or found.row.material not in DRYING:
        return None
    lying = found if isinstance(found, LayerOn) else None
    layer = LayerNow(
        uid,
        found.row.kind,
        here.panel.uid,
        here.panel.title,
        recipe,
        where_of(rows, layers.panel, found.row if lying else None).climate,
        found.row.painted_at if lying else _planned(found.row.planned_on, moment),
        moment.at,
        found.taught,
        lying,
    )
    return layer, rows


def _recipe(found: LayerOn | LayerToCome) -> LayerRecipe | None:
    recipe = found.film.recipe if isinstance(found, LayerOn) else found.recipe
    return recipe if recipe is not None and recipe.mixes else None


def _planned(planned_on: date | None, moment: Moment) -> datetime:
    """Noon of the day a layer is planned for, of today where that is past or not said."""
    day = moment.today if planned_on is None else max(moment.today, planned_on)
    return datetime(day.year, day.month, day.day, 12, tzinfo=moment.zone)


def work_out(layer: LayerNow, rows: StudioRows, question: WhatIfQuestion, zone: ZoneInfo) -> WhatIfAnswer:
    """The dates of a layer as it is and as it is tried out. Raises ``Invalid`` at a field."""
    if layer.lying is not None and not question.is_of_the_paint:
        return from_now(layer, rows, question, zone)
    return _laid_anew(layer, rows, question, zone)


def _laid_anew(layer: LayerNow, rows: StudioRows, question: WhatIfQuestion, zone: ZoneInfo) -> WhatIfAnswer:
    tried = _tried(layer, question, rows)
    now = (layer.recipe, _room(layer, layer.climate, zone))
    before = breakdown(*now)
    ways = {} if layer.is_painted else _ways(layer, rows, holder_of(before))
    pairs = [now, *((recipe, _room(layer, climate, zone)) for recipe, climate in (tried, *ways.values()))]
    first, second, *others = _ask(layer, pairs)
    if isinstance(first, NoForecast) or isinstance(second, NoForecast):
        fault = next(f.message for f in (first, second) if isinstance(f, NoForecast))
        raise Invalid([FieldError("region", f"No date can be given: {fault}")])
    as_it_is, parts = _dates(layer, first, zone), breakdown(*pairs[1])
    found = {what: _dates(layer, each, zone) for what, each in zip(ways, others, strict=True) if _is_known(each)}
    return WhatIfAnswer(
        layer,
        as_it_is,
        None if now == pairs[1] else _dates(layer, second, zone),
        worth_telling(Stage.DRY_TO_TOUCH, as_it_is, found),
        culprit_of(layer.recipe, before),
        parts,
        Stage.DRY_TO_TOUCH,
        reasons(before, parts),
        layer.is_painted,
    )


def _is_known(forecast: Forecast) -> bool:
    return isinstance(forecast, LayerEstimate)


def _room(layer: LayerNow, climate: Climate, zone: ZoneInfo) -> Room:
    return room_in(climate, layer.laid_at, zone)


def _ask(layer: LayerNow, pairs: Sequence[tuple[LayerRecipe, Room]]) -> list[Forecast]:
    """The tests of a layer that lies say nothing of one laid otherwise; what others taught holds."""
    taught = None if layer.taught is None else replace(layer.taught, layer_uid="", presses=())
    return FORECASTS.ask([question_of(pair, taught) for pair in pairs])


def _dates(layer: LayerNow, found: Forecast, zone: ZoneInfo) -> Dates:
    assert isinstance(found, LayerEstimate)
    by_region = tuple((region.name, region.stages) for region in found.regions)
    return Dates(found.stages, stage_days(layer.laid_at, found.stages, zone), by_region)


def _tried(layer: LayerNow, question: WhatIfQuestion, rows: StudioRows) -> tuple[LayerRecipe, Climate]:
    recipe, climate = layer.recipe, layer.climate
    if question.region is not None and question.region >= len(recipe.mixes):
        raise Invalid([FieldError("region", "The layer has no such mix.")])
    chosen = range(len(recipe.mixes)) if question.region is None else [question.region]
    if question.wet_thickness_um is not None:
        recipe = replace(recipe, wet_thickness_um=question.wet_thickness_um)
    for place in chosen:
        if question.medium:
            recipe = changed(recipe, place, with_medium(recipe.mixes[place], question.medium, question.medium_pct))
        if question.pigment:
            found = pigment_names.read(question.pigment)
            recipe = changed(recipe, place, with_pigment(recipe.mixes[place], found.key, question.pigment_pct))
    if question.thinner_pct is not None:
        mixes = tuple(with_thinner(mix, question.thinner_pct) for mix in recipe.mixes)
        recipe = replace(recipe, mixes=mixes)
    if question.place_uid is not None:
        climate = place_of(rows, question.place_uid).climate.seen_from(layer.laid_at)
    if question.temperature_c is not None:
        climate = climate.as_warm_as(question.temperature_c)
    return recipe, climate


def _ways(layer: LayerNow, rows: StudioRows, holder: int) -> dict[str, tuple[LayerRecipe, Climate]]:
    """Changes worth a try, by what a painter would call them."""
    recipe, climate = layer.recipe, layer.climate
    mix = recipe.mixes[holder]
    inside = f" in “{mix.name}”" if len(recipe.mixes) > 1 else " in it"
    thinner = round(recipe.wet_thickness_um / 2, -1) or recipe.wet_thickness_um / 2
    umber = reference.find_pigment("PBr7", "burnt umber").label
    ways = {
        f"{TRIED_PCT:.0f} % {umber}{inside}": (
            changed(recipe, holder, with_pigment(mix, TRIED_PIGMENT, TRIED_PCT)),
            climate,
        ),
        f"10 % alkyd gel medium{inside}": (changed(recipe, holder, with_medium(mix, "alkyd", 10.0)), climate),
        f"{thinner:g} µm instead of {recipe.wet_thickness_um:g} µm": (
            replace(recipe, wet_thickness_um=thinner),
            climate,
        ),
        "3 °C more in the room": (recipe, climate.warmer(3.0)),
    }
    slow = {paint.oil for paint in mix.paints} - {"linseed", "boiled_linseed", "sun_thickened_linseed", "perilla"}
    if slow:
        paints = tuple(replace(paint, oil="linseed" if paint.oil in slow else paint.oil) for paint in mix.paints)
        ways[f"the same colours ground in linseed{inside}"] = (
            changed(recipe, holder, replace(mix, paints=paints)),
            climate,
        )
    for place in list(rows.places.values())[:6]:
        there = place.climate.seen_from(layer.laid_at)
        if there != climate:
            ways[f"drying in “{place.name}”"] = (recipe, there)
    return ways
