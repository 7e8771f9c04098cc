"""How likely each panel makes its date: the plan carried out again and again with sampled drying.

In every draw each sitting is at its planned time if what it waits for is ready by then; otherwise it slips to the next
window of a painter who may paint it that has the room beside what the plan put there. Nobody paints sooner than
planned, and sittings that slip do not push each other: a first look, not a second plan. A sitting that slips past a wet
limit loses its panel the date.

The same draws serve every panel and every plan (common random numbers), so that two plans differ by what they are and
not by luck. Waits of one studio share most of it: see ``server.planning.outlook``, whose scores are used. Most sittings
keep their time in most draws, so what they wait for is worked out to the minute only where it may be late.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from server.planning.outlook import DRAWS, scores
from server.planning.schedule.calendar import MINUTES_PER_DAY
from server.planning.schedule.odds_ground import Ground, Minutes, Numbers, Spot, ground_of
from server.planning.schedule.plan import PlacedSitting
from server.planning.schedule.problem import Z90, Link, LinkKind, PanelJob, Problem, Spread
from server.planning.schedule.speed import DryingClock
from server.planning.schedule.tables import EDGE_MIN, in_order, released_min

WORTH = 0.005  # of a chance; a wait whose luck changes less is not named
EACH = 4  # every so many draws are looked at to find the weakest wait
SURELY_D = 1e-9  # reference days by which what is ready before a start is so whatever was rounded
RELEASE, FINAL = "release", "final"

Flags = NDArray[np.bool_]
NONE = np.zeros(0, np.int64)


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
class _Step:
    """A sitting with where it may be, its wait if it has one, and what it follows: the link, and which step that is."""

    id: str
    spot: Spot
    drying: Spread | None
    below: list[tuple[Link, int]]


@dataclass(frozen=True, slots=True)
class _Walk:
    """One panel: its sittings in order, and from when on they may be in each draw."""

    ground: Ground
    panel: PanelJob
    clock: DryingClock
    steps: list[_Step]
    released: Minutes


@dataclass(slots=True)
class _Draws:
    """What came in each draw. Of each step: how long its layer dries, the place it came to (see `Spot`), and whether
    that is past a wet limit or nowhere."""

    released: Minutes
    dries: list[Minutes]
    final: Minutes
    at: list[Numbers]
    fails: list[Flags]
    days: Numbers

    def each(self, n: int) -> "_Draws":
        """Only every so many of them."""
        dries, at, fails = [one[::n] for one in self.dries], [one[::n] for one in self.at], [f[::n] for f in self.fails]
        return _Draws(self.released[::n], dries, self.final[::n], at, fails, self.days[::n])

    def makes(self, due: int) -> Flags:
        """Whether the panel leaves by a day."""
        makes_it = self.days <= due
        for own in self.fails:
            makes_it &= ~own
        return makes_it

    def share(self, due: int) -> float:
        """Of how many of them it does."""
        return float(np.mean(self.makes(due)))


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
    ground, stood = ground_of(problem, plan), {placed.id: placed for placed in plan}
    found = {}
    for panel in problem.panels:
        if panel.sittings and all(sitting.id in stood for sitting in panel.sittings):
            walk = _walk(ground, panel, stood, (released or {}).get(panel.id))
            found[panel.id] = _panel_odds(walk, with_weakest=with_weakest)
    return found


def _walk(
    ground: Ground, panel: PanelJob, stood: Mapping[str, PlacedSitting], released: NDArray[np.float64] | None
) -> _Walk:
    zone = ground.zone
    clock = ground.clocks.of(panel)
    order = in_order(panel, panel.sittings)
    number = {sitting.id: n for n, sitting in enumerate(order)}
    below: list[list[tuple[Link, int]]] = [[] for _ in order]
    for link in panel.links:
        below[number[link.after]].append((link, number[link.before]))
    steps = [
        _Step(s.id, ground.spot(s, stood[s.id], clock), s.drying, row) for s, row in zip(order, below, strict=True)
    ]
    there = released_min(ground.problem, zone, panel)
    begin = np.full(DRAWS, there) if released is None else released * MINUTES_PER_DAY
    return _Walk(ground, panel, clock, steps, begin)


def _panel_odds(walk: _Walk, *, with_weakest: bool) -> PanelOdds:
    draws = _drawn(walk)
    today, due_on = walk.ground.problem.today, walk.panel.due_on
    ranks = [int(np.ceil((len(draws.days) - 1) * share)) for share in (0.1, 0.5, 0.9)]
    ordered = np.sort(draws.days)
    low, central, high = (today + timedelta(days=int(ordered[rank])) for rank in ranks)
    ready = _as_planned(walk)
    if due_on is None:
        return PanelOdds(None, low, central, high, ready)
    due = (due_on - today).days
    odds = draws.share(due)
    weakest, gain = None, WORTH
    if with_weakest and odds < walk.ground.problem.confidence:
        some = draws.each(EACH)
        before = some.share(due)
        within_reach = float(np.mean(some.makes(due) | (_soonest(walk, some) <= due))) - before
        for name in _waits(walk):
            if name != FINAL and within_reach <= gain:
                continue
            better = _with_luck(walk, some, name).share(due) - before
            if better > gain:
                weakest, gain = name, better
    return PanelOdds(odds, low, central, high, ready, weakest, gain if weakest else 0.0)


def _as_planned(walk: _Walk) -> date:
    """The day the panel can leave where every sitting keeps its window, as the plan itself counts it."""
    laid_d = np.array([max(step.spot.progress[0] for step in walk.steps)])
    wait_d = np.array([walk.panel.final_wait.at(walk.ground.problem.confidence)])
    return walk.ground.problem.today + timedelta(days=int(_leaves(walk, laid_d, wait_d)[0]))


def _leaves(walk: _Walk, laid_d: Minutes, wait_d: Minutes) -> Numbers:
    """The day from today on which a panel can leave that was last painted when its clock showed ``laid_d``, after a
    wait; both in reference days."""
    whole, part = divmod(walk.panel.handling_d, 1.0)
    dry = walk.clock.instant(laid_d + wait_d) + part * MINUTES_PER_DAY
    return walk.ground.day_by(dry - EDGE_MIN) + int(whole)


def _soonest(walk: _Walk, draws: _Draws) -> Numbers:
    """The day before which the panel cannot leave, whatever its sittings wait for: none is sooner than planned."""
    last = max((step.spot for step in walk.steps), key=lambda spot: spot.progress[0])
    return _leaves(walk, np.full(len(draws.days), last.progress.min()), draws.final)


def _waits(walk: _Walk) -> list[str]:
    """The waits with a luck of their own."""
    waited = {link.before for link in walk.panel.links if link.kind is LinkKind.DRY}
    spread = [s.id for s in walk.steps if s.id in waited and s.drying is not None and s.drying.p90_d > s.drying.p50_d]
    final = [FINAL] if walk.panel.final_wait.p90_d > walk.panel.final_wait.p50_d else []
    release = [RELEASE] if float(np.ptp(walk.released)) > 0.0 else []
    return [*release, *spread, *final]


def _drawn(walk: _Walk) -> _Draws:
    """The panel carried out in every draw."""
    steps, count = walk.steps, len(walk.released)
    nothing = np.zeros(count)
    dries = [nothing if s.drying is None else _lasts(s.drying, scores(n + 1)) for n, s in enumerate(steps)]
    final = _lasts(walk.panel.final_wait, scores(len(steps) + 1))
    draws = _Draws(walk.released, dries, final, [], [], np.zeros(count, np.int64))
    for n, step in enumerate(steps):
        draws.at.append(np.zeros(count, np.int64))
        draws.fails.append(np.zeros(count, bool))
        _place(walk, n, draws, _may_be_late(walk, step, draws))
        _judge(walk, n, draws, slice(None))
    draws.days = _leaving(walk, draws, slice(None))
    return draws


def _lasts(spread: Spread, z: Minutes) -> Minutes:
    """The log-normal's value at each score."""
    if spread.p50_d <= 0.0:
        return np.zeros(len(z))
    return spread.p50_d * np.exp(z * (np.log(spread.p90_d / spread.p50_d) / Z90))


