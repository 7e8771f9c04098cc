"""The question as columns: windows, sittings in order, and tables from window to window for each drying requirement.

The search never sees a temperature or a date. Tables say, for a layer laid in a window, the first window by which it is
ready (``lo``), the last that starts before it sets (``hi``), the day by which it may be stacked (``rack``), and the
day a panel is deliverable whose last layer it is (``finish``).
"""

from collections.abc import Hashable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.planning.schedule.calendar import MINUTES_PER_DAY, Window, Zone, day_starts
from server.planning.schedule.problem import Link, LinkKind, PanelJob, Problem, Sitting, within_limit_d
from server.planning.schedule.speed import Clocks, DryingClock

Ints = NDArray[np.int32]
MOST_TABLES = 600  # from here on requirements are rounded up to 0.01 d, so that layers can share a table
EDGE_MIN = 1e-6  # an instant that falls on a window's start but for rounding counts as that start
NEVER = np.iinfo(np.int32).max


class Wait(NamedTuple):
    """From the end of the lower sitting's window to the start of the upper's: until so many reference days and so many
    calendar days have both passed."""

    reference_d: float
    rest_d: float = 0.0


class Tables:
    """Rows are asked for by what they depend on and made once. ``round_up``: see ``MOST_TABLES``."""

    def __init__(self, found: Sequence[Window], clocks: Clocks, zone: Zone, days: int, *, round_up: bool) -> None:
        self.windows, self.clocks, self.zone, self.days, self.round_up = found, clocks, zone, days, round_up
        self.rows: dict[str, list[Ints]] = {"lo": [], "hi": [], "rack": [], "finish": []}
        self.known: dict[Hashable, int] = {}
        self.start = np.array([w.start_min for w in found], dtype=float)
        self.end = np.array([w.end_min for w in found], dtype=float)
        self.day_start = day_starts(zone, 0, days + 1)
        self._of: dict[DryingClock, PanelTables] = {}

    def of(self, panel: PanelJob) -> "PanelTables":
        """The tables of the place that a panel dries in."""
        clock = self.clocks.of(panel)
        if clock not in self._of:
            self._of[clock] = PanelTables(self, clock)
        return self._of[clock]

    def keep(self, kind: str, key: Hashable, row: NDArray[np.int64]) -> int:
        """The number of a new row, known by ``key`` from now on."""
        number = len(self.rows[kind])
        self.rows[kind].append(np.minimum(row, NEVER).astype(np.int32))
        self.known[kind, key] = number
        return number

    def reference(self, reference_d: float) -> float:
        """So many reference days as tables are made for."""
        return float(np.ceil(reference_d * 100.0 - 1e-9) / 100.0) if self.round_up else reference_d


