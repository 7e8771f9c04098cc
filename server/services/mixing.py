"""A mix on the palette: what it is, how it will dry in a room, and what the rules say of it over a panel's top layer.

Nothing is kept here. Composition, forecast and verdict come from where the boards take them, so that the same mix
says the same on every page.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, Field
from sqlmodel import Session

from server.formats.swatch import mix_swatch
from server.science.breakdown import RegionBreakdown, breakdown
from server.science.composition import Amounts, amounts, compose, needed_ml
from server.science.errors import InputError
from server.science.keeping import Keeps, keeps
from server.science.recipe import Ground, LayerRecipe, MixRecipe, PigmentShare
from server.science.recipe import Paint as PaintInMix
from server.science.reference import thickness_presets
from server.science.results import Composition, LayerEstimate, Stage, StageRange
from server.science.search import Want
from server.services import hazards, mixes, places, records
from server.services.access import Actor
from server.services.board.facts import DaySpan, Moment
from server.services.board.films import PanelLayers, panel_layers, where_of
from server.services.board.rows import StudioRows, load
from server.services.board.snapshot import snapshot
from server.services.board.spans import day_span
from server.services.climates import Climate, room_in
from server.services.errors import Invalid
from server.services.fields import Day, OptionalText120, PercentShare, Uid, WetThicknessUm
from server.services.forecasts import FORECASTS, NoForecast, question_of
from server.services.learning import Taught
from server.services.learning_effects import Where
from server.services.mixes import MixContent
from server.services.mixing_find import FoundMixes, find
from server.services.mixing_over import AskedOver, OverPanel, over_panel
from server.services.mixing_palette import Bench, bench_of
from server.services.recipes import MixBook, ground_of
from server.services.tube_use import TEXTURE_FACTORS
from server.store.tables import MixPart, Place, Texture

DEFAULT_PRESET = "normal_brush"
USUAL_LOSS = 1.3
AMOUNT_WITHOUT_PANEL_ML = 10.0
# Touch-dry time against titanium white in linseed, as thick, in the same room: bounds and words of ours.
DRYING_CLASSES = (
    (0.5, "very fast"),
    (0.8, "fast"),
    (1.25, "about like titanium white in linseed"),
    (1.8, "slow"),
    (float("inf"), "very slow"),
)


def _known_preset(name: str) -> str:
    if name not in {preset.name for preset in thickness_presets()}:
        raise ValueError("Choose one of the list.")
    return name


class MixingQuestion(MixContent):
    """What is on the palette and where it is to go.

    ``wet_thickness_um`` wins over ``preset``; ``panel_uid`` None: over nothing in particular; ``stack``: over what is
    on the panel now, or over what is planned for it as well; ``place_uid`` counts without a panel; ``loss``: what
    brush and palette keep, as a factor. ``find`` asks for mixes that are sound there by ``find_by``.
    """

    label: OptionalText120 = ""
    preset: Annotated[str, Field(max_length=32), AfterValidator(_known_preset)] = DEFAULT_PRESET
    wet_thickness_um: WetThicknessUm | None = None
    panel_uid: Uid | None = None
    stack: Literal["now", "planned"] = "now"
    place_uid: Uid | None = None
    texture: Texture = "smooth"
    coverage_pct: PercentShare = 100.0
    loss: Annotated[float, Field(ge=1, le=5)] = USUAL_LOSS
    find_by: Day | None = None
    find_want: Literal["goes_on", "touch_dry"] = "goes_on"
    find: Literal["", "yes"] = ""

    @property
    def wet_um(self) -> float:
        if self.wet_thickness_um is not None:
            return self.wet_thickness_um
        return next(preset.wet_thickness_um for preset in thickness_presets() if preset.name == self.preset)


@dataclass(frozen=True, slots=True)
class Ingredient:
    """One line of the mix with its share of the wet volume (0 to 1) and its millilitres; ``drops`` of clove oil."""

    label: str
    share: float
    ml: float
    drops: float | None = None


@dataclass(frozen=True, slots=True)
class Quantity:
    """Millilitres to mix, and how many of them are tube paint; ``area_cm2`` of the panel, None without one."""

    wet_ml: float
    paint_ml: float
    area_cm2: float | None


@dataclass(frozen=True, slots=True)
class Times:
    """When a layer of the mix, painted now, will be dry.

    ``touch`` in days after painting, the others as dates; ``ratio`` is its touch time against titanium white in
    linseed, as thick, in the same room, and ``drying`` says the same in words; ``parts`` make the model's time. All are
    None and empty, and ``no_forecast`` tells why in plain words, for a mix that cannot be forecast.
    """

    estimate: LayerEstimate | None
    touch: StageRange | None = None
    touch_on: DaySpan | None = None
    recoat_on: DaySpan | None = None
    through_on: DaySpan | None = None
    ratio: float | None = None
    parts: tuple[RegionBreakdown, ...] = ()
    no_forecast: str | None = None

    @property
    def drying(self) -> str:
        if self.ratio is None:
            return ""
        return next(word for bound, word in DRYING_CLASSES if self.ratio <= bound)

    @property
    def warnings(self) -> tuple[str, ...]:
        return self.estimate.warnings if self.estimate else ()


@dataclass(frozen=True, slots=True)
class MixingAnswer:
    """Everything the Mixing page says of a mix; ``amounts`` are those of the whole quantity.

    ``painted_at`` is when it is taken to go on: now, or after what is planned. ``found`` where a mix was asked for.
    ``kept``: how long it may wait, by place; empty where it has no forecast.
    """

    swatch: str
    composition: Composition
    wet_um: float
    quantity: Quantity
    ingredients: tuple[Ingredient, ...]
    amounts: Amounts
    place: str
    times: Times
    hazards: tuple[str, ...]
    over: OverPanel | None
    painted_at: datetime
    found: FoundMixes | None = None
    kept: tuple[Keeps, ...] = ()


@dataclass(frozen=True, slots=True)
class _Room:
    """Where the mix dries, what it lies on there, and what touch tests taught of layers there."""

    place: str
    climate: Climate
    ground: Ground
    taught: Taught = field(repr=False)


@dataclass(frozen=True, slots=True)
class _Table:
    """What is worked with: the mix, its parts, the panel it may go over and the room it dries in."""

    question: MixingQuestion
    recipe: MixRecipe
    parts: Sequence[MixPart]
    labels: Sequence[str]
    rows: StudioRows | None
    panel: PanelLayers | None
    room: _Room
    bench: Bench


def work_out(
    session: Session, actor: Actor, question: MixingQuestion, moment: Moment, held: Sequence[MixPart] = ()
) -> MixingAnswer:
    """The answer for a mix painted at ``moment``. Raises ``Invalid`` at the field that makes no sense.

    ``held``: parts of a saved mix, which may name what was archived since.
    """
    table = _lay_out(session, actor, question, moment, held)
    layer = LayerRecipe(question.wet_um, table.room.ground, (table.recipe,))
    try:
        composition = compose(table.recipe, question.wet_um, table.room.ground)
    except InputError as fault:
        raise Invalid.at("parts", fault.message[0].upper() + fault.message[1:] + ".") from None
    quantity = _quantity(table)
    bench = replace(table.bench, ml_per_part=_ml_per_part(table, quantity))
    asked = _asked(table, layer, quantity, moment)
    painted_at = asked.at if asked and asked.at else moment.at
    times = _times(layer, composition, table.room, (painted_at, moment.zone))
    over = over_panel(asked, layer, times.estimate, bench) if asked else None
    return MixingAnswer(
        swatch=mix_swatch(table.recipe),
        composition=composition,
        wet_um=question.wet_um,
        quantity=quantity,
        ingredients=_ingredients(table, quantity.wet_ml),
        amounts=amounts(composition, quantity.wet_ml),
        place=table.room.place,
        times=times,
        hazards=hazards.kinds_of_mix(table.recipe),
        over=over,
        painted_at=painted_at,
        found=_found(question, over, moment),
        kept=keeps(table.recipe, times.estimate.stages) if times.estimate else (),
    )


def _found(question: MixingQuestion, over: OverPanel | None, moment: Moment) -> FoundMixes | None:
    """The search, where it was asked for. Raises ``Invalid`` at what it lacks."""
    if not question.find:
        return None
    if question.find_by is None:
        raise Invalid.at("find_by", "Say by which day.")
    if question.find_by < moment.on:
        raise Invalid.at("find_by", "That day is past.")
    if over is None:
        raise Invalid.at("panel_uid", "Choose the panel that the mix is for.")
    if over.tried is None:
        raise Invalid.at("panel_uid", "Nobody knows what lies on top of it, so the rules cannot be asked.")
    return find(over.tried, question.find_by, Want(question.find_want))


def _asked(table: _Table, layer: LayerRecipe, quantity: Quantity, moment: Moment) -> AskedOver | None:
    if table.panel is None or table.rows is None:
        return None
    return AskedOver(
        rows=table.rows,
        layers=table.panel,
        climate=table.room.climate,
        moment=moment,
        over_planned=table.question.stack == "planned",
        paint_ml=quantity.paint_ml or quantity.wet_ml,
        area_cm2=quantity.area_cm2,
        taught=table.room.taught,
    ).with_day(layer)


def _ml_per_part(table: _Table, quantity: Quantity) -> float:
    return quantity.wet_ml / sum(part.parts or 0.0 for part in table.parts)


def _lay_out(
    session: Session, actor: Actor, question: MixingQuestion, moment: Moment, held: Sequence[MixPart]
) -> _Table:
    columns = mixes.part_columns(session, actor, question, held)
    parts = [MixPart(mix_id=0, position=n, **values) for n, values in enumerate(columns)]
    rows = load(session, actor, question.panel_uid) if question.panel_uid else None
    if question.panel_uid and rows is None:
        raise Invalid.at("panel_uid", "Choose one of the list.")
    book = rows.book if rows else MixBook.load(session, actor.studio_id)
    recipe = book.try_out(question.label or "this mix", parts)
    if recipe is None:
        raise Invalid.at("parts", "Put at least one paint or medium in the mix.")
    panel = panel_layers(rows, moment)[0] if rows else None
    bench = bench_of(session, actor, question, book, (parts, question.wet_um))
    return _Table(
        question=question,
        recipe=recipe,
        parts=parts,
        labels=mixes.labels_of(session, parts),
        rows=rows,
        panel=panel,
        room=_panel_room(rows, panel, question) if rows and panel else _room(session, actor, question.place_uid),
        bench=replace(bench, drops_per_ml=rows.studio.drops_per_ml) if rows else bench,
    )


def _panel_room(rows: StudioRows, panel: PanelLayers, question: MixingQuestion) -> _Room:
    place = rows.place_of(panel.panel)
    below = len(panel.on) + (len(panel.to_come) if question.stack == "planned" else 0)
    ground = ground_of(below, panel.panel.ground_kind, panel.panel.ground_surface)
    where = where_of(rows, panel.panel)
    return _Room(place.name, where.climate, ground, rows.learning.of(where))


def _room(session: Session, actor: Actor, place_uid: str | None) -> _Room:
    """The chosen place, or the studio's first; over a dry layer of paint, as most layers are."""
    if place_uid is not None:
        place = records.find_named(session, actor, Place, place_uid, "place_uid")
    else:
        place = places.all_open(session, actor)[0]
    assert place.id is not None
    rows = snapshot(session, actor).rows
    where = Where(place.uid, rows.places[place.id].climate.ahead)
    return _Room(place.name, where.climate, Ground.PAINT, rows.learning.of(where))


