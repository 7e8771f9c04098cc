"""A studio's touch tests, and those of finished pictures, as learning takes them: read with a few queries, put on the
clock of the reference room.

Left out: tests marked as mistaken; layers that every test found dry already, unless the moment was asked for or it is
known when they were last seen wet (pressing only what looks dry makes dates come out early); tests from before
learning was begun anew, and those entered after it was frozen.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from json import loads
from math import exp
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import JSON, Row, String, and_, cast, or_, select, type_coerce
from sqlmodel import Session, col

from server.science.climate import Clock, reference_clock
from server.science.learning import Evidence, Felt, Press
from server.science.learning.drift import LOOK_BACK_D, drift_effects
from server.science.learning.scoring import FEWEST, Promise
from server.science.recipe import LayerRecipe, Room
from server.science.reference import value
from server.science.results import LayerEstimate
from server.services import learning_finish
from server.services.climates import room_in
from server.services.forecasts import FORECASTS, Question
from server.services.kept import Kept
from server.services.learning import (
    BOOK,
    NO_DRIFT,
    Drift,
    Material,
    Presses,
    StudioLearning,
    Unit,
    learned_from,
    never_soft,
)
from server.services.learning_correction import raw_promise
from server.services.learning_effects import Where, priors_for
from server.services.learning_finish import SWAB_BLUR
from server.services.learning_moves import book_evidence, varnish_after_through
from server.services.learning_scales import (
    AT_ONCE,
    IDLE,
    STORED_COLUMNS,
    Given,
    Stored,
    Task,
    at_once,
    rung_below,
    stored_of,
)
from server.services.recipes import layer_from_json
from server.services.whereabouts import Whereabouts
from server.store.db import database_of
from server.store.tables import Layer, LearnedScales, LearningChoice, Paint, Panel, Studio, TouchTest

SECONDS_PER_DAY = 86_400.0
BOOKS_KEPT = 16_000
ONE_ROUND = timedelta(hours=1)  # tests at several places within it belong together: the softest counts
LATEST_D = 400.0  # later presses than this after painting say nothing of drying
FELT = {"wet": Felt.WET, "tacky": Felt.TACKY, "touch_dry": Felt.TOUCH_DRY, "firm": Felt.FIRM}
OWN = "own"


@dataclass(frozen=True, slots=True)
class BookLayer:
    """A painted layer as the book has it: each region as learning takes it, their names, which one holds it up."""

    regions: tuple[Evidence, ...]
    names: tuple[str, ...]
    holding: int
    clock: Clock
    varnish: float | None = None  # logarithm of its varnish wait, after the fixed days, against dry-through

    def presses(self, tests: Sequence[Any], painted_at: datetime) -> dict[int, tuple[Press, ...]]:
        """Tests (from the earliest on) as presses by region."""
        pressed = self.pressed(tests, painted_at)
        return {region: tuple(press for _, press in each) for region, each in pressed.items()}

    def pressed(self, tests: Sequence[Any], painted_at: datetime) -> dict[int, list[tuple[Any, Press]]]:
        """The same with each press's test. A test that names no region speaks of the slowest one."""
        found: dict[int, list[tuple[Any, Press]]] = defaultdict(list)
        for test in _softest(tests):
            days = (test.pressed_at - painted_at).total_seconds() / SECONDS_PER_DAY
            if 0 <= days <= LATEST_D:
                region = self.names.index(test.region) if test.region in self.names else self.holding
                if (press := self._press(test, days)) is not None:
                    found[region].append((test, press))
        return dict(found)

    def _press(self, test: Any, days: float) -> Press | None:
        """``days`` after painting. A swab counts as a press of dry-through so much earlier as the book puts it before
        the varnish; within the fixed days it says nothing."""
        if not _is_swab(test):
            # Rounded to a minute or so: the same press is the same key.
            return Press(round(float(self.clock.progress_at(max(days, 1e-3))), 4), FELT[test.stage])
        since_d = days - value("varnish_fixed_d")
        if self.varnish is None or since_d <= 0.0:
            return None
        effective = float(self.clock.progress_at(since_d)) * exp(-self.varnish)
        return Press(round(max(effective, 1e-3), 4), FELT[test.stage], SWAB_BLUR)


def _is_swab(test: Any) -> bool:
    return bool(getattr(test, "is_swab", False))


def _softest(tests: Sequence[Any]) -> list[Any]:
    """The tests without those that a softer one at another place of the same round outweighs. A swab stands alone."""
    return [
        test
        for test in tests
        if _is_swab(test)
        or not any(
            not _is_swab(other)
            and FELT[other.stage] < FELT[test.stage]
            and other.place_on_panel != test.place_on_panel
            and abs(other.pressed_at - test.pressed_at) <= ONE_ROUND
            for other in tests
        )
    ]


