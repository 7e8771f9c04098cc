"""How likely each panel makes its date: the plan carried out again and again with sampled drying.

In every draw each sitting is at its planned time if what it waits for is ready by then; otherwise it slips to the next
window of a painter who may paint it that has the room beside what the plan put there. Nobody paints sooner than
planned, and sittings that slip do not push each other: a first look, not a second plan. A sitting that slips past a wet
limit loses its panel the date.

The same draws serve every panel and every plan (common random numbers), so that two plans differ by what they are and
not by luck. Waits of one studio share most of it: see ``server.planning.outlook``, whose scores are used.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from server.planning.outlook import DRAWS, scores
from server.planning.schedule.calendar import MINUTES_PER_DAY, Window, Zone, day_starts, windows
from server.planning.schedule.plan import PlacedSitting
from server.planning.schedule.problem import Z90, Link, LinkKind, PanelJob, Problem, Sitting, Spread
from server.planning.schedule.speed import Clocks
from server.planning.schedule.tables import EDGE_MIN, in_order

BEYOND_D = 400  # days after the last sitting in which what slips may find a place
CLOCK_D = 3700
WORTH = 0.005  # of a chance; a wait whose luck changes less is not named
EACH = 4  # every so many draws are looked at to find the weakest wait
RELEASE, FINAL = "release", "final"

Minutes = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PanelOdds:
    """``odds`` 0 to 1 that the panel can leave by its date, None without one; the days it can leave at p10, p50, p90;
    ``ready_on`` where every sitting keeps its day, the last wait at the plan's confidence.

    ``weakest``: the wait that costs most of it: the id of the sitting whose layer is waited for, `RELEASE` for what is
    on the panel already, `FINAL` for the wait after the last sitting; None where no wait stands out. ``gain``: what
    the odds would gain were that wait never longer than its median.
    """

    odds: float | None
    low_on: date
    central_on: date
    high_on: date
    ready_on: date
    weakest: str | None = None
    gain: float = 0.0


@dataclass(frozen=True, slots=True)
class _Ground:
    """What all panels share: windows, the room left in each, the clocks of their places, and the days."""

    problem: Problem
    zone: Zone
    windows: list[Window]
    starts: Minutes
    ends: Minutes
    painters: NDArray[np.int64]
    free: NDArray[np.int64]  # minutes left beside the plan
    mixed: Mapping[str, NDArray[np.int64]]  # palette: the windows of the days on which their painter has it mixed
    clocks: Clocks
    day_start: Minutes


@dataclass(frozen=True, slots=True)
class _Walk:
    """One panel: its sittings in order, the windows each may be in, and what is known of the draws."""

    ground: _Ground
    panel: PanelJob
    order: list[Sitting]
    options: dict[str, tuple[Minutes, Minutes]]
    own: dict[str, tuple[float, float]]
    released: Minutes


def odds_of(
    problem: Problem,
    plan: Sequence[PlacedSitting],
    released: Mapping[str, NDArray[np.float64]] | None = None,
    *,
    with_weakest: bool = True,
) -> dict[str, PanelOdds]:
    """The odds of every panel of ``problem`` whose sittings all stand in ``plan``, which may hold others besides.

    ``released``: for a panel the days from today's beginning after which its first sittings may be, a number for each
    draw; without, they may be from its release on.
    """
    ground, stood = _ground(problem, plan), {placed.id: placed for placed in plan}
    found = {}
    for panel in problem.panels:
        if panel.sittings and all(sitting.id in stood for sitting in panel.sittings):
            walk = _walk(ground, panel, stood, (released or {}).get(panel.id))
            found[panel.id] = _panel_odds(walk, with_weakest=with_weakest)
    return found


def _ground(problem: Problem, plan: Sequence[PlacedSitting]) -> _Ground:
    zone = Zone(problem.zone, problem.today)
    last = max((zone.day_of(placed.start_at) for placed in plan), default=0)
    found = windows(problem.painters, zone, max(0, last) + BEYOND_D)
    numbers = {painter.id: n for n, painter in enumerate(problem.painters)}
    used: dict[tuple[int, int], list[tuple[float, PlacedSitting]]] = {}
    for placed in plan:
        if placed.painter in numbers:
            key = numbers[placed.painter], zone.day_of(placed.start_at)
            used.setdefault(key, []).append((zone.minute_of(placed.start_at), placed))
    free: list[int] = []
    uses: set[tuple[int, int, str]] = set()
    for window in found:
        here = [(m, s) for m, s in used.get((window.painter, window.day), ()) if window.start_min <= m < window.end_min]
        palettes = {s.palette for _, s in here if s.palette is not None}
        new = [p for p in palettes if (window.painter, window.day, p) not in uses]
        uses |= {(window.painter, window.day, p) for p in palettes}
        painting = sum(round((s.end_at - s.start_at).total_seconds() / 60) for _, s in here)
        free.append(window.minutes - painting - problem.set_up_min * len(new))
    clocks = Clocks(problem, zone, -1, max(0, last) + CLOCK_D)
    days = day_starts(zone, 0, max(0, last) + CLOCK_D - 1)
    of_day: dict[tuple[int, int], list[int]] = {}
    for b, window in enumerate(found):
        of_day.setdefault((window.painter, window.day), []).append(b)
    mixed: dict[str, list[int]] = {}
    for painter, day, palette in sorted(uses):
        mixed.setdefault(palette, []).extend(of_day[painter, day])
    return _Ground(
        problem,
        zone,
        found,
        np.array([w.start_min for w in found], float),
        np.array([w.end_min for w in found], float),
        np.array([w.painter for w in found], np.int64),
        np.array(free, np.int64),
        {palette: np.array(windows_of, np.int64) for palette, windows_of in mixed.items()},
        clocks,
        days,
    )


def _walk(
    ground: _Ground, panel: PanelJob, stood: Mapping[str, PlacedSitting], released: NDArray[np.float64] | None
) -> _Walk:
    zone, problem = ground.zone, ground.problem
    numbers = {painter.id: n for n, painter in enumerate(problem.painters)}
    options, own = {}, {}
    for sitting in panel.sittings:
        placed = stood[sitting.id]
        minute, hand = zone.minute_of(placed.start_at), numbers.get(placed.painter)
        inside = np.flatnonzero((ground.painters == hand) & (ground.starts <= minute) & (minute < ground.ends))
        mine = (minute, minute + sitting.minutes)
        if inside.size:
            mine = (float(ground.starts[inside[0]]), float(ground.ends[inside[0]]))
        fits = (ground.starts > mine[0]) & (ground.free >= _needed(ground, sitting))
        if sitting.painters:
            fits &= np.isin(ground.painters, [numbers[p] for p in sitting.painters])
        options[sitting.id], own[sitting.id] = (ground.starts[fits], ground.ends[fits]), mine
    first = max(((panel.release_on or problem.today) - problem.today).days, 0)
    begin = np.full(DRAWS, zone.minute_of(zone.day_start(first))) if released is None else released * MINUTES_PER_DAY
    return _Walk(ground, panel, in_order(panel, panel.sittings), options, own, begin)


def _needed(ground: _Ground, sitting: Sitting) -> NDArray[np.int64]:
    """The minutes that a sitting takes in each window: its palette is mixed where it is not already."""
    found = np.full(len(ground.windows), sitting.minutes)
    if sitting.palette is not None:
        found += ground.problem.set_up_min
        found[ground.mixed.get(sitting.palette, [])] -= ground.problem.set_up_min
    return found


def _panel_odds(walk: _Walk, *, with_weakest: bool) -> PanelOdds:
    days, fails = _finish(walk)
    today, due_on = walk.ground.problem.today, walk.panel.due_on
    low, central, high = (today + timedelta(days=int(d)) for d in np.quantile(days, (0.1, 0.5, 0.9), method="higher"))
    ready = _as_planned(walk)
    if due_on is None:
        return PanelOdds(None, low, central, high, ready)
    due = (due_on - today).days
    odds = _share(days, fails, due)
    weakest, gain = None, WORTH
    if with_weakest and odds < walk.ground.problem.confidence:
        before = _share(days[::EACH], fails[::EACH], due)
        for name in _waits(walk):
            better = _share(*_finish(walk, name, EACH), due) - before
            if better > gain:
                weakest, gain = name, better
    return PanelOdds(odds, low, central, high, ready, weakest, gain if weakest else 0.0)


def _as_planned(walk: _Walk) -> date:
    """The day the panel can leave where every sitting keeps its window, as the plan itself counts it."""
    laid = np.array([max(end for _, end in walk.own.values())])
    wait = np.array([walk.panel.final_wait.at(walk.ground.problem.confidence)])
    return walk.ground.problem.today + timedelta(days=int(_leaves(walk, laid, wait)[0]))


def _leaves(walk: _Walk, laid: Minutes, wait: Minutes) -> NDArray[np.int64]:
    """The day from today on which a panel last painted at ``laid`` can leave, after a wait in reference days."""
    whole, part = divmod(walk.panel.handling_d, 1.0)
    clock = walk.ground.clocks.of(walk.panel)
    dry = clock.instant(clock.progress(laid) + wait) + part * MINUTES_PER_DAY
    return np.searchsorted(walk.ground.day_start, dry - EDGE_MIN) + int(whole)


def _share(days: NDArray[np.int64], fails: NDArray[np.bool_], due: int) -> float:
    return float(np.mean((days <= due) & ~fails))


def _waits(walk: _Walk) -> list[str]:
    """The waits with a luck of their own."""
    waited = {link.before for link in walk.panel.links if link.kind is LinkKind.DRY}
    spread = [s.id for s in walk.order if s.id in waited and s.drying is not None and s.drying.p90_d > s.drying.p50_d]
    final = [FINAL] if walk.panel.final_wait.p90_d > walk.panel.final_wait.p50_d else []
    release = [RELEASE] if float(np.ptp(walk.released)) > 0.0 else []
    return [*release, *spread, *final]


def _finish(walk: _Walk, at_median: str | None = None, each: int = 1) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """The day on which the panel can leave in each draw, and where a wet limit was missed; one wait, if named, never
    longer than its median. ``each``: of every so many draws only the first."""
    ground, panel = walk.ground, walk.panel
    starts: dict[str, Minutes] = {}
    ends: dict[str, Minutes] = {}
    released = walk.released[::each]
    fails = np.zeros(len(released), dtype=bool)
    z = {s.id: _score(n + 1, s.id == at_median)[::each] for n, s in enumerate(walk.order)}
    of = {s.id: s for s in walk.order}
    begin = np.minimum(released, np.median(walk.released)) if at_median == RELEASE else released
    for sitting in walk.order:
        ready, limit = begin, np.full(len(begin), np.inf)
        for link in (one for one in panel.links if one.after == sitting.id):
            low, high = _bounds(walk, link, of[link.before], (starts, ends, z))
            ready, limit = np.maximum(ready, low), np.minimum(limit, high)
        start, end = _next_window(walk, sitting.id, ready)
        fails |= (start > limit + EDGE_MIN) | ~np.isfinite(start)
        starts[sitting.id], ends[sitting.id] = start, end
    laid = np.max(np.array(list(ends.values())), axis=0)
    wait = _drawn(panel.final_wait, _score(len(walk.order) + 1, at_median == FINAL)[::each])
    laid = np.where(np.isfinite(laid), laid, ground.day_start[-1])
    return _leaves(walk, laid, wait), fails


def _score(number: int, never_longer: bool) -> Minutes:
    z = scores(number)
    return np.minimum(z, 0.0) if never_longer else z


def _drawn(spread: Spread, z: Minutes) -> Minutes:
    """The log-normal's value at each score."""
    if spread.p50_d <= 0.0:
        return np.zeros(len(z))
    return spread.p50_d * np.exp(z * (np.log(spread.p90_d / spread.p50_d) / Z90))