def _quantity(table: _Table) -> Quantity:
    question = table.question
    total = sum(part.parts or 0.0 for part in table.parts)
    tube_share = sum(part.parts or 0.0 for part in table.parts if part.kind == "paint") / total
    if table.panel is None:
        return Quantity(AMOUNT_WITHOUT_PANEL_ML, AMOUNT_WITHOUT_PANEL_ML * tube_share, None)
    area_cm2 = table.panel.panel.width_mm * table.panel.panel.height_mm / 100
    texture = TEXTURE_FACTORS[question.texture]
    wet_ml = needed_ml(area_cm2, question.wet_um, question.coverage_pct / 100, texture, question.loss)
    return Quantity(wet_ml, wet_ml * tube_share, area_cm2)


def _ingredients(table: _Table, wet_ml: float) -> tuple[Ingredient, ...]:
    total = sum(part.parts or 0.0 for part in table.parts)
    found = []
    for part, label in zip(table.parts, table.labels, strict=True):
        if part.parts is not None and total > 0:
            share = part.parts / total
            found.append(Ingredient(label, share, share * wet_ml))
        elif part.drops_per_10_ml is not None:
            found.append(Ingredient(label, 0.0, 0.0, part.drops_per_10_ml * wet_ml / 10))
    return tuple(found)


