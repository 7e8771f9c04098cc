"""Layers with their forecasts: what is on each panel at a moment, and what is to come.

The forecasts of all panels are asked for together. A film, that is a forecast after the touch tests with its days
worked out, is kept under its content, so that a page that is asked for again works out nothing twice.
"""

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cached_property, lru_cache, partial
from json import loads
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Row

from server.science.finish_tests import PASSED, PRESSES
from server.science.recipe import Ground, LayerRecipe, Room
from server.science.results import FilmState, LayerEstimate, Stage, StageRange
from server.science.soundness.types import Material
from server.science.stages import HARDNESS, after_test
from server.services.board.facts import DaySpan, Moment
from server.services.board.rows import StudioRows
from server.services.board.spans import day_span, later_of
from server.services.climates import Climate, room_in
from server.services.forecasts import FORECASTS, Forecast, NoForecast, Question
from server.services.give_way import give_way
from server.services.kept import Kept, content
from server.services.learning import Taught
from server.services.learning_data import anchored, book_layers
from server.services.learning_effects import Where
from server.services.learning_finish import finish_press
from server.services.recipes import MixBook, ground_of, layer_content, layer_from_json, layer_recipe, recipe_once
from server.services.verdicts import DRYING, SECONDS_PER_DAY, LaidLayer

FILMS_KEPT = 24_000
# Pressed within this time, tests at several places of a panel belong together.
ONE_ROUND = timedelta(hours=1)
# A thumb turned, a fingernail pressed in, and what they leave behind in paint that is firm.
DRY = HARDNESS[FilmState.TOUCH_DRY]
NO_MIXES = "The layer does not say which mixes it is painted with."


@dataclass(frozen=True, slots=True)
class Film:
    """The forecast of a layer that is on.

    ``stages`` are days after painting once the touch tests spoke (what a test found behind the film was reached by
    then), ``days`` the same as dates. Both are empty, and ``no_forecast`` says why, when there is none.
    """

    recipe: LayerRecipe | None
    estimate: LayerEstimate | None
    stages: Mapping[Stage, StageRange]
    days: Mapping[Stage, DaySpan]
    holds_up: str | None
    no_forecast: str | None


@dataclass(frozen=True, slots=True)
class LayerOn:
    """A layer that is on a panel; ``number`` counts from 1 at the bottom."""

    row: Row[Any]
    number: int
    laid: LaidLayer
    film: Film
    tests: Sequence[Row[Any]]
    regions: Sequence[Row[Any]]
    taught: Taught | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True)
class LayerToCome:
    """A planned layer. ``content`` stands for its recipe, which is None while it names no mixes."""

    row: Row[Any]
    number: int
    material: Material
    content: Hashable
    ground: Ground
    climate: Climate
    regions: Sequence[Row[Any]]
    book: MixBook = field(repr=False)
    taught: Taught | None = None

    @cached_property
    def recipe(self) -> LayerRecipe | None:
        return recipe_once(self.content, partial(layer_recipe, self.row, self.regions, self.book, self.ground))

    @property
    def key(self) -> Hashable:
        """Stands for its recipe and for what touch tests taught of it."""
        return self.content, None if self.taught is None else self.taught.key

    @property
    def is_drying(self) -> bool:
        """Whether the drying model speaks of it."""
        return self.material in DRYING

    def question(self, on: date, zone: ZoneInfo) -> Question | None:
        """The layer laid at noon of a day; None when the model has nothing to say of it."""
        if self.recipe is None or self.material not in DRYING:
            return None
        key = ("to come", self.content, self.climate.key, on, zone.key)
        return Question(key, partial(_planned_pair, self.recipe, self.climate, (on, zone)), self.taught)


@dataclass(frozen=True, slots=True)
class PanelLayers:
    """One panel's layers at a moment, lowest first."""

    panel: Row[Any]
    climate: Climate
    on: tuple[LayerOn, ...]
    to_come: tuple[LayerToCome, ...]


@dataclass(slots=True)
class _Draft:
    """A layer that is on, while its film is being looked up."""

    row: Row[Any]
    key: Hashable
    question: Question | None
    observed: FilmState | None
    observed_at: datetime | None
    tests: Sequence[Row[Any]] = field(default=())


