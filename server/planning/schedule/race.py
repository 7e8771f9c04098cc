"""Ruin and recreate while the budget lasts, ever colder: by one search, or by several from one plan that race.

Where there is time for it, the better half of several searches goes on and the others are given up, until one is left
(successive halving: Karnin, Koren and Somekh, 2013; from memory). In a plan being repaired, that matters most: it may
move few sittings, and the first dozen moves that pay are seldom the dozen that pay most, yet whoever has made them has
no move left to give. What the numbers below come to is measured by the bench, on instances of 5 to 1,000 panels.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from server.planning.schedule import solve
from server.planning.schedule.columns import BEST, N_FOCUS, N_ORDER, N_SITTINGS
from server.planning.schedule.solve import Budget, Desk, Progress

HOTTEST, COLDEST, WARMTH = 120.0, 4.0, 0.2
REPAIR_HOT = 60.0
MOVES_A_SECOND, PLAIN_MOVES_A_SECOND = 40_000, 1000  # what hangs on it is how to begin; searches manage more
RUNNERS, LEAST_A_PAIR = 8, 4  # moves for each pair of sittings, below which one search by itself comes further
REPAIR_RUNNERS, LEAST_LEG = 32, 35  # moves of a runner before it is judged; fewer say little
STARTS, ORDER_SHARE, ALONE_SHARE = 4, 0.16, 0.3  # orders searched, the part of the budget for all; for only one
LEAST_PANELS, TRIES_A_PANEL = 8, 10  # below which an order is not worth searching: its length, and changes of it
ORDER_HOT, ORDER_COLD = 300.0, 10.0
PANELS_A_MOVE = 2  # panels put in by orders in the time of a move of ruin and recreate, at a guess
CHUNK, LONGEST_CHUNK, CHUNK_S = 100, 20_000, 0.02  # moves between two looks at the clock

Work = Callable[[int, float], int]  # so many moves, at a point of the way from 0 to 1


def anneal(made: Desk, budget: Budget) -> Iterator[Progress]:
    """Search until the budget is spent, telling how far it is; the best plan is in the desk's columns all along."""
    if budget.moves == 0:
        yield Progress(1.0, 0, float(made.c.f[BEST]))
        return
    repairs, counts = _is_repair(made), _counts(made, budget)
    hot = REPAIR_HOT if counts[0] > 1 and repairs else _hot(made, budget)
    course = _Course(made, budget, budget.clock())
    starts = [made.c.standing]
    if made.model.problem.most_moved is None:
        yield from _starts(course, starts, _orders(made, budget, counts[0]))
    lead = course.share
    runners = [starts[n % len(starts)] for n in range(counts[0])]
    for turn, count in enumerate(counts):
        came: list[tuple[float, int]] = []
        for n in range(count):
            if turn + n > 0 or lead > 0.0:  # orders left another plan
                made.restore(runners[n])
            leg = _Leg(hot, budget.cold, turn / len(counts), (turn + 1) / len(counts))
            first, until = ((turn + part / count) / len(counts) for part in (n, n + 1))
            yield from course.spend(lead + (1.0 - lead) * first, lead + (1.0 - lead) * until, leg.search(made))
            runners[n] = made.c.standing
            came.append((made.total(), n))
        runners = [runners[n] for _, n in sorted(came)]


def _orders(made: Desk, budget: Budget, searches: int) -> int:
    """How many orders of panels are searched first: none where there is no time to change each panel's place often, or
    so few panels that the searches find their order anyway."""
    panels = len(made.model.panels)
    if panels < LEAST_PANELS:
        return 0
    tries = _expected_moves(made, budget) * ALONE_SHARE * PANELS_A_MOVE / panels
    if tries < TRIES_A_PANEL * panels:
        return 0
    return STARTS if searches > 1 else 1