Laid = tuple[dict[str, Minutes], dict[str, Minutes], dict[str, Minutes]]


def _bounds(walk: _Walk, link: Link, before: Sitting, laid: Laid) -> tuple[Minutes, Minutes]:
    """From and until when the window of a link's upper sitting may start, in each draw."""
    starts, ends, z = laid
    ground, clock = walk.ground, walk.ground.clocks.of(walk.panel)
    start, end = starts[before.id], ends[before.id]
    end = np.where(np.isfinite(end), end, ground.day_start[-1])
    start = np.where(np.isfinite(start), start, ground.day_start[-1])
    low = end
    if link.kind is LinkKind.WET_IN_WET:
        low = start  # the same window will do
    elif link.kind is LinkKind.DRY and before.drying is not None:
        low = clock.instant(clock.progress(end) + _drawn(before.drying, z[before.id]))
    elif link.kind is LinkKind.TACKY:
        low = clock.after(end, link.after_d)
    if link.kind is LinkKind.DRY and link.rest_d > 0.0:
        low = np.maximum(low, end + link.rest_d * MINUTES_PER_DAY)
    if link.within_d is None:
        return low, np.full(len(low), np.inf)
    pace = np.ones(len(low))
    if link.kind is not LinkKind.SPLIT and before.drying is not None and before.drying.p50_d > 0.0:
        pace = _drawn(before.drying, z[before.id]) / before.drying.p50_d
    return low, clock.instant(clock.progress(start) + link.within_d * pace)


def _next_window(walk: _Walk, sitting: str, ready: Minutes) -> tuple[Minutes, Minutes]:
    """The planned window where all is ready by its start, else the next one with room; infinite where there is none."""
    begin, end = walk.own[sitting]
    later_start, later_end = walk.options[sitting]
    keeps = begin >= ready - EDGE_MIN
    at = np.searchsorted(later_start, ready - EDGE_MIN)
    none = at >= len(later_start)
    if len(later_start):
        at = np.minimum(at, len(later_start) - 1)
        next_start, next_end = np.where(none, np.inf, later_start[at]), np.where(none, np.inf, later_end[at])
    else:
        next_start = next_end = np.full(len(ready), np.inf)
    return np.where(keeps, begin, next_start), np.where(keeps, end, next_end)
