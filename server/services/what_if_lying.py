"""What if a layer that lies already dried elsewhere, or warmer, from now on.

What it met so far stays, and its touch tests count as they do on every other page: the same posterior is carried on
through another room from this moment.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from server.science.breakdown import breakdown
from server.science.recipe import Room
from server.science.results import FilmState, LayerEstimate, Stage, StageRange
from server.science.stages import HARDNESS
from server.services.board.films import LayerOn, as_found, holding_region, stage_days
from server.services.board.rows import StudioRows
from server.services.climates import Climate, room_in
from server.services.errors import FieldError, Invalid
from server.services.forecasts import FORECASTS, Forecast, NoForecast, question_of
from server.services.what_if_reasons import culprit_of, reasons
from server.services.what_if_types import Dates, LayerNow, WhatIfAnswer, WhatIfQuestion, place_of, worth_telling

# The stages a painter waits for, and what a test must have found for each to be behind.
WAITED_FOR = {
    Stage.DRY_TO_TOUCH: HARDNESS[FilmState.TOUCH_DRY],
    Stage.DRY_TO_RECOAT: HARDNESS[FilmState.FIRM],
    Stage.DRY_THROUGH: HARDNESS[FilmState.FIRM],
}


def from_now(layer: LayerNow, rows: StudioRows, question: WhatIfQuestion, zone: ZoneInfo) -> WhatIfAnswer:
    """The dates of a layer that is on, and those it would have from now on as it is tried out.

    Raises ``Invalid`` at a field.
    """
    lying = layer.lying
    assert lying is not None
    tried = _tried(layer, rows, question)
    ways = _ways(layer, rows)
    climates = [layer.climate, layer.climate if tried is None else tried, *ways.values()]
    now, then, *others = (_found(layer, each, zone) for each in _ask(layer, climates, zone))
    if now is None or then is None:
        raise Invalid([FieldError("place_uid", "No date can be given for this layer.")])
    target = _target(lying, now.ranges, layer.now)
    ahead = [breakdown(layer.recipe, room_in(_ahead(each), layer.now, zone)) for each in climates[:2]]
    return WhatIfAnswer(
        layer,
        now,
        None if tried is None else then,
        worth_telling(target, now, {what: each for what, each in zip(ways, others, strict=True) if each}),
        culprit_of(layer.recipe, ahead[0]),
        breakdown(layer.recipe, _room(layer, climates[1], zone)),
        target,
        reasons(*ahead),
    )


def _tried(layer: LayerNow, rows: StudioRows, question: WhatIfQuestion) -> Climate | None:
    """The air it would meet; None where nothing is tried out."""
    if question.place_uid is None and question.temperature_c is None:
        return None

    def changed(here: Climate) -> Climate:
        there = here
        if question.place_uid is not None:
            there = place_of(rows, question.place_uid).climate.seen_from(layer.laid_at)
        return there if question.temperature_c is None else there.as_warm_as(question.temperature_c)

    return layer.climate.from_now(layer.now, changed)


def _ways(layer: LayerNow, rows: StudioRows) -> dict[str, Climate]:
    """What can still be done for a layer that lies: carry it elsewhere, or heat."""
    here = _ahead(layer.climate)
    ways = {"3 °C more in the room from now on": layer.climate.from_now(layer.now, lambda each: each.warmer(3.0))}
    for place in list(rows.places.values())[:6]:
        there = place.climate.seen_from(layer.laid_at)
        if there != here:
            carried = layer.climate.from_now(layer.now, lambda _, there=there: there)  # type: ignore[misc]
            ways[f"drying in “{place.name}” from now on"] = carried
    return ways


def _ahead(climate: Climate) -> Climate:
    """The place that holds in the end."""
    return climate.then[-1][1] if climate.then else climate


def _room(layer: LayerNow, climate: Climate, zone: ZoneInfo) -> Room:
    return room_in(climate, layer.laid_at, zone)


def _ask(layer: LayerNow, climates: Sequence[Climate], zone: ZoneInfo) -> list[Forecast]:
    pairs = [(layer.recipe, _room(layer, climate, zone)) for climate in climates]
    return FORECASTS.ask([question_of(pair, layer.taught) for pair in pairs])


def _found(layer: LayerNow, forecast: Forecast, zone: ZoneInfo) -> Dates | None:
    """The dates after the layer's own tests; of the mix it waits for too."""
    lying = layer.lying
    if isinstance(forecast, NoForecast) or lying is None:
        return None
    stages = as_found(forecast, layer.laid_at, (lying.laid.observed, lying.laid.observed_at))
    return Dates(stages, stage_days(layer.laid_at, stages, zone), _by_region(forecast, stages))


def _by_region(
    forecast: LayerEstimate, stages: Mapping[Stage, StageRange]
) -> tuple[tuple[str, Mapping[Stage, StageRange]], ...]:
    holding = holding_region(forecast)
    return tuple(
        (region.name, stages if holding in (None, region.name) else region.stages) for region in forecast.regions
    )


def _target(lying: LayerOn, stages: Mapping[Stage, StageRange], now: datetime) -> Stage:
    """The next stage that the painter waits for."""
    age_d = lying.laid.age_d(now)
    found = 0 if lying.laid.observed is None else HARDNESS[lying.laid.observed]
    for stage, hardness in WAITED_FOR.items():
        if found < hardness and stages[stage].p90_d > age_d:
            return stage
    return Stage.FINAL_VARNISH
