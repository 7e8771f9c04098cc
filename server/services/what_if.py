"""What if a layer were laid otherwise: thinner, with another medium or pigment, or where it is warmer.

The layer is taken as it was painted or as it is planned; nothing is changed. The same question is asked of the model
for the layer as it is, as it is tried out, and for a few ways to have it dry sooner, all in one call.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, Field
from sqlmodel import Session

from server.science import reference
from server.science.breakdown import RegionBreakdown, breakdown
from server.science.recipe import Addition, AdditionKind, LayerRecipe, MixRecipe, Paint, PigmentShare, Room
from server.science.results import LayerEstimate, RegionEstimate, Stage
from server.services import pigment_names
from server.services.access import Actor
from server.services.board.facts import DaySpan, Moment
from server.services.board.films import LayerOn, LayerToCome, panel_layers, where_of
from server.services.board.rows import StudioRows, load
from server.services.board.spans import day_span
from server.services.climates import Climate, room_in
from server.services.errors import FieldError, Invalid
from server.services.fields import Command, Text32, Uid
from server.services.forecasts import FORECASTS, Forecast, NoForecast, question_of
from server.services.learning import Taught
from server.services.on_panel import LayerOnPanel
from server.services.verdicts import DRYING

MOST_WAYS = 5
OF_A_MIX = frozenset({"oil", "pigment", "additions"})  # what differs from mix to mix; the rest is the layer's
SLOWS = 1.05  # a factor that is worth a word
WORTH_D = 0.25  # a way that saves less is not told
TRIED_PIGMENT, TRIED_PCT = "PBr7/burnt umber", 15.0
Percent = Annotated[float, Field(gt=0, le=90)]


def _known_pigment(text: str) -> str:
    try:
        pigment_names.read(text)
    except pigment_names.Unclear as error:
        raise ValueError(str(error)) from None
    return text


class WhatIfQuestion(Command):
    """What is tried out; what is left empty stays as it is.

    ``region``: the mix that medium and pigment go into, by its place among the layer's mixes; all of them without.
    ``medium_pct`` and ``pigment_pct``: of the mix's volume once they are in.
    """

    wet_thickness_um: Annotated[float, Field(ge=1, le=10_000)] | None = None
    thinner_pct: Annotated[float, Field(ge=0, le=95)] | None = None
    region: Annotated[int, Field(ge=0, le=40)] | None = None
    medium: Literal["", "alkyd", "linseed", "walnut", "poppy", "safflower", "stand_linseed"] = ""
    medium_pct: Percent = 10.0
    pigment: Annotated[Text32 | Literal[""], AfterValidator(lambda text: _known_pigment(text) if text else text)] = ""
    pigment_pct: Percent = TRIED_PCT
    place_uid: Uid | None = None
    temperature_c: Annotated[float, Field(ge=-10, le=45)] | None = None


@dataclass(frozen=True, slots=True)
class LayerNow:
    """The layer that is asked about: its recipe, its climate and when it went on, or would."""

    uid: str
    kind: str
    panel_uid: str
    panel_title: str
    is_painted: bool
    recipe: LayerRecipe
    climate: Climate
    laid_at: datetime
    taught: Taught | None = field(repr=False)


@dataclass(frozen=True, slots=True)
class Dates:
    """When each stage is reached, as dates in the studio's zone, and the same of each region."""

    estimate: LayerEstimate
    stages: dict[Stage, DaySpan]
    regions: tuple[dict[Stage, DaySpan], ...]


@dataclass(frozen=True, slots=True)
class Way:
    """Something that would have the layer touch-dry sooner: what, and when that would be."""

    what: str
    touch: DaySpan
    sooner_d: float


@dataclass(frozen=True, slots=True)
class WhatIfAnswer:
    """``tried`` is None while nothing is tried out. ``culprit``: what holds the layer, in words."""

    layer: LayerNow
    now: Dates
    tried: Dates | None
    ways: tuple[Way, ...]
    culprit: str
    parts: tuple[RegionBreakdown, ...]


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
    painted = found.row.painted_at if isinstance(found, LayerOn) else None
    where = where_of(rows, layers.panel, found.row if painted else None)
    taught = found.taught if isinstance(found, LayerToCome) else rows.learning.of(where)
    return (
        LayerNow(
            uid,
            found.row.kind,
            here.panel.uid,
            here.panel.title,
            painted is not None,
            recipe,
            where.climate,
            painted or _planned(found.row.planned_on, moment),
            taught,
        ),
        rows,
    )


def _recipe(found: LayerOn | LayerToCome) -> LayerRecipe | None:
    recipe = found.film.recipe if isinstance(found, LayerOn) else found.recipe
    return recipe if recipe is not None and recipe.mixes else None