class PanelTables:
    """The rows of one place: numbers of rows that ``Tables`` holds, made when they are asked for first."""

    def __init__(self, made: Tables, clock: DryingClock) -> None:
        self.made, self.clock = made, clock
        self.progress_end = clock.progress(made.end)
        self.progress_start = clock.progress(made.start)

    def _known(self, kind: str, wanted: Hashable) -> int | None:
        return self.made.known.get((kind, (self.clock, wanted)))

    def _row(self, kind: str, wanted: Hashable, row: NDArray[np.int64]) -> int:
        return self.made.keep(kind, (self.clock, wanted), row)

    def lo(self, wait: Wait) -> int:
        """The first window that starts once the wait from the end of each window is over."""
        wanted = Wait(self.made.reference(wait.reference_d), wait.rest_d)
        found = self._known("lo", wanted)
        if found is not None:
            return found
        dry = self.clock.instant(self.progress_end + wanted.reference_d) if wanted.reference_d > 0.0 else self.made.end
        ready = np.maximum(dry, self.made.end + wanted.rest_d * MINUTES_PER_DAY)
        return self._row("lo", wanted, np.searchsorted(self.made.start, ready - EDGE_MIN))

    def ready_min(self, laid_min: float, wait: Wait) -> float:
        """The minute at which the wait from one minute on is over."""
        dry = self.clock.after(np.array([laid_min]), wait.reference_d)[0]
        return float(max(dry, laid_min + wait.rest_d * MINUTES_PER_DAY))

    def hi(self, reference_d: float | None) -> int:
        """The last window that starts within so many reference days of the start of each window."""
        found = self._known("hi", reference_d)
        if found is not None:
            return found
        if reference_d is None:
            last = np.full(len(self.made.windows), len(self.made.windows) - 1)
        else:
            limit = self.clock.instant(self.progress_start + reference_d)
            last = np.searchsorted(self.made.start, limit + EDGE_MIN, side="right") - 1
        return self._row("hi", reference_d, last)

    def rack(self, reference_d: float) -> int:
        """The first day on which a layer laid in each window needs its place no more."""
        wanted = self.made.reference(reference_d)
        found = self._known("rack", wanted)
        if found is not None:
            return found
        return self._row("rack", wanted, self.rack_until(self.made.end, wanted))

    def rack_until(self, laid_min: NDArray[np.float64], reference_d: float) -> NDArray[np.int64]:
        free = self.clock.after(laid_min, reference_d)
        return np.minimum(np.searchsorted(self.made.day_start, free - EDGE_MIN), self.made.days)

    def finish(self, wait_d: float, handling_d: float) -> int:
        """The day on which a panel is deliverable whose last layer is laid in each window."""
        found = self._known("finish", (wait_d, handling_d))
        if found is not None:
            return found
        return self._row("finish", (wait_d, handling_d), self.finish_days(self.made.end, wait_d, handling_d))

    def finish_days(self, laid_min: NDArray[np.float64], wait_d: float, handling_d: float) -> NDArray[np.int64]:
        whole, part = divmod(handling_d, 1.0)
        dry = self.clock.after(laid_min, wait_d) + part * MINUTES_PER_DAY
        days = np.searchsorted(self.made.day_start, dry - EDGE_MIN)
        outside = (days > self.made.days) | (dry < -EDGE_MIN)  # of the days at hand: by the calendar
        for late in np.flatnonzero(outside):
            instant = self.made.zone.instant(float(dry[late]))
            day = self.made.zone.day_of(instant)
            days[late] = day + (self.made.zone.minute_of(self.made.zone.day_start(day)) < dry[late] - EDGE_MIN)
        return days + int(whole)


def needs_rounding(problem: Problem) -> bool:
    """Whether there are so many different dryings that tables would fill the memory."""
    asked = {(panel.speed, s.drying, s.rack_d) for panel in problem.panels for s in panel.sittings}
    return len(asked) > MOST_TABLES


def in_order(panel: PanelJob, sittings: Sequence[Sitting]) -> list[Sitting]:
    """The sittings so that each comes after those it follows, otherwise as given. Needs links without a circle."""
    waiting = {s.id: sum(1 for link in panel.links if link.after == s.id) for s in panel.sittings}
    by_id = {s.id: s for s in panel.sittings}
    open_now = [s.id for s in panel.sittings if waiting[s.id] == 0]
    found = []
    while open_now:
        one = open_now.pop(0)
        found.append(one)
        for link in panel.links:
            if link.before == one:
                waiting[link.after] -= 1
                if waiting[link.after] == 0:
                    open_now.insert(0, link.after)
    if len(found) < len(panel.sittings):
        raise ValueError(f"the links of {panel.id} run in a circle")
    wanted = {s.id for s in sittings}
    return [by_id[one] for one in found if one in wanted]


def released_min(problem: Problem, zone: Zone, panel: PanelJob) -> float:
    """The minute from which on a panel is there: the beginning of a day, or an instant."""
    there = zone.minute_of(zone.day_start(max(0, ((panel.release_on or problem.today) - problem.today).days)))
    return there if panel.release_at is None else max(there, zone.minute_of(panel.release_at))


def lower_limit(problem: Problem, link: Link, before: Sitting) -> Wait:
    """What has to pass from the end of the lower sitting's window to the start of the upper's."""
    if link.kind is LinkKind.DRY:
        return Wait(before.drying.at(problem.confidence) if before.drying else 0.0, link.rest_d)
    return Wait(link.after_d if link.kind is LinkKind.TACKY else 0.0)


def upper_limit_d(link: Link, before: Sitting) -> float | None:
    return None if link.kind is LinkKind.DRY else within_limit_d(link, before)
