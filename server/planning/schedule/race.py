"""Ruin and recreate while the budget lasts, ever colder: by one search, or by several from one plan that race.

Where there is time for it, the better half of several searches goes on and the others are given up, until one is left
(successive halving: Karnin, Koren and Somekh, 2013; from memory). In a plan being repaired, that matters most: it may
move few sittings, and the first dozen moves that pay are seldom the dozen that pay most, yet whoever has made them has
no move left to give. What the numbers below come to is measured by the bench, on instances of 5 to 1,000 panels.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from server.planning.schedule.columns import BEST, N_FOCUS, N_SITTINGS
from server.planning.schedule.solve import Budget, Desk, Progress

HOTTEST, COLDEST, WARMTH = 120.0, 4.0, 0.2
REPAIR_HOT = 60.0
MOVES_A_SECOND, PLAIN_MOVES_A_SECOND = 25_000, 500  # what hangs on it is how to begin; searches manage more
RUNNERS, LEAST_A_PAIR = 8, 4  # moves for each pair of sittings, below which one search by itself comes further
REPAIR_RUNNERS, LEAST_LEG = 32, 35  # moves of a runner before it is judged; fewer say little
CHUNK, LONGEST_CHUNK, CHUNK_S = 100, 20_000, 0.02  # moves between two looks at the clock


def anneal(made: Desk, budget: Budget) -> Iterator[Progress]:
    """Search until the budget is spent, telling how far it is; the best plan is in the desk's columns all along."""
    if budget.moves == 0:
        yield Progress(1.0, 0, float(made.c.f[BEST]))
        return
    counts = _counts(made, budget)
    hot = REPAIR_HOT if counts[0] > 1 and _is_repair(made) else _hot(made, budget)
    course = _Course(made, budget, hot, len(counts), budget.clock())
    runners = [made.c.standing] * counts[0]
    for turn, count in enumerate(counts):
        came: list[tuple[float, int]] = []
        for n in range(count):
            if turn + n > 0:
                made.restore(runners[n])
            yield from course.leg(turn, n / count, (n + 1) / count)
            runners[n] = made.c.standing
            came.append((made.total(), n))
        runners = [runners[n] for _, n in sorted(came)]


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


@dataclass(slots=True)
class _Course:
    """The budget, in as many rounds of one length, and what is left of it."""

    made: Desk
    budget: Budget
    hot: float
    rounds: int
    begun: float
    tried: int = 0
    share: float = 0.0
    chunk: int = CHUNK

    def leg(self, turn: int, begin: float, end: float) -> Iterator[Progress]:
        """The part of a round from ``begin`` to ``end`` (0 to 1), in which it grows as much colder as in all of it."""
        made, budget = self.made, self.budget
        first, until = (turn + begin) / self.rounds, (turn + end) / self.rounds
        while self.share < min(until, 1.0):
            through = max(0.0, (self.share - first) / (until - first))
            temperature = self.hot * (budget.cold / self.hot) ** ((turn + through) / self.rounds)
            if budget.moves is not None:
                self.chunk = min(CHUNK, max(1, round(until * budget.moves) - self.tried))
            before = budget.clock()
            made.search.improve(made.c, self.chunk, temperature)
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