def panel_layers(rows: StudioRows, moment: Moment) -> list[PanelLayers]:
    """The layers of every panel of ``rows``, in their order, at the moment looked at."""
    drafts = {panel.id: _drafts(rows, panel, moment) for panel in rows.panels}
    films = _films((draft for group in drafts.values() for draft in group), moment.zone)
    return [_panel(rows, panel, drafts[panel.id], films, moment) for panel in rows.panels]


def _drafts(rows: StudioRows, panel: Row[Any], moment: Moment) -> list[_Draft]:
    give_way()
    painted = [
        row for row in rows.layers.get(panel.id, ()) if row.painted_at is not None and row.painted_at <= moment.at
    ]
    return [_draft(rows, row, (where_of(rows, panel, row), row is painted[-1]), moment) for row in painted]


def where_of(rows: StudioRows, panel: Row[Any], layer: Row[Any] | None = None) -> Where:
    """Where a painted layer of a panel dries, or one that is still to come."""
    if layer is None or layer.painted_at is None:
        return rows.where.ahead(panel.id, panel.place_id)
    return rows.where.of_layer(panel.id, panel.place_id, layer.painted_at)


def _panel(
    rows: StudioRows, panel: Row[Any], drafts: Sequence[_Draft], films: Mapping[Hashable, Film], moment: Moment
) -> PanelLayers:
    on = tuple(_layer_on(draft, number, films[draft.key], rows) for number, draft in enumerate(drafts, 1))
    there = {draft.row.id for draft in drafts}
    coming = [row for row in rows.layers.get(panel.id, ()) if row.id not in there]
    where = where_of(rows, panel)
    to_come = tuple(_to_come(rows, panel, row, number, where) for number, row in enumerate(coming, len(drafts) + 1))
    return PanelLayers(panel, where.climate, on, to_come)


def _layer_on(draft: _Draft, number: int, film: Film, rows: StudioRows) -> LayerOn:
    row = draft.row
    laid = LaidLayer(
        key=draft.key,
        material=Material(row.material),
        painted_at=row.painted_at,
        stages=dict(film.estimate.stages) if film.estimate else {},
        recipe=film.recipe,
        surface=row.surface,
        observed=draft.observed,
        observed_at=draft.observed_at,
    )
    taught = None if draft.question is None else draft.question.taught
    return LayerOn(row, number, laid, film, draft.tests, rows.regions.get(row.id, ()), taught)


def _to_come(rows: StudioRows, panel: Row[Any], row: Row[Any], number: int, where: Where) -> LayerToCome:
    regions = rows.regions.get(row.id, ())
    ground = ground_of(number - 1, panel.ground_kind, panel.ground_surface)
    return LayerToCome(
        row=row,
        number=number,
        material=Material(row.material),
        content=layer_content(row, regions, rows.book, ground),
        ground=ground,
        climate=where.climate,
        regions=regions,
        book=rows.book,
        taught=rows.learning.of(where),
    )


def _draft(rows: StudioRows, row: Row[Any], seen: tuple[Where, bool], moment: Moment) -> _Draft:
    where, is_top = seen
    tests = [test for test in rows.tests.get(row.id, ()) if test.pressed_at <= moment.at]
    made = [test for test in rows.finish_tests.get(row.panel_id, ()) if test.tested_at <= moment.at]
    zone = moment.zone
    key: Hashable = ("on", row.recipe_text, row.painted_at, where.climate.key, zone.key)
    question = None
    if row.recipe_text is not None and row.material in DRYING:
        pair = partial(_frozen_pair, row.recipe_text, where.climate, (row.painted_at, zone))
        finish = [finish_press(test, row.id) for test in made if is_top and test.tested_at >= row.painted_at]
        question = Question(key, pair, taught_of(rows, row, (where, [*tests, *finish]), zone))
        key = question.key
    pressed = [*_counted(tests, question), *finish_tests_as_pressed(made, row.painted_at, is_top)]
    observed, observed_at = film_test(sorted(pressed, key=lambda test: test.pressed_at) if made else pressed)
    return _Draft(row, content((key, observed, observed_at)), question, observed, observed_at, tests)


