"""How good the dates have been, and what was learned: the facts of one page.

Only promises that were frozen when a layer went on are scored, by what was pressed afterwards.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from json import loads
from math import exp, log
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from sqlalchemy import Row, String, cast, select
from sqlmodel import Session, col

from server.science.learning import STANDARD, Effect, Evidence, Felt, Learned, Offsets, Pair, Press, Settings, drift
from server.science.learning.scoring import FEWEST, Calibration, Promise, calibrate, log_scores, reliability
from server.science.results import FilmState
from server.services import learning_choice, learning_data
from server.services.access import Actor
from server.services.learning import StudioLearning
from server.services.learning_correction import Correction
from server.services.learning_data import BookLayer, anchored, as_painted, book_layers, tested_layers, tests_of_studio
from server.services.whereabouts import Whereabouts, whereabouts
from server.store.tables import Layer, LearningChoice, Panel

LEVELS = (0.5, 0.8, 0.95)
RECENT = 20  # layers that a change would show in first
DOUBTFUL = 0.5  # chance that a test is wrong, from which it is shown
Z90 = 1.2815515655446004


@dataclass(frozen=True, slots=True)
class PressFact:
    """One press on a promised bar, in effective days after painting."""

    uid: str
    day: float
    state: FilmState
    pressed_at: datetime
    is_doubtful: bool


@dataclass(frozen=True, slots=True)
class PromiseFact:
    """A layer with what was promised (8 in 10, effective days) and what was pressed.

    ``held``: whether it was dry within the promise; None where the tests leave it open.
    """

    layer_uid: str
    panel_uid: str
    title: str
    kind: str
    painted_at: datetime
    low_d: float
    middle_d: float
    high_d: float
    presses: tuple[PressFact, ...]
    held: bool | None
    scored: bool


@dataclass(frozen=True, slots=True)
class DoubtfulFact:
    """A test that is more likely wrong than right."""

    uid: str
    layer_uid: str
    title: str
    kind: str
    state: FilmState
    pressed_at: datetime
    chance: float


@dataclass(frozen=True, slots=True)
class UnansweredFact:
    """A test that was worth asking about when it came in, with nobody there to ask: ``doubt`` is what to ask."""

    uid: str
    layer_uid: str
    title: str
    kind: str
    state: FilmState
    pressed_at: datetime
    doubt: str


@dataclass(frozen=True, slots=True)
class LearningReport:
    """Everything the page tells.

    ``calibration`` is None below `FEWEST` scored layers. ``gain_nats``: how much more likely the promises made what was
    pressed than the book did, over all scored layers. ``unanchored`` layers were left out since their first test found
    them dry. ``tests`` and ``layers`` taught. ``change``: mean and sd of how the studio's level moved within the last
    quarter of a year, in logarithms; ``recent``: the calibration of the last `RECENT` layers, where others came before.
    ``correction``: how new dates are put right.
    """

    choice: LearningChoice
    promises: tuple[PromiseFact, ...]
    scored: int
    calibration: Calibration | None
    gain_nats: float
    hits: int
    misses: int
    doubtful: tuple[DoubtfulFact, ...]
    unanswered: tuple[UnansweredFact, ...]
    effects: tuple[Effect, ...]
    pairs: tuple[Pair, ...]
    settings: Settings
    tests: int
    layers: int
    unanchored: int
    names: Mapping[str, str]
    change: tuple[float, float] | None
    recent: Calibration | None
    correction: Correction | None

    fewest: int = FEWEST

    @property
    def reliability(self) -> dict[float, tuple[float, float, float]]:
        """For ranges said with each of `LEVELS`: the share that held, and its 90 % band; {} below `FEWEST`."""
        found = [] if self.calibration is None else reliability(self.calibration, LEVELS)
        return dict(zip(LEVELS, found, strict=False))

    @property
    def cannot_tell(self) -> int:
        return self.scored - self.hits - self.misses


@dataclass(frozen=True, slots=True)
class _Tested:
    """A painted layer with its tests, as the book has it and as it was promised."""

    row: Row[Any]
    about: Row[Any]
    book: BookLayer
    tests: Sequence[Row[Any]]

    @property
    def pressed(self) -> dict[int, list[tuple[Row[Any], Press]]]:
        return self.book.pressed(self.tests, self.row.painted_at)


def report(session: Session, actor: Actor, zone: ZoneInfo) -> LearningReport:
    """The page's facts, with a number of queries that does not grow."""
    places = whereabouts(session, actor.studio_id)
    learning = learning_data.read(session, actor.studio_id, places)
    tested = _tested(session, actor, places, zone)
    settings = STANDARD if learning.learned is None else learning.learned.settings
    wrong = _chances_wrong(learning, tested)
    facts, scored = [], []
    for each in tested:
        fact, promise = _promise(each, wrong)
        if fact is not None:
            facts.append(fact)
        if promise is not None:
            scored.append(promise)
    learned: Learned | None = learning.learned
    return LearningReport(
        choice=learning_choice.get(session, actor),
        promises=tuple(facts),
        scored=len(scored),
        calibration=calibrate([p for p, _ in scored], settings) if len(scored) >= FEWEST else None,
        gain_nats=_gain(scored, settings),
        hits=sum(fact.held is True for fact in facts),
        misses=sum(fact.held is False for fact in facts),
        doubtful=tuple(_doubtful(tested, wrong)),
        unanswered=tuple(_unanswered(tested)),
        effects=() if learned is None else tuple(each for each in learned.effects() if not _is_step(each.name)),
        pairs=()
        if learned is None
        else tuple(pair for pair in learned.pairs() if not _is_step(pair.first, pair.second)),
        settings=settings,
        tests=learning.tests,
        layers=learning.layers,
        unanchored=learning.unanchored,
        change=learning.change,
        correction=learning.correction,
        recent=calibrate([p for p, _ in scored[-RECENT:]], settings) if len(scored) >= RECENT + FEWEST else None,
        names=learning_data.names_of_effects(session, actor.studio_id, places),
    )