def _may_be_late(walk: _Walk, step: _Step, draws: _Draws) -> Numbers:
    """The draws in which something that a sitting waits for may not be ready by its planned time."""
    begin = step.spot.begins[0]
    late = begin < draws.released - EDGE_MIN
    for link, b in step.below:
        spot, at = walk.steps[b].spot, draws.at[b]
        if link.kind is LinkKind.DRY and walk.steps[b].drying is not None:
            late |= spot.progress[at] + draws.dries[b] > step.spot.planned_d - SURELY_D
            late |= begin < spot.ends[at] + link.rest_d * MINUTES_PER_DAY - EDGE_MIN
        else:
            late |= begin < _low(walk, link, walk.steps[b], (at, draws.dries[b])) - EDGE_MIN
    return np.flatnonzero(late)


def _place(walk: _Walk, n: int, draws: _Draws, which: Numbers) -> None:
    """Put step ``n`` into its planned window where all is ready by its start, else into the next one with room."""
    spot, ready = walk.steps[n].spot, draws.released[which]
    for link, b in walk.steps[n].below:
        ready = np.maximum(ready, _low(walk, link, walk.steps[b], (draws.at[b][which], draws.dries[b][which])))
    by = ready - EDGE_MIN
    draws.at[n][which] = np.where(spot.begins[0] >= by, 0, 1 + np.searchsorted(spot.begins[1:-1], by))