def _planned(planned_on: date | None, moment: Moment) -> datetime:
    """Noon of the day a layer is planned for, of today where that is past or not said."""
    day = moment.today if planned_on is None else max(moment.today, planned_on)
    return datetime(day.year, day.month, day.day, 12, tzinfo=moment.zone)


def work_out(layer: LayerNow, rows: StudioRows, question: WhatIfQuestion, zone: ZoneInfo) -> WhatIfAnswer:
    """The dates of a layer as it is and as it is tried out. Raises ``Invalid`` at a field."""
    tried = _tried(layer, question, rows)
    now = (layer.recipe, _room(layer, layer.climate, zone))
    holder, culprit = _held_up(*now)
    ways = _ways(layer, rows, holder)
    pairs = [now, *((recipe, _room(layer, climate, zone)) for recipe, climate in (tried, *ways.values()))]
    first, second, *others = _ask(layer, pairs)
    if isinstance(first, NoForecast) or isinstance(second, NoForecast):
        fault = next(f.message for f in (first, second) if isinstance(f, NoForecast))
        raise Invalid([FieldError("region", f"No date can be given: {fault}")])
    return WhatIfAnswer(
        layer,
        _dates(layer, first, zone),
        None if now == pairs[1] else _dates(layer, second, zone),
        _worth_telling(layer, first, dict(zip(ways, others, strict=True)), zone),
        culprit,
        breakdown(*pairs[1]),
    )


def _room(layer: LayerNow, climate: Climate, zone: ZoneInfo) -> Room:
    return room_in(climate, layer.laid_at, zone)


def _ask(layer: LayerNow, pairs: Sequence[tuple[LayerRecipe, Room]]) -> list[Forecast]:
    return FORECASTS.ask([question_of(pair, layer.taught) for pair in pairs])


def _dates(layer: LayerNow, found: LayerEstimate, zone: ZoneInfo) -> Dates:
    def days(stages: LayerEstimate | RegionEstimate) -> dict[Stage, DaySpan]:
        return {stage: day_span(layer.laid_at, span, zone) for stage, span in stages.stages.items()}

    return Dates(found, days(found), tuple(days(region) for region in found.regions))


# What is tried out


def _tried(layer: LayerNow, question: WhatIfQuestion, rows: StudioRows) -> tuple[LayerRecipe, Climate]:
    recipe, climate = layer.recipe, layer.climate
    if question.region is not None and question.region >= len(recipe.mixes):
        raise Invalid([FieldError("region", "The layer has no such mix.")])
    chosen = range(len(recipe.mixes)) if question.region is None else [question.region]
    if question.wet_thickness_um is not None:
        recipe = replace(recipe, wet_thickness_um=question.wet_thickness_um)
    for place in chosen:
        if question.medium:
            recipe = _changed(recipe, place, with_medium(recipe.mixes[place], question.medium, question.medium_pct))
        if question.pigment:
            found = pigment_names.read(question.pigment)
            recipe = _changed(recipe, place, with_pigment(recipe.mixes[place], found.key, question.pigment_pct))
    if question.thinner_pct is not None:
        mixes = tuple(with_thinner(mix, question.thinner_pct) for mix in recipe.mixes)
        recipe = replace(recipe, mixes=mixes)
    if question.place_uid is not None:
        place_row = next((row for row in rows.places.values() if row.uid == question.place_uid), None)
        if place_row is None:
            raise Invalid([FieldError("place_uid", "There is no such place in this studio.")])
        climate = place_row.climate.seen_from(layer.laid_at)
    if question.temperature_c is not None:
        climate = climate.as_warm_as(question.temperature_c)
    return recipe, climate


def _changed(recipe: LayerRecipe, place: int, mix: MixRecipe) -> LayerRecipe:
    return replace(recipe, mixes=(*recipe.mixes[:place], mix, *recipe.mixes[place + 1 :]))


def _parts(mix: MixRecipe) -> float:
    return sum(paint.parts for paint in mix.paints) + sum(addition.parts for addition in mix.additions)


def _in_it(mix: MixRecipe, pct: float) -> float:
    """Parts of what is to be ``pct`` of the mix once it is in."""
    return _parts(mix) * pct / (100.0 - pct)


def with_medium(mix: MixRecipe, medium: str, pct: float) -> MixRecipe:
    """The mix with so many per cent of a medium in it: ``alkyd`` gel, or an oil by its name."""
    parts = _in_it(mix, pct)
    if medium == "alkyd":
        added = Addition(AdditionKind.ALKYD_MEDIUM, parts, non_volatile=0.5)
    else:
        added = Addition(AdditionKind.OIL, parts, oil=medium)
    return replace(mix, additions=(*mix.additions, added))