def taught_of(rows: StudioRows, row: Row[Any], pressed: tuple[Where, Sequence[Any]], zone: ZoneInfo) -> Taught | None:
    """What learning says of a layer that is on, its own tests counted as far as learning counts them."""
    where, tests = pressed
    if rows.learning.learned is None:
        return None
    if not tests:
        return rows.learning.of(where)
    [book] = book_layers([(row.recipe_text, row.painted_at, where)], zone)
    presses = {} if book is None else anchored(book.presses(tests, row.painted_at), tests)
    return rows.learning.of(where, row.uid, presses)


def _counted(tests: Sequence[Row[Any]], question: Question | None) -> Sequence[Any]:
    """The tests that speak of the whole layer; only where one names its region is the model asked which one is slow."""
    if question is None or not any(test.region for test in tests):
        return tests
    forecast = FORECASTS.one(question)
    if not isinstance(forecast, LayerEstimate):
        return tests
    return of_the_whole(tests, [region.name for region in forecast.regions], holding_region(forecast))


def film_test(tests: Sequence[Any]) -> tuple[FilmState | None, datetime | None]:
    """What the touch tests say of a film: the last one counts.

    Tests at several places, pressed within the hour before it, belong to the same round: of these, the last at each
    place, the softest counts, since a layer is as dry as its slowest place. ``tests`` run from the earliest on.
    """
    if not tests:
        return None, None
    last = tests[-1].pressed_at
    round_of = {(test.place_on_panel, test.region): test for test in tests if last - test.pressed_at <= ONE_ROUND}
    softest = min(round_of.values(), key=lambda test: HARDNESS[FilmState(test.stage)])
    return FilmState(softest.stage), softest.pressed_at


def _films(drafts: Iterable[_Draft], zone: ZoneInfo) -> dict[Hashable, Film]:
    wanted = {draft.key: draft for draft in drafts}
    films = FILMS.among(wanted)
    new = [draft for key, draft in wanted.items() if key not in films]
    asked = [draft.question for draft in new if draft.question is not None]
    answers = dict(zip((question.key for question in asked), FORECASTS.ask(asked), strict=True))
    made = {draft.key: _film(draft, answers, zone) for draft in new}
    FILMS.keep(made)
    return films | made


def _film(draft: _Draft, answers: Mapping[Hashable, Forecast], zone: ZoneInfo) -> Film:
    give_way()
    row = draft.row
    recipe = None if row.recipe_text is None else frozen_recipe(row.recipe_text)
    forecast = None if draft.question is None else answers[draft.question.key]
    if not isinstance(forecast, LayerEstimate):
        missing = NO_MIXES if row.material in DRYING else None
        return Film(recipe, None, {}, {}, None, forecast.message if isinstance(forecast, NoForecast) else missing)
    stages = as_found(forecast, row.painted_at, (draft.observed, draft.observed_at))
    days = stage_days(row.painted_at, stages, zone)
    return Film(recipe, forecast, stages, days, holding_region(forecast), None)


def as_found(
    forecast: LayerEstimate, painted_at: datetime, seen: tuple[FilmState | None, datetime | None]
) -> dict[Stage, StageRange]:
    """The layer's stages once the touch tests spoke; ``seen``: what they found, and when."""
    observed, observed_at = seen
    seen_d = None
    if observed_at is not None:
        seen_d = max(0.0, (observed_at - painted_at).total_seconds() / SECONDS_PER_DAY)
    return found_reached(after_test(forecast.stages, observed, seen_d), observed, seen_d)


@dataclass(frozen=True, slots=True)
class Pressed:
    """A test as a film takes it."""

    pressed_at: datetime
    stage: str
    place_on_panel: str = ""
    region: str = ""


def finish_tests_as_pressed(tests: Iterable[Row[Any]], painted_at: datetime, is_top: bool) -> list[Pressed]:
    """What a thumb or a fingernail in the finished picture says of one of its layers.

    No mark: every film below it is firm. A mark: the top one is not, whatever else is not.
    """
    found = []
    for test in tests:
        if test.tested_at < painted_at or test.method not in PRESSES:
            continue
        if test.result in PASSED:
            found.append(Pressed(test.tested_at, FilmState.FIRM.value, test.place_on_panel))
        elif is_top:
            found.append(Pressed(test.tested_at, FilmState.TOUCH_DRY.value, test.place_on_panel))
    return found


