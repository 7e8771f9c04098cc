"""The outlook of many panels at once: when each planned layer can go on, and when the panel is finished.

The walk of ``server.planning.outlook`` is taken level by level: the forecasts of every panel's next layer are asked for
together. Days run from the start of the day looked at, so that an outlook stands for the whole day and is kept.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from math import inf

import numpy as np

from server.planning.outlook import (
    DRAWS,
    Chain,
    DayRange,
    DueRisk,
    Outlook,
    begin,
    delivered,
    dry_when_painted,
    due_risk,
    finish_of,
    finish_of_painted,
    hold,
    lay,
    start_of,
    waits_after,
)
from server.science.results import LayerEstimate, Stage, StageRange
from server.science.soundness.types import Finding
from server.services.board.chain_rules import Below, what_lies
from server.services.board.facts import DaySpan, Moment
from server.services.board.films import LayerOn, LayerToCome
from server.services.board.leaving import Leaving
from server.services.board.rule_waits import reason_of, wait_asked
from server.services.board.spans import day_span, instant, local_day, of_percentiles, start_of_day
from server.services.board.to_come import coming, laid
from server.services.forecasts import FORECASTS
from server.services.forecasts import Question as ForecastQuestion
from server.services.give_way import give_way
from server.services.kept import Content, Kept
from server.services.plan_reading import Rest
from server.services.verdicts import SECONDS_PER_DAY, Question

OUTLOOKS_KEPT = 12_000
NO_WAIT = StageRange(0.0, 0.0, 0.0, 0.0, 0.0)
TODAY = DayRange(0.0, 0.0, 0.0, 0.0)
TRIES = 4  # as often a layer is put off for a rule


@dataclass(frozen=True, slots=True)
class ChainCase:
    """One panel's question: its top layer, its layers to come, its date, and what comes between the last and the date.

    ``since``: when that, or the bare ground, was laid. ``open_now``: the next layer may go on today. ``not_before`` is
    a day that a rule names for it. ``over``: the rules asked over what lies there.
    """

    top: LayerOn | None
    since: datetime | None
    to_come: tuple[LayerToCome, ...]
    open_now: bool
    not_before: date | None
    due_on: date | None
    confidence: float
    leaving: Leaving
    over: Question

    def key(self, moment: Moment) -> Hashable:
        layers = tuple(
            (x.key, x.material, x.row.wet_in_wet, x.row.surface, x.row.planned_on, x.climate.key) for x in self.to_come
        )
        asked = self.open_now, self.not_before, self.due_on, self.confidence, self.leaving
        # Its top layer is the topmost there.
        return Content((self.over.key(), layers, *asked, moment.on, moment.zone.key))

    @property
    def is_asked(self) -> bool:
        """Whether the rules have something to say of the next layer: it is not open already, and they know the top."""
        top = self.top
        return not self.open_now and (top is None or top.film.no_forecast is None or top.laid.observed is not None)


@dataclass(slots=True)
class _Walk:
    """A chain on its way up: ``starts`` of the layers so far, and what lies ``below`` the next one; ``unknown`` once a
    layer has no forecast; ``stopped`` for good, or until ``stop_ends_d``. Of the next layer: ``start``, the day
    ``held_d`` before which it does not go on, its ``estimate`` laid ``on`` its day, and the ``rest`` that the rules ask
    below it."""

    case: ChainCase
    chain: Chain
    below: Below
    starts: list[DayRange] = field(default_factory=list)
    finish: tuple[DayRange, np.ndarray] | None = None
    unknown: bool = False
    stopped: tuple[int, Finding] | None = None
    stop_ends_d: float | None = None
    start: DayRange = TODAY
    held_d: float = 0.0
    estimate: LayerEstimate | None = None
    on: date = date.min
    rest: Rest | None = None

    @property
    def opens(self) -> list[np.ndarray]:
        """From when each thing that is done to it after its last layer may be, in each draw."""
        return waits_after(self.chain, [wait.after for wait in self.case.leaving.waits])


def outlooks(cases: Sequence[ChainCase], moment: Moment) -> list[Outlook | None]:
    """The outlook of each case; None where a layer in the chain has no forecast, or nothing is painted or planned."""
    keys = [case.key(moment) for case in cases]
    kept = OUTLOOKS.among(keys)
    new = {key: case for key, case in zip(keys, cases, strict=True) if key not in kept}
    if new:
        walks = [
            _Walk(case, _beginning(case, moment), what_lies(case.over, case.top, case.since, moment))
            for case in new.values()
        ]
        for level in range(max(len(walk.case.to_come) for walk in walks)):
            _climb(walks, level, moment)
        made = {key: (_outlook(walk, moment),) for key, walk in zip(new, walks, strict=True)}
        OUTLOOKS.keep(made)
        kept |= made
    return [kept[key][0] for key in keys]


def _beginning(case: ChainCase, moment: Moment) -> Chain:
    top = case.top
    below = top.film.stages.get(Stage.DRY_TO_RECOAT) if top else None
    age_d = _age_d(top, moment) if top else 0.0
    chain = begin(below, age_d, open_now=case.open_now)
    return hold(chain, _days_until(case.not_before, moment))


def _lying(case: ChainCase, moment: Moment) -> Below:
    return what_lies(case.over, case.top, case.since, moment)


def _age_d(top: LayerOn, moment: Moment) -> float:
    # A layer painted in the course of the day has no age at its start: the wait then counts from the painting.
    return (moment.day_start - top.row.painted_at).total_seconds() / SECONDS_PER_DAY


def _days_until(on: date | None, moment: Moment) -> float:
    if on is None or on <= moment.on:
        return 0.0
    start = start_of_day(on, moment.zone)
    return (start - moment.day_start).total_seconds() / SECONDS_PER_DAY


def _climb(walks: Sequence[_Walk], level: int, moment: Moment) -> None:
    """Set every chain that goes on to ``level`` one layer further, as long after the one below as the rules ask."""
    here = [walk for walk in walks if not walk.unknown and level < len(walk.case.to_come)]
    for walk in here:
        planned_d = _days_until(walk.case.to_come[level].row.planned_on, moment)
        walk.rest, walk.held_d = None, max(planned_d, 0.0 if level else _days_until(walk.case.not_before, moment))
        walk.chain = hold(walk.chain, planned_d)
        walk.start = start_of(walk.chain, walk.case.confidence)
    going = here
    for left in reversed(range(TRIES)):
        _forecast(going, level, moment)
        going = [walk for walk in going if not walk.unknown and _must_wait(walk, level, moment, is_last=not left)]
    for walk in here:
        if not walk.unknown:
            _rise(walk, level, moment)


def _forecast(walks: Sequence[_Walk], level: int, moment: Moment) -> None:
    """The forecasts of the layer of ``level``, laid on the day that each chain expects it; all asked for together."""
    asked: list[tuple[_Walk, ForecastQuestion]] = []
    for walk in walks:
        layer, walk.estimate = walk.case.to_come[level], None
        walk.on = local_day(instant(moment.day_start, walk.start.p50_d), moment.zone)
        question = layer.question(walk.on, moment.zone)
        if question is not None:
            asked.append((walk, question))
        elif layer.is_drying:
            walk.unknown = True
    for (walk, _), forecast in zip(asked, FORECASTS.ask([question for _, question in asked]), strict=True):
        if isinstance(forecast, LayerEstimate):
            walk.estimate = forecast
        else:
            walk.unknown = True


def _must_wait(walk: _Walk, level: int, moment: Moment, *, is_last: bool) -> bool:
    """Put the layer of ``level`` off where the rules ask it to wait for longer than was known; whether they do."""
    give_way()
    below, layer = walk.below, walk.case.to_come[level]
    if walk.stopped is not None or (level == 0 and not walk.case.is_asked):
        return False
    upper = coming(layer, walk.estimate, walk.on)
    stops = below.stops(upper, instant(moment.day_start, walk.held_d), moment.zone)
    if not stops:
        return False
    if below.since is None or below.goes_into_wet(upper):
        walk.stopped = level, reason_of(stops)
        return False
    since_d = (below.since - moment.day_start).total_seconds() / SECONDS_PER_DAY
    asked = wait_asked(stops, walk.rest, max(0.0, -since_d))
    if isinstance(asked, Finding):
        walk.stopped = level, asked
        if asked.holds_d < inf:
            walk.stop_ends_d = since_d + asked.holds_d
            _put_off(walk, asked.holds_d)
        return False
    if is_last:
        walk.stopped = level, reason_of(stops)
        return False
    walk.rest = asked
    walk.held_d = max(walk.held_d, since_d + asked.days)
    _put_off(walk, asked.days)
    return True


def _put_off(walk: _Walk, days: float) -> None:
    """The next layer, until what is below has lain for so many days."""
    walk.chain = hold(walk.chain, walk.below.since_d + days)
    walk.start = start_of(walk.chain, walk.case.confidence)


def _rise(walk: _Walk, level: int, moment: Moment) -> None:
    """Lay the layer of ``level``: on to the next one, or to the finish."""
    walk.starts.append(walk.start)
    stages = {} if walk.estimate is None else walk.estimate.stages
    recoat, touch = stages.get(Stage.DRY_TO_RECOAT, NO_WAIT), stages.get(Stage.DRY_TO_TOUCH, NO_WAIT)
    if level == len(walk.case.to_come) - 1:
        walk.finish = finish_of(walk.chain, touch, walk.case.confidence)
        return
    layer = walk.case.to_come[level]
    at = instant(moment.day_start, walk.start.p50_d)
    upper = coming(layer, walk.estimate, walk.on)
    walk.below = walk.below.under(laid(layer, upper, at), walk.chain.at_d, touch.p90_d)
    if not walk.case.to_come[level + 1].row.wet_in_wet:
        # A layer that goes into this one while it is wet belongs to the same sitting and waits for nothing.
        walk.chain = lay(walk.chain, recoat)


def _outlook(walk: _Walk, moment: Moment) -> Outlook | None:
    give_way()
    case, dry = walk.case, None
    if not case.to_come and case.top is not None:
        touch = case.top.film.stages.get(Stage.DRY_TO_TOUCH)
        if touch is None:
            return None
        age_d = _age_d(case.top, moment)
        # What the painter found dry is finished now.
        walk.finish = finish_of_painted(NO_WAIT if case.open_now else touch, age_d, case.confidence)
        walk.chain = Chain(np.full(DRAWS, -age_d))
        dry = dry_when_painted(_found(case.top, touch) if case.open_now else touch, age_d)
    if walk.unknown or walk.finish is None:
        return None
    finish, draws = walk.finish
    if walk.stopped is not None:
        return Outlook(tuple(walk.starts), finish, None, stopped=walk.stopped, stop_ends_d=walk.stop_ends_d)
    opens = walk.opens
    due = _due(case, _ready(case, draws if dry is None else dry, opens, moment), moment)
    return Outlook(tuple(walk.starts), finish, due, tuple(float(np.median(days)) for days in opens))


def _found(top: LayerOn, touch: StageRange) -> StageRange:
    """What was found dry was so by then at the latest."""
    found_d = top.laid.observed_age_d
    return touch if found_d is None else StageRange(found_d, found_d, found_d, found_d, found_d)


def _ready(case: ChainCase, dry: np.ndarray, opens: Sequence[np.ndarray], moment: Moment) -> np.ndarray:
    """When the panel may be packed: dry, and all done to it that is to be done, today at the earliest and no sooner
    than planned, nor while a rule stops it."""
    for wait, days in zip(case.leaving.waits, opens, strict=True):
        held_d = max(_whole_days(wait.todo.planned_on, moment), _whole_days(wait.opens_on, moment))
        dry = np.maximum(np.maximum(dry, days), held_d)
    return dry


def _whole_days(on: date | None, moment: Moment) -> float:
    return 0.0 if on is None else float(max(0, (on - moment.on).days))


def _due(case: ChainCase, ready: np.ndarray, moment: Moment) -> DueRisk | None:
    leaving = case.leaving
    if case.due_on is None or not leaving.is_known:
        return None
    packing_d, transit_d = leaving.handling.packing_d, leaving.handling.transit_d
    if leaving.sent_on is not None:
        there = np.full(DRAWS, float((leaving.sent_on - moment.on).days + transit_d))
    else:
        there = delivered(ready, packing_d, _whole_days(leaving.sends_on, moment), transit_d)
    return due_risk(there, float((case.due_on - moment.on).days), case.confidence)


def span_of(found: DayRange, moment: Moment) -> DaySpan:
    """A range of days from the start of the day looked at, as dates."""
    return day_span(moment.day_start, of_percentiles(found.p10_d, found.p50_d, found.p90_d), moment.zone)


OUTLOOKS: Kept[tuple[Outlook | None]] = Kept(OUTLOOKS_KEPT)