def _times(layer: LayerRecipe, composition: Composition, there: _Room, painted: tuple[datetime, ZoneInfo]) -> Times:
    """The mix as every page forecasts it; and by the model alone, beside titanium white in linseed as thick as its
    film."""
    painted_at, zone = painted
    room = room_in(there.climate, painted_at, zone)
    white = MixRecipe("titanium white in linseed", 1.0, (PaintInMix(1.0, "linseed", (PigmentShare("PW6"),)),))
    compared = LayerRecipe(composition.film_thickness_um, Ground.SEALED, (white,))
    pairs = ((layer, room), (compared, room))
    found, book, usual = FORECASTS.ask([question_of(pairs[0], there.taught), *map(question_of, pairs)])
    if isinstance(found, NoForecast) or isinstance(book, NoForecast):
        fault = next(each for each in (found, book) if isinstance(each, NoForecast))
        return Times(None, no_forecast=fault.message)
    touch = found.stages[Stage.DRY_TO_TOUCH]
    ratio = None
    if isinstance(usual, LayerEstimate):
        ratio = book.stages[Stage.DRY_TO_TOUCH].p50_d / usual.stages[Stage.DRY_TO_TOUCH].p50_d
    return Times(
        estimate=found,
        touch=touch,
        touch_on=day_span(painted_at, touch, zone),
        recoat_on=day_span(painted_at, found.stages[Stage.DRY_TO_RECOAT], zone),
        through_on=day_span(painted_at, found.stages[Stage.DRY_THROUGH], zone),
        ratio=ratio,
        parts=breakdown(layer, room, book),
    )