def _is_step(*names: str) -> bool:
    """Whether one of these effects is a step of slow change: those are told together."""
    return any(name.startswith(drift.KIND) for name in names)


def _tested(session: Session, actor: Actor, places: Whereabouts, zone: ZoneInfo) -> list[_Tested]:
    rows = session.execute(tested_layers(actor.studio_id, ())).all()
    about = {row.id: row for row in session.execute(_about(actor.studio_id))}
    tests = {
        layer_id: list(group)
        for layer_id, group in groupby(session.execute(tests_of_studio(actor.studio_id)), lambda test: test.layer_id)
    }
    books = book_layers([as_painted(row, places) for row in rows], zone)
    found = [
        _Tested(row, about[row.id], book, tests.get(row.id, []))
        for row, book in zip(rows, books, strict=True)
        if book is not None
    ]
    return sorted(found, key=lambda each: each.row.painted_at)


def _about(studio_id: int) -> Any:
    forecast = cast(col(Layer.forecast_json), String).label("forecast_text")
    return (
        select(col(Layer.id), col(Layer.kind), col(Panel.uid).label("panel_uid"), col(Panel.title), forecast)
        .join(Panel, col(Panel.id) == col(Layer.panel_id))
        .where(col(Layer.studio_id) == studio_id, col(Layer.forecast_json).is_not(None))
    )


def _chances_wrong(learning: StudioLearning, tested: Sequence[_Tested]) -> dict[str, float]:
    """The chance of each test, by its uid, that it is wrong."""
    if learning.learned is None:
        return {}
    found = {}
    for each in tested:
        for region, pressed in each.pressed.items():
            site = learning.sites.get((each.row.uid, region))
            if site is None:
                continue
            book = each.book.regions[region]
            evidence = Evidence(book.book_d, book.effects, tuple(press for _, press in pressed), offsets=book.offsets)
            chances = learning.learned.chances_wrong(evidence, site)
            found.update({test.uid: chance for (test, _), chance in zip(pressed, chances, strict=True)})
    return found


def _promise(each: _Tested, wrong: Mapping[str, float]) -> tuple[PromiseFact | None, tuple[Promise, Promise] | None]:
    """What was promised of a layer, and the promise and the book's for scoring where its tests may be scored."""
    told = loads(each.about.forecast_text).get("learned")
    if told is None:
        return None, None
    pressed = each.pressed.get(each.book.holding, [])
    presses = tuple(press for _, press in pressed)
    mean, sd = told["log_mean"], told["log_sd"]
    low, high = exp(mean - Z90 * sd), exp(mean + Z90 * sd)
    scores = bool(anchored({0: presses}, [test for test, _ in pressed])) if presses else False
    fact = PromiseFact(
        layer_uid=each.row.uid,
        panel_uid=each.about.panel_uid,
        title=each.about.title,
        kind=each.about.kind,
        painted_at=each.row.painted_at,
        low_d=low,
        middle_d=exp(mean),
        high_d=high,
        presses=tuple(_press(test, press, wrong) for test, press in pressed),
        held=_held(presses, low, high) if scores else None,
        scored=scores,
    )
    if not scores:
        return fact, None
    offsets = Offsets(told["offsets"]["tacky"], told["offsets"]["firm"])
    evidence = Evidence(told["book_touch_dry_d"], (), presses, offsets=offsets)
    book = Promise(log(told["book_touch_dry_d"]), told["book_log_sd"], evidence)
    return fact, (Promise(mean, sd, evidence), book)


def _press(test: Row[Any], press: Press, wrong: Mapping[str, float]) -> PressFact:
    doubtful = wrong.get(test.uid, 0.0) > DOUBTFUL
    return PressFact(test.uid, press.day, FilmState(test.stage), test.pressed_at, doubtful)


def _held(presses: Sequence[Press], low: float, high: float) -> bool | None:
    """Whether the layer was dry to the touch within the promise; None where the tests leave it open."""
    soft = max((press.day for press in presses if press.felt < Felt.TOUCH_DRY), default=0.0)
    dry = min((press.day for press in presses if press.felt >= Felt.TOUCH_DRY), default=float("inf"))
    if soft >= low and dry <= high:
        return True
    if dry < low or soft > high:
        return False
    return None


def _gain(scored: Sequence[tuple[Promise, Promise]], settings: Settings) -> float:
    if not scored:
        return 0.0
    promised, book = (log_scores([pair[i] for pair in scored], settings) for i in (0, 1))
    return float(np.sum(promised - book))


def _doubtful(tested: Sequence[_Tested], wrong: Mapping[str, float]) -> list[DoubtfulFact]:
    return [
        DoubtfulFact(
            test.uid,
            each.row.uid,
            each.about.title,
            each.about.kind,
            FilmState(test.stage),
            test.pressed_at,
            wrong[test.uid],
        )
        for each in tested
        for test in each.tests
        if wrong.get(test.uid, 0.0) > DOUBTFUL
    ]


def _unanswered(tested: Sequence[_Tested]) -> list[UnansweredFact]:
    return [
        UnansweredFact(
            *(test.uid, each.row.uid, each.about.title, each.about.kind),
            FilmState(test.stage),
            test.pressed_at,
            test.doubt,
        )
        for each in tested
        for test in each.tests
        if test.doubt and not test.is_sure
    ]