def read(
    session: Session,
    studio_id: int,
    places: Whereabouts,
    before: datetime | None = None,
    whatever_chosen: bool = False,
) -> StudioLearning:
    """What the studio has learned. ``before``: only from tests pressed before then; ``whatever_chosen``: also where the
    studio has chosen the book's dates."""
    choice, zone, stored = _choice(session, studio_id)
    finish = learning_finish.of_studio(session, studio_id)
    layers = session.execute(tested_layers(studio_id, finish)).all()
    made = [*session.execute(tests_of_studio(studio_id)).all(), *(test for each in finish.values() for test in each)]
    tests = _counted(sorted(made, key=lambda test: (test.layer_id, test.pressed_at)), choice, before)
    if choice.mode == "off" and not whatever_chosen:
        return BOOK
    material = gather(layers, tests, places, zone)
    if not material.evidence:
        return replace(BOOK, unanchored=material.unanchored)
    given = Given(material.evidence, material.priors)
    if given.tests > AT_ONCE:
        # Promises of an earlier time take the scales of now: they hardly move one.
        task = Task(database_of(session), studio_id, given, stored.scales)
        return learned_from(material, IDLE.scales_of(task, stored))
    first = gather(layers, _first(tests, rung_below(given.tests)), places, zone)
    return learned_from(material, at_once(Given(first.evidence, first.priors)))


def names_of_effects(session: Session, studio_id: int, places: Whereabouts) -> dict[str, str]:
    """What the studio calls its places and tubes, by the names of their effects."""
    tubes = session.execute(select(col(Paint.uid), col(Paint.label)).where(col(Paint.studio_id) == studio_id))
    called = {Where(place.uid, place.climate).effect: place.name for place in places.places.values()}
    return called | {f"paint:{row.uid}": row.label for row in tubes}


def _first(tests: Mapping[int, Sequence[Any]], many: int) -> dict[int, list[Any]]:
    """The first ``many`` tests by the moment they were pressed, and all those of the last one's very moment."""
    moments = sorted(test.pressed_at for each in tests.values() for test in each)[:many]
    if not moments:
        return {}
    found = {layer: [test for test in each if test.pressed_at <= moments[-1]] for layer, each in tests.items()}
    return {layer: kept for layer, kept in found.items() if kept}


@dataclass(frozen=True, slots=True)
class Choice:
    """How a studio learns; see ``LearningChoice``."""

    mode: str = "on"
    frozen_at: datetime | None = None
    since_at: datetime | None = None


def _choice(session: Session, studio_id: int) -> tuple[Choice, ZoneInfo, Stored]:
    row = session.execute(
        select(
            col(Studio.time_zone),
            col(LearningChoice.mode),
            col(LearningChoice.frozen_at),
            col(LearningChoice.since_at),
            *STORED_COLUMNS,
        )
        .join(
            LearningChoice,
            and_(col(LearningChoice.studio_id) == col(Studio.id), col(LearningChoice.archived_at).is_(None)),
            isouter=True,
        )
        .join(LearnedScales, col(LearnedScales.studio_id) == col(Studio.id), isouter=True)
        .where(col(Studio.id) == studio_id)
    ).one()
    return Choice(row.mode or "on", row.frozen_at, row.since_at), ZoneInfo(row.time_zone), stored_of(row)


def tested_layers(studio_id: int, besides: Iterable[int]) -> Any:
    """The painted layers of oil and alkyd that were pressed, panels that are put away included; and those ``besides``,
    by record id."""
    has_test = select(col(TouchTest.id)).where(
        col(TouchTest.layer_id) == col(Layer.id), col(TouchTest.archived_at).is_(None)
    )
    return (
        select(
            col(Layer.id),
            col(Layer.uid),
            col(Layer.painted_at),
            col(Layer.panel_id),
            col(Panel.place_id),
            cast(col(Layer.recipe_json), String).label("recipe_text"),
            cast(type_coerce(col(Layer.forecast_json), JSON)["learned"], String).label("promise_text"),
        )
        .join(Panel, col(Panel.id) == col(Layer.panel_id))
        .where(
            col(Layer.studio_id) == studio_id,
            col(Layer.archived_at).is_(None),
            col(Layer.painted_at).is_not(None),
            col(Layer.recipe_json).is_not(None),
            col(Layer.material).in_(("oil", "alkyd")),
            or_(has_test.exists(), col(Layer.id).in_(list(besides))),
        )
        .order_by(col(Layer.id))
    )


def tests_of_studio(studio_id: int) -> Any:
    """Its touch tests that stand, by layer, from the earliest on."""
    names = "id uid layer_id pressed_at created_at stage place_on_panel region occasion doubt is_sure"
    return (
        select(*(getattr(TouchTest, name) for name in names.split()))
        .where(col(TouchTest.studio_id) == studio_id, col(TouchTest.archived_at).is_(None))
        .order_by(col(TouchTest.layer_id), col(TouchTest.pressed_at), col(TouchTest.id))
    )


def _counted(tests: Sequence[Any], choice: Choice, before: datetime | None) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for test in tests:
        is_old = choice.since_at is not None and test.pressed_at < choice.since_at
        is_late = choice.mode == "frozen" and choice.frozen_at is not None and test.created_at > choice.frozen_at
        if not is_old and not is_late and (before is None or test.pressed_at < before):
            found[test.layer_id].append(test)
    return found