def _starts(course: "_Course", found: list[Any], count: int) -> Iterator[Progress]:
    """Plans to begin from, by so many orders of panels, the cheapest first.

    Of several, those found so are begun from and no other, unless a plan was in use before.
    """
    made, stood = course.made, found[0]
    came: list[tuple[float, int, Any]] = []
    share = ORDER_SHARE if count > 1 else ALONE_SHARE
    if count and not solve.put_in_best_order(made):
        order, laid = made.order, made.c.standing
        for n in range(count):
            made.set_order(order)
            made.restore(laid)
            leg = _Leg(ORDER_HOT, ORDER_COLD, 0.0, 1.0)
            yield from course.spend(share * n / count, share * (n + 1) / count, leg.reorder(made))
            came.append((made.total(), n, made.c.standing))
    if count:
        made.restore(stood)
    if len(came) <= 1 or made.model.problem.previous:
        came.append((made.total(), count, stood))
    found[:] = [standing for _, _, standing in sorted(came, key=lambda one: one[:2])]


def _counts(made: Desk, budget: Budget) -> list[int]:
    """How many search in each round; every round has the same part of the budget."""
    moves, count = _expected_moves(made, budget), 1
    if _is_repair(made):
        while count < REPAIR_RUNNERS and moves >= 2 * count * (2 * count).bit_length() * LEAST_LEG:
            count *= 2
    elif moves >= LEAST_A_PAIR * int(made.c.m[N_SITTINGS]) ** 2:
        count = RUNNERS
    return [count >> turn for turn in range(count.bit_length())]


def _is_repair(made: Desk) -> bool:
    """Whether few may move and something had to leave its place."""
    return bool(made.model.problem.most_moved is not None and made.c.m[N_FOCUS] > 0)


def _expected_moves(made: Desk, budget: Budget) -> int:
    """The moves that a budget will do for, at a guess where it is of time."""
    if budget.moves is not None:
        return budget.moves
    return int(budget.seconds * (MOVES_A_SECOND if made.search.is_compiled else PLAIN_MOVES_A_SECOND))


def _hot(made: Desk, budget: Budget) -> float:
    """The temperature to begin with in the objective's own unit: the colder, the fewer moves for each sitting."""
    return min(HOTTEST, max(COLDEST, WARMTH * _expected_moves(made, budget) / max(1, int(made.c.m[N_SITTINGS]))))


@dataclass(frozen=True, slots=True)
class _Leg:
    """A part of a search: of the way from ``hot`` to ``cold``, which is 0 to 1, ``begin`` to ``end``."""

    hot: float
    cold: float
    begin: float
    end: float

    def temperature(self, through: float) -> float:
        return self.hot * (self.cold / self.hot) ** (self.begin + through * (self.end - self.begin))

    def search(self, made: Desk) -> Work:
        return lambda moves, through: made.search.improve(made.c, moves, self.temperature(through))

    def reorder(self, made: Desk) -> Work:
        panels = max(1, int(made.c.m[N_ORDER]))
        return lambda moves, through: made.search.reorder(
            made.c, max(1, moves * PANELS_A_MOVE // panels), self.temperature(through)
        )


@dataclass(slots=True)
class _Course:
    """The budget and how much of it is spent."""

    made: Desk
    budget: Budget
    begun: float
    tried: int = 0
    share: float = 0.0
    chunk: int = CHUNK

    def spend(self, first: float, until: float, work: Work) -> Iterator[Progress]:
        """Work until so much of the budget is spent (0 to 1), of which the part from ``first`` on is for this."""
        made, budget = self.made, self.budget
        while self.share < min(until, 1.0):
            through = max(0.0, (self.share - first) / (until - first))
            if budget.moves is not None:
                self.chunk = min(CHUNK, max(1, round(until * budget.moves) - self.tried))
            before = budget.clock()
            work(self.chunk, through)
            self.tried += self.chunk
            now = budget.clock()
            if budget.moves is not None:
                self.share = self.tried / budget.moves
            else:
                self.share = (now - self.begun) / budget.seconds
                aim_s = min(CHUNK_S, (until - first) * budget.seconds / 4)
                by = min(4.0, aim_s / max(now - before, 1e-4))
                self.chunk = int(min(LONGEST_CHUNK, max(10, self.chunk * by)))
            yield Progress(min(self.share, 1.0), self.tried, float(made.c.f[BEST]))