def _judge(walk: _Walk, n: int, draws: _Draws, which: Numbers | slice) -> None:
    """Whether step ``n`` comes past a wet limit, or nowhere."""
    spot, at = walk.steps[n].spot, draws.at[n][which]
    fails = at == len(spot.begins) - 1
    for link, b in walk.steps[n].below:
        if link.within_d is not None:
            limit = _high(walk, link, walk.steps[b], (draws.at[b][which], draws.dries[b][which]))
            fails |= spot.begins[at] > limit + EDGE_MIN
    draws.fails[n][which] = fails


Below = tuple[Numbers, Minutes]  # of the sitting below, in each draw: its place, and how long it dries


def _low(walk: _Walk, link: Link, below: _Step, drawn: Below) -> Minutes:
    """From when on the window of a link's upper sitting may start."""
    spot, (at, dries) = below.spot, drawn
    if link.kind is LinkKind.WET_IN_WET:
        return spot.opens[at]  # the same window will do
    low = spot.ends[at]
    if link.kind is LinkKind.TACKY:
        return walk.clock.after(low, link.after_d)
    if link.kind is LinkKind.DRY and below.drying is not None:
        low = walk.clock.instant(spot.progress[at] + dries)
    if link.kind is LinkKind.DRY and link.rest_d > 0.0:
        low = np.maximum(low, spot.ends[at] + link.rest_d * MINUTES_PER_DAY)
    return low


def _high(walk: _Walk, link: Link, below: _Step, drawn: Below) -> Minutes:
    """Until when the window of a link's upper sitting may start, of a link that has a limit."""
    at, dries = drawn
    pace = np.ones(len(at))
    if link.kind is not LinkKind.SPLIT and below.drying is not None and below.drying.p50_d > 0.0:
        pace = dries / below.drying.p50_d
    assert link.within_d is not None
    return walk.clock.instant(walk.clock.progress(below.spot.opens[at]) + link.within_d * pace)


def _leaving(walk: _Walk, draws: _Draws, which: Numbers | slice) -> Numbers:
    """The day on which the panel can leave."""
    shown = [step.spot.progress[at[which]] for step, at in zip(walk.steps, draws.at, strict=True)]
    return _leaves(walk, np.max(np.array(shown), axis=0), draws.final[which])


def _with_luck(walk: _Walk, draws: _Draws, name: str) -> _Draws:
    """The same with one wait never longer than its median: only what comes otherwise for it is worked out anew."""
    found = replace(draws, dries=[*draws.dries], at=[*draws.at], fails=[*draws.fails], days=draws.days.copy())
    if name == FINAL:
        found.final = np.minimum(draws.final, walk.panel.final_wait.p50_d)
        found.days = _leaving(walk, found, slice(None))
        return found
    if name == RELEASE:
        found.released = np.minimum(draws.released, np.median(walk.released))
        sooner, of = found.released < draws.released, -1
    else:
        of = next(n for n, step in enumerate(walk.steps) if step.id == name)
        found.dries[of] = np.minimum(draws.dries[of], _median(walk.steps[of]))
        sooner = found.dries[of] < draws.dries[of]
    moved: dict[int, Flags] = {}  # of steps: in which draws it comes to another place
    for n, step in enumerate(walk.steps):
        asked = [moved[b] for _, b in step.below if b in moved]
        if of < 0 or any(b == of for _, b in step.below):
            # Sooner than planned it is not; but a limit may come sooner.
            has_limit = any(link.within_d is not None for link, _ in step.below)
            asked.append(sooner if has_limit else sooner & (draws.at[n] > 0))
        which = np.flatnonzero(np.logical_or.reduce(asked)) if asked else NONE
        if which.size:
            found.at[n], found.fails[n] = draws.at[n].copy(), draws.fails[n].copy()
            _place(walk, n, found, which)
            _judge(walk, n, found, which)
            moved[n] = found.at[n] != draws.at[n]
    which = np.flatnonzero(np.logical_or.reduce(list(moved.values()))) if moved else NONE
    if which.size:
        found.days[which] = _leaving(walk, found, which)
    return found


def _median(step: _Step) -> float:
    return 0.0 if step.drying is None else max(0.0, step.drying.p50_d)
