"""Where sittings that slip may go: the windows of a studio and the room in them beside a plan."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from server.planning.schedule.calendar import MINUTES_PER_DAY, Window, Zone, day_starts, windows
from server.planning.schedule.plan import PlacedSitting
from server.planning.schedule.problem import Problem, Sitting
from server.planning.schedule.speed import Clocks, DryingClock

BEYOND_D = 400  # days after the last sitting in which what slips may find a place
CLOCK_D = 3700
NEAR_D = 3  # days about a midnight within which it lies, were all days of 24 hours

Minutes = NDArray[np.float64]
Numbers = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Spot:
    """The places of a sitting, by number: 0 its planned window, then the later ones with room, the last one nowhere.

    ``begins`` of nowhere is infinite; what comes above it counts ``opens`` and ``ends``, which are far off there.
    ``progress``: what the panel's clock shows at each of ``ends``; ``planned_d``: at the planned beginning.
    """

    begins: Minutes
    ends: Minutes
    progress: Minutes
    planned_d: float

    @property
    def opens(self) -> Minutes:
        return np.append(self.begins[:-1], self.ends[-1])


@dataclass(frozen=True, slots=True)
class Ground:
    """What all panels share: windows, the room left in each, the clocks of their places, and the days."""

    problem: Problem
    zone: Zone
    starts: Minutes
    ends: Minutes
    painters: Numbers
    free: Numbers  # minutes left beside the plan
    mixed: Mapping[str, Numbers]  # palette: the windows of the days on which their painter has it mixed
    clocks: Clocks
    day_start: Minutes  # ends with the infinite, so that every minute is before one
    _of_painter: dict[str, Numbers]
    _roomy: dict[tuple[int, str | None, tuple[str, ...], int], tuple[Minutes, ...]] = field(default_factory=dict)
    _shown: dict[int, tuple[Minutes, Minutes, float]] = field(default_factory=dict)

    def spot(self, sitting: Sitting, placed: PlacedSitting, clock: DryingClock) -> Spot:
        """Where a sitting may be that stands in the plan, on a panel that dries by this clock."""
        at_start, at_end, at_last = self._progress(clock)
        minute, last = self.zone.minute_of(placed.start_at), self.day_start[-2]
        b = self._window(placed.painter, minute)
        if b is None:
            begin, end = minute, minute + sitting.minutes
            planned_d, laid_d = clock.progress(np.array([begin, end]))
        else:
            begin, end, planned_d, laid_d = self.starts[b], self.ends[b], at_start[b], at_end[b]
        starts, ends, progress = self._with_room(sitting, clock)
        later = int(np.searchsorted(starts, begin, side="right"))
        return Spot(
            np.concatenate(([begin], starts[later:], [np.inf])),
            np.concatenate(([end], ends[later:], [last])),
            np.concatenate(([laid_d], progress[later:], [at_last])),
            float(planned_d),
        )

    def _window(self, painter: str, minute: float) -> int | None:
        """The window of a painter that a minute lies in."""
        mine = self._of_painter.get(painter)
        if mine is None:
            return None
        begun = mine[: np.searchsorted(self.starts[mine], minute, side="right")]
        inside = np.flatnonzero(self.ends[begun] > minute)
        return int(begun[inside[0]]) if inside.size else None

    def day_by(self, minute: Minutes) -> Numbers:
        """The first day that begins at each minute or later. Days have 24 hours but for the clock's changes, so what a
        division comes to is near it: looking it up takes several times as long."""
        day = np.clip(np.floor(minute / MINUTES_PER_DAY) - 1.0, 0, len(self.day_start) - 1).astype(np.int64)
        for _ in range(NEAR_D):
            day += self.day_start[day] < minute
        return day

    def _with_room(self, sitting: Sitting, clock: DryingClock) -> tuple[Minutes, ...]:
        """The windows of its painters that have the minutes it takes, its palette mixed where it is not already: their
        starts, their ends, and what the clock shows then."""
        key = sitting.minutes, sitting.palette, sitting.painters, id(clock)
        if key not in self._roomy:
            needed = np.full(len(self.starts), sitting.minutes)
            if sitting.palette is not None:
                needed += self.problem.set_up_min
                needed[self.mixed.get(sitting.palette, [])] -= self.problem.set_up_min
            fits = self.free >= needed
            if sitting.painters:
                numbers = {painter.id: n for n, painter in enumerate(self.problem.painters)}
                fits &= np.isin(self.painters, [numbers[p] for p in sitting.painters])
            self._roomy[key] = self.starts[fits], self.ends[fits], self._progress(clock)[1][fits]
        return self._roomy[key]

    def _progress(self, clock: DryingClock) -> tuple[Minutes, Minutes, float]:
        """What a clock shows at the start and the end of each window, and at the last day there is."""
        if id(clock) not in self._shown:
            last = float(clock.progress(self.day_start[-2:-1])[0])
            self._shown[id(clock)] = clock.progress(self.starts), clock.progress(self.ends), last
        return self._shown[id(clock)]


def ground_of(problem: Problem, plan: Sequence[PlacedSitting]) -> Ground:
    zone = Zone(problem.zone, problem.today)
    last = max((zone.day_of(placed.start_at) for placed in plan), default=0)
    found = windows(problem.painters, zone, max(0, last) + BEYOND_D)
    free, mixed = _left(problem, zone, found, plan)
    painters = np.array([w.painter for w in found], np.int64)
    return Ground(
        problem,
        zone,
        np.array([w.start_min for w in found], float),
        np.array([w.end_min for w in found], float),
        painters,
        free,
        mixed,
        Clocks(problem, zone, -1, max(0, last) + CLOCK_D),
        np.append(day_starts(zone, 0, max(0, last) + CLOCK_D - 1), np.inf),
        {painter.id: np.flatnonzero(painters == n) for n, painter in enumerate(problem.painters)},
    )


def _left(
    problem: Problem, zone: Zone, found: Sequence[Window], plan: Sequence[PlacedSitting]
) -> tuple[Numbers, dict[str, Numbers]]:
    """The minutes that a plan leaves in each window, and for each palette the windows on whose day it is mixed."""
    numbers = {painter.id: n for n, painter in enumerate(problem.painters)}
    used: dict[tuple[int, int], list[tuple[float, PlacedSitting]]] = {}
    for placed in plan:
        if placed.painter in numbers:
            key = numbers[placed.painter], zone.day_of(placed.start_at)
            used.setdefault(key, []).append((zone.minute_of(placed.start_at), placed))
    free: list[int] = []
    uses: set[tuple[int, int, str]] = set()
    of_day: dict[tuple[int, int], list[int]] = {}
    for b, window in enumerate(found):
        key = window.painter, window.day
        of_day.setdefault(key, []).append(b)
        here = [s for m, s in used.get(key, ()) if window.start_min <= m < window.end_min]
        if not here:
            free.append(window.minutes)
            continue
        new = {(*key, s.palette) for s in here if s.palette is not None} - uses
        uses |= new
        painting = sum(round((s.end_at - s.start_at).total_seconds() / 60) for s in here)
        free.append(window.minutes - painting - problem.set_up_min * len(new))
    mixed: dict[str, list[int]] = {}
    for painter, day, palette in sorted(uses):
        mixed.setdefault(palette, []).extend(of_day[painter, day])
    return np.array(free, np.int64), {palette: np.array(rows, np.int64) for palette, rows in mixed.items()}
