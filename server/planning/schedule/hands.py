"""In whose hand each sitting of a plan before was, where nobody says so: read off its times.

A plan puts the sittings of a window one after the other, mixing first. So each begins where that painter's last one
ended, or where the window opens, after the mixing if its palette is not mixed yet; a painter of whom this does not hold
did not have it. What the times do not settle stays open.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from server.planning.schedule.calendar import Window, Zone, windows
from server.planning.schedule.problem import Previous, Problem, Sitting

MOST_STEPS = 4000  # of the search within a day; a day that needs more stays open
EDGE_MIN = 0.6


@dataclass(slots=True)
class _Day:
    """One day's sittings by their starts, and the windows of each painter."""

    asked: list[tuple[Previous, Sitting, float]]
    open: dict[int, list[Window]]
    steps: int = 0


def with_hands(problem: Problem) -> Problem:
    """The problem with the painters of its previous sittings filled in, as far as the times say them."""
    if len(problem.painters) < 2 or all(one.painter is not None or one.done for one in problem.previous):
        return problem
    zone = Zone(problem.zone, problem.today)
    of = {s.id: s for panel in problem.panels for s in panel.sittings}
    by_day: dict[int, list[tuple[Previous, Sitting, float]]] = defaultdict(list)
    for one in problem.previous:
        day = zone.day_of(one.start_at)
        if not one.done and day >= 0 and one.sitting in of:
            by_day[day].append((one, of[one.sitting], zone.minute_of(one.start_at)))
    last = max(by_day, default=-1)
    open_on: dict[int, dict[int, list[Window]]] = defaultdict(lambda: defaultdict(list))
    for window in windows(problem.painters, zone, last + 1):
        open_on[window.day][window.painter].append(window)
    found: dict[str, str] = {}
    for day, asked in by_day.items():
        asked.sort(key=lambda entry: (entry[2], entry[0].sitting))
        found |= _of_day(problem, _Day(asked, open_on[day]))
    previous = tuple(replace(p, painter=p.painter or found.get(p.sitting)) for p in problem.previous)
    return replace(problem, previous=previous)


def _of_day(problem: Problem, day: _Day) -> dict[str, str]:
    hands: list[int] = []
    ends: dict[int, float] = {}
    mixed: set[tuple[int, str]] = set()
    if not _assign(problem, day, (hands, ends, mixed)):
        return {}
    return {entry[0].sitting: problem.painters[hand].id for entry, hand in zip(day.asked, hands, strict=True)}


State = tuple[list[int], dict[int, float], set[tuple[int, str]]]


def _assign(problem: Problem, day: _Day, state: State) -> bool:
    """Give the sittings from the next one on to painters; False where that cannot be."""
    hands, ends, mixed = state
    day.steps += 1
    if len(hands) == len(day.asked):
        return True
    if day.steps > MOST_STEPS:
        return False
    _, sitting, start = day.asked[len(hands)]
    for _, hand in sorted(_ways(problem, day, state)):
        before, mixes = ends.get(hand), _mixes(sitting, hand, mixed)
        hands.append(hand)
        ends[hand] = start + sitting.minutes
        if mixes and sitting.palette is not None:
            mixed.add((hand, sitting.palette))
        if _assign(problem, day, state):
            return True
        hands.pop()
        _put_back(ends, hand, before)
        if mixes and sitting.palette is not None:
            mixed.discard((hand, sitting.palette))
    return False


def _ways(problem: Problem, day: _Day, state: State) -> list[tuple[tuple[bool, float], int]]:
    """Painters the next sitting may have been with. Sorted, the likeliest is first: it ends in time and has no gap
    before it. A pinned sitting keeps its time, so there may be one."""
    hands, ends, mixed = state
    one, sitting, start = day.asked[len(hands)]
    found = []
    for hand in _candidates(problem, one, sitting, day.open):
        begin = start - (problem.set_up_min if _mixes(sitting, hand, mixed) else 0)
        window = next((w for w in day.open[hand] if w.start_min - EDGE_MIN <= begin < w.end_min), None)
        if window is None:
            continue
        gap = begin - max(ends.get(hand, window.start_min), window.start_min)
        late = start + sitting.minutes > window.end_min + EDGE_MIN
        if gap >= -EDGE_MIN and (one.pinned or (gap <= EDGE_MIN and not late)):
            found.append(((late, max(0.0, gap - EDGE_MIN)), hand))
    return found


def _mixes(sitting: Sitting, hand: int, mixed: set[tuple[int, str]]) -> bool:
    return sitting.palette is not None and (hand, sitting.palette) not in mixed


def _put_back(ends: dict[int, float], hand: int, before: float | None) -> None:
    if before is None:
        ends.pop(hand, None)
    else:
        ends[hand] = before


def _candidates(
    problem: Problem, one: Previous, sitting: Sitting, open_today: dict[int, list[Window]]
) -> Sequence[int]:
    ids = [painter.id for painter in problem.painters]
    if one.painter in ids:
        return [ids.index(one.painter)]
    return [n for n, name in enumerate(ids) if n in open_today and (not sitting.painters or name in sitting.painters)]
