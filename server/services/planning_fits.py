"""Where one sitting of the plan in use really fits while the rest stays: its layer below is ready, and there is time
beside what is pinned, mixing included. What is not pinned makes room, so it counts for nothing here."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timezone

from sqlmodel import Session

from server.planning.schedule.calendar import Window, Zone, windows
from server.planning.schedule.check import instant_after
from server.planning.schedule.problem import LinkKind, Painter, PanelJob, Problem, Sitting
from server.services import planning
from server.services.access import Actor
from server.services.board.facts import Moment
from server.services.board.films import panel_layers
from server.services.board.plan_problem import Extra, panel_job, plan_confidence
from server.services.board.rows import load
from server.services.board.standing import standings
from server.services.board.today import standing_sittings
from server.services.plan_reading import PlannedSitting
from server.services.planning_asked import PlanMake

SLACK_MIN = 1 / 60  # instants that differ by less are the same


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a sitting has to fit into. ``own``: its painter's windows; ``stay``: the pinned sittings of the others;
    ``below``, ``above``: where the layers next to it stand, where they stand in the plan in use."""

    sitting: PlannedSitting
    minutes: int
    mixing_min: int
    easels: int | None
    week: Zone
    own: tuple[Window, ...]
    every: tuple[Window, ...]
    stay: tuple[PlannedSitting, ...]
    question: Problem
    below: PlannedSitting | None
    above: PlannedSitting | None

    @property
    def job(self) -> PanelJob:
        return self.question.panels[0]

    def has_time(self, window: Window) -> bool:
        """Whether what is pinned in a window leaves the minutes it takes, and an easel."""
        here = [one for one in self.stay if self._is_in(one, window)]
        mixed = {one.palette for one in self.stay if self._is_mine(one) and self._is_before(one, window)}
        palettes = {one.palette for one in here} | {self.sitting.palette}
        mixing = self.mixing_min * len(palettes - mixed - {None})
        taken = sum(round((one.end_at - one.start_at).total_seconds() / 60) for one in here)
        return taken + mixing + self.minutes <= window.minutes and self._has_easel(window)

    def ready_min(self) -> float:
        """The minute from which the layer below, and the panel itself, are ready for it."""
        release = self.job.release_on or self.week.today
        return max(float(self.week.wall((release - self.week.today).days, 0)), self._below_ready_min())

    def held_above(self, window: Window) -> bool:
        """Whether the layer above is pinned to a time that comes before this one would be ready for it."""
        above = self.above
        if above is None or not above.pinned:
            return False
        own = next(one for one in self.job.sittings if one.id == self.sitting.uid)
        end = self.week.instant(window.end_min)
        return self.week.minute_of(self._begin_of(above)) < self.week.minute_of(self._ready_after(own, end)) - SLACK_MIN

    def _below_ready_min(self) -> float:
        below = self.below
        if below is None:
            return 0.0
        link = next(one for one in self.job.links if one.after == self.sitting.uid)
        if link.kind is LinkKind.WET_IN_WET:
            return self.week.minute_of(self._begin_of(below))
        lower = next(one for one in self.job.sittings if one.id == below.uid)
        window = self._window_of(below)
        end = below.end_at if window is None else self.week.instant(window.end_min)
        return self.week.minute_of(self._ready_after(lower, end)) - SLACK_MIN

    def _ready_after(self, lower: Sitting, end: datetime) -> datetime:
        drying = lower.drying.at(self.question.confidence) if lower.drying else 0.0
        return instant_after(self.question, end.astimezone(timezone.utc), drying)

    def _begin_of(self, one: PlannedSitting) -> datetime:
        window = self._window_of(one)
        return one.start_at if window is None else self.week.instant(window.start_min)

    def _window_of(self, one: PlannedSitting) -> Window | None:
        names = [painter.id for painter in self.question.painters]
        mine = [w for w in self.every if names[w.painter] == one.painter]
        return next((w for w in mine if self._is_in(one, w, any_painter=True)), None)

    def _is_mine(self, one: PlannedSitting) -> bool:
        return one.painter == self.sitting.painter

    def _is_in(self, one: PlannedSitting, window: Window, *, any_painter: bool = False) -> bool:
        inside = window.start_min <= round(self.week.minute_of(one.start_at)) < window.end_min
        return inside and (any_painter or self._is_mine(one))

    def _is_before(self, one: PlannedSitting, window: Window) -> bool:
        """On the same day, in a window before."""
        return self.week.day_of(one.start_at) == window.day and self.week.minute_of(one.start_at) < window.start_min

    def _has_easel(self, window: Window) -> bool:
        overlapping = [one for one in self.stay if self._is_in(one, window, any_painter=True)]
        return self.easels is None or len(overlapping) < self.easels


def surroundings(
    session: Session, actor: Actor, sitting: PlannedSitting, settings: PlanMake, when: tuple[Moment, int]
) -> Surroundings | None:
    """What a sitting of the plan in use has to fit into; ``when``: now, and so many days ahead. None where its panel
    has nothing to be planned any more."""
    moment, days = when
    rows, one = load(session, actor), load(session, actor, sitting.panel_uid)
    if rows is None or one is None:
        return None
    [standing] = standings(one, panel_layers(one, moment), moment)
    confidence = plan_confidence(rows)
    job = panel_job(standing, one, moment, (confidence, Extra()))
    own = None if job is None else next((s for s in job.sittings if s.id == sitting.uid), None)
    if job is None or own is None:
        return None
    week = Zone(moment.zone, moment.on)
    painters = planning.painters(planning.all_open(session, actor), moment.on, 0)
    every = windows(painters, week, days)
    stand = {s.uid: s for s in standing_sittings(rows)}
    names = [link.before for link in job.links if link.after == sitting.uid]
    after = [link.after for link in job.links if link.before == sitting.uid]
    return Surroundings(
        sitting=sitting,
        minutes=own.minutes,
        mixing_min=settings.mix_setup_min,
        easels=settings.easels,
        week=week,
        own=tuple(w for w in every if painters[w.painter].id == sitting.painter),
        every=tuple(every),
        stay=tuple(s for s in stand.values() if s.pinned and s.uid != sitting.uid and s.on >= moment.on),
        question=_question(job, painters, moment, confidence),
        below=_first(stand, names),
        above=_first(stand, after),
    )


def _question(job: PanelJob, painters: tuple[Painter, ...], moment: Moment, confidence: float) -> Problem:
    """The panel alone, in the climate of its place."""
    assert job.speed is not None
    return Problem(
        today=moment.on,
        zone=moment.zone,
        painters=painters,
        panels=(job,),
        speed=job.speed,
        confidence=confidence,
    )


def _first(stand: dict[str, PlannedSitting], uids: Sequence[str]) -> PlannedSitting | None:
    return next((stand[uid] for uid in uids if uid in stand), None)