def of_the_whole(tests: Sequence[Any], names: Sequence[str], holding: str | None) -> list[Any]:
    """The tests that speak of the layer as a whole.

    A region that was found dry says nothing of the one the layer waits for; one that was found soft does.
    """
    if holding is None:
        return list(tests)
    return [
        test
        for test in tests
        if test.region == holding or test.region not in names or HARDNESS[FilmState(test.stage)] < DRY
    ]


# What a film has behind it when the painter finds it in a state.
_BEHIND: dict[FilmState, tuple[Stage, ...]] = {
    FilmState.TACKY: (Stage.SET_TO_TOUCH,),
    FilmState.TOUCH_DRY: (Stage.SET_TO_TOUCH, Stage.DRY_TO_TOUCH),
    FilmState.FIRM: (Stage.SET_TO_TOUCH, Stage.DRY_TO_TOUCH, Stage.DRY_TO_RECOAT, Stage.DRY_THROUGH),
}


def found_reached(
    stages: Mapping[Stage, StageRange], observed: FilmState | None, seen_d: float | None
) -> dict[Stage, StageRange]:
    """The ranges of a film found in a state at ``seen_d`` days: what it has behind it was reached by then."""
    if observed is None or seen_d is None:
        return dict(stages)
    behind = _BEHIND.get(observed, ())
    return {stage: _at_most(found, seen_d) if stage in behind else found for stage, found in stages.items()}


def _at_most(found: StageRange, seen_d: float) -> StageRange:
    return StageRange(*(min(getattr(found, name), seen_d) for name in StageRange.__dataclass_fields__))


def holding_region(estimate: LayerEstimate) -> str | None:
    """The region the layer waits for; None when it has only one."""
    if len(estimate.regions) < 2:
        return None
    return next((region.name for region in estimate.regions if region.holds_up), None)


def stage_days(start: datetime, stages: Mapping[Stage, StageRange], zone: ZoneInfo) -> Mapping[Stage, DaySpan]:
    """The stages as dates, each worked out when it is asked for: most pages tell one or two of a layer's."""
    return StageDays(start, stages, zone)


class StageDays(Mapping[Stage, DaySpan]):
    """A very thick film's varnish stage leaves out what lies deep in it: no day is told for the varnish before the one
    on which the film is dry through."""

    __slots__ = ("_found", "_stages", "_start", "_zone")

    def __init__(self, start: datetime, stages: Mapping[Stage, StageRange], zone: ZoneInfo) -> None:
        self._start, self._stages, self._zone = start, stages, zone
        self._found: dict[Stage, DaySpan] = {}

    def __getitem__(self, stage: Stage) -> DaySpan:
        found = self._found.get(stage)
        if found is None:
            found = day_span(self._start, self._stages[stage], self._zone)
            if stage is Stage.FINAL_VARNISH and Stage.DRY_THROUGH in self._stages:
                found = later_of(found, self[Stage.DRY_THROUGH])
            self._found[stage] = found
        return found

    def __iter__(self) -> Iterator[Stage]:
        return iter(self._stages)

    def __len__(self) -> int:
        return len(self._stages)


@lru_cache(maxsize=FILMS_KEPT)
def frozen_recipe(text: str) -> LayerRecipe:
    """The recipe kept with a painted layer, from its JSON text."""
    return layer_from_json(loads(text))


def _frozen_pair(text: str, climate: Climate, when: tuple[datetime, ZoneInfo]) -> tuple[LayerRecipe, Room]:
    return frozen_recipe(text), room_in(climate, *when)


def _planned_pair(recipe: LayerRecipe, climate: Climate, when: tuple[date, ZoneInfo]) -> tuple[LayerRecipe, Room]:
    on, zone = when
    return recipe, room_in(climate, datetime(on.year, on.month, on.day, 12, tzinfo=zone), zone)


FILMS: Kept[Film] = Kept(FILMS_KEPT)