def with_pigment(mix: MixRecipe, key: str, pct: float) -> MixRecipe:
    """The mix with so many per cent of a tube of that pigment, ground in linseed, in it."""
    ci_name, _, variant = key.partition("/")
    tube = Paint(_in_it(mix, pct), "linseed", (PigmentShare(ci_name, variant or None),))
    return replace(mix, paints=(*mix.paints, tube))


def with_thinner(mix: MixRecipe, pct: float) -> MixRecipe:
    """The mix with ``pct`` of its volume thinner, instead of what thinner it has; what mediums bring stays."""
    bare = tuple(addition for addition in mix.additions if addition.kind is not AdditionKind.SOLVENT)
    plain = replace(mix, additions=bare)
    if pct <= 0:
        return plain
    solvent = next((a.solvent for a in mix.additions if a.kind is AdditionKind.SOLVENT), "odourless_mineral_spirits")
    return replace(plain, additions=(*bare, Addition(AdditionKind.SOLVENT, _in_it(plain, pct), solvent=solvent)))


# What would have it dry sooner


def _held_up(recipe: LayerRecipe, room: Room) -> tuple[int, str]:
    """The mix that all wait for, and what slows it most, in words."""
    parts = breakdown(recipe, room)
    holder = max(range(len(parts)), key=lambda place: parts[place].touch_d)
    own = [factor for factor in parts[holder].factors if factor.name in OF_A_MIX]
    heaviest = max(own, key=lambda factor: factor.factor)
    if heaviest.factor < SLOWS or (len(parts) == 1 and heaviest.factor < parts[0].weightiest.factor):
        heaviest = parts[holder].weightiest
    if heaviest.name == "pigment":
        culprit = _slowest_pigment(recipe.mixes[holder])
    else:
        words = {
            "oil": "the slow oil",
            "thickness": "its thickness",
            "room": "the room",
            "additions": "the wax or clove oil",
        }
        culprit = words.get(heaviest.name, "the paint itself")
    if len(parts) > 1 and heaviest.name in OF_A_MIX:
        culprit += f" in {recipe.mixes[holder].name}"
    return holder, culprit


def _slowest_pigment(mix: MixRecipe) -> str:
    weights: dict[str, float] = {}
    for paint in mix.paints:
        for pigment in paint.pigments:
            row = reference.find_pigment(pigment.ci_name, pigment.variant)
            weights[row.label] = weights.get(row.label, 0.0) + paint.parts * pigment.share * (row.touch_multiplier - 1)
    return f"the {max(weights, key=weights.__getitem__)}" if weights else "the paint itself"


def _ways(layer: LayerNow, rows: StudioRows, holder: int) -> dict[str, tuple[LayerRecipe, Climate]]:
    """Changes worth a try, by what a painter would call them."""
    recipe, climate = layer.recipe, layer.climate
    mix = recipe.mixes[holder]
    inside = f" in {mix.name}" if len(recipe.mixes) > 1 else " in it"
    thinner = round(recipe.wet_thickness_um / 2, -1) or recipe.wet_thickness_um / 2
    umber = reference.find_pigment("PBr7", "burnt umber").label
    ways = {
        f"{TRIED_PCT:.0f} % {umber}{inside}": (
            _changed(recipe, holder, with_pigment(mix, TRIED_PIGMENT, TRIED_PCT)),
            climate,
        ),
        f"10 % alkyd gel medium{inside}": (_changed(recipe, holder, with_medium(mix, "alkyd", 10.0)), climate),
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
            _changed(recipe, holder, replace(mix, paints=paints)),
            climate,
        )
    for place in list(rows.places.values())[:6]:
        there = place.climate.seen_from(layer.laid_at)
        if there != climate:
            ways[f"drying in “{place.name}”"] = (recipe, there)
    return ways


def _worth_telling(layer: LayerNow, now: LayerEstimate, found: dict[str, Forecast], zone: ZoneInfo) -> tuple[Way, ...]:
    """The ways that bring the touch-dry day nearer, those that save most first."""
    central = now.stages[Stage.DRY_TO_TOUCH].p50_d
    ways = []
    for what, forecast in found.items():
        if isinstance(forecast, NoForecast):
            continue
        touch = forecast.stages[Stage.DRY_TO_TOUCH]
        if central - touch.p50_d >= WORTH_D:
            ways.append(Way(what, day_span(layer.laid_at, touch, zone), central - touch.p50_d))
    return tuple(sorted(ways, key=lambda way: way.sooner_d, reverse=True)[:MOST_WAYS])