def gather(
    layers: Sequence[Row[Any]], tests: Mapping[int, Sequence[Any]], places: Whereabouts, zone: ZoneInfo
) -> Material:
    """The units of all layers with their evidence."""
    tested = [layer for layer in layers if tests.get(layer.id)]
    books = book_layers([as_painted(layer, places) for layer in tested], zone)
    units: list[Unit] = []
    evidence: list[Evidence] = []
    painted: list[datetime] = []
    promises: list[Promise] = []
    unanchored = 0
    for layer, book in zip(tested, books, strict=True):
        if book is None:
            continue
        found = anchored(book.presses(tests[layer.id], layer.painted_at), tests[layer.id])
        unanchored += not found
        for region, presses in sorted(found.items()):
            units.append((layer.uid, region))
            evidence.append(_with(book.regions[region], presses))
            painted.append(layer.painted_at)
        told = loads(layer.promise_text or "null")
        # Promises of a studio's first layers share what was not known of it then; that is learned, not corrected.
        if told and told["layers"] >= FEWEST and book.holding in found:
            promises.append(raw_promise(told, found[book.holding]))
    evidence, drift = _drifting(evidence, painted)
    ordered = places.all_places
    return Material(tuple(units), tuple(evidence), ordered, priors_for(ordered), unanchored, drift, tuple(promises))


def _drifting(evidence: Sequence[Evidence], painted: Sequence[datetime]) -> tuple[list[Evidence], Drift]:
    """The layers with the steps of slow change that each has behind it, and those up to the last of them."""
    if not painted:
        return list(evidence), NO_DRIFT
    span = min(painted), max(painted)
    drifting = [
        replace(each, effects=(*each.effects, *drift_effects(*span, at)))
        for each, at in zip(evidence, painted, strict=True)
    ]
    before = span[1] - timedelta(days=LOOK_BACK_D)
    return drifting, Drift(drift_effects(*span, span[1]), drift_effects(*span, before))


def _with(book: Evidence, presses: tuple[Press, ...]) -> Evidence:
    return Evidence(book.book_d, book.effects, presses, offsets=book.offsets)


def anchored(presses: Presses, tests: Sequence[Any]) -> dict[int, tuple[Press, ...]]:
    """The regions that some test found soft, or that were pressed at a moment that was asked for. A finished picture
    that fails its test is found soft."""
    if any(test.occasion == "asked" for test in tests[:1]) or any(getattr(test, "failed", False) for test in tests):
        return dict(presses)
    return {region: found for region, found in presses.items() if not never_soft(found)}


Painted = tuple[str, datetime, Where]  # the frozen recipe as text, when it went on, where


def as_painted(layer: Row[Any], places: Whereabouts) -> Painted:
    """A row of ``tested_layers`` as the book is asked of it."""
    where = places.of_layer(layer.panel_id, layer.place_id, layer.painted_at)
    return layer.recipe_text, layer.painted_at, where


_books: Kept[BookLayer] = Kept(BOOKS_KEPT)


def book_layers(painted: Sequence[Painted], zone: ZoneInfo) -> list[BookLayer | None]:
    """The layers as the book has them, in order; None for one that cannot be estimated."""
    keys: list[Hashable] = [(text, at, where.uid, where.climate.key, zone.key) for text, at, where in painted]
    found = _books.among(keys)
    new = {key: each for key, each in zip(keys, painted, strict=True) if key not in found}
    if new:
        questions = [book_question(text, (at, where), zone) for text, at, where in new.values()]
        made: dict[Hashable, BookLayer] = {}
        for (key, (_, _, where)), question, answer in zip(
            new.items(), questions, FORECASTS.ask(questions), strict=True
        ):
            if isinstance(answer, LayerEstimate):
                recipe, room = question.make()
                made[key] = _book_layer(answer, recipe, room, where)
        _books.keep(made)
        found |= made
    return [found.get(key) for key in keys]


def book_question(text: str, laid: tuple[datetime, Where], zone: ZoneInfo) -> Question:
    """What the book says of a painted layer, keyed as the boards ask it."""
    painted_at, where = laid
    key = ("on", text, painted_at, where.climate.key, zone.key)
    return Question(key, partial(_pair, text, laid, zone))


def _pair(text: str, laid: tuple[datetime, Where], zone: ZoneInfo) -> tuple[LayerRecipe, Room]:
    painted_at, where = laid
    return layer_from_json(loads(text)), room_in(where.climate, painted_at, zone)


def _book_layer(estimate: LayerEstimate, recipe: LayerRecipe, room: Room, where: Where) -> BookLayer:
    clock = reference_clock(room)
    holding = next((i for i, region in enumerate(estimate.regions) if region.holds_up), 0)
    names = tuple(region.name for region in estimate.regions)
    evidence = book_evidence(estimate, recipe, clock, where)
    return BookLayer(evidence, names, holding, clock, varnish_after_through(estimate.regions[holding], clock))
