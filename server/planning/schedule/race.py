"""Ruin and recreate while the budget lasts, ever colder: by one search, or by several from one plan that race.

How to begin is searched apart: by orders of panels (`orders`), or of few panels by what shares a mix (`meetings`).
Where there is time for it, the better half of several searches goes on and the others are given up, until one is left
(successive halving: Karnin, Koren and Somekh, 2013; from memory). In a plan being repaired, that matters most: it may
move few sittings, and the first dozen moves that pay are seldom the dozen that pay most, yet whoever has made them has
no move left to give. Where there are threads for it, as many search at once, each at a desk of its own, and what one
finds is kept at the first. What the numbers below come to is measured by the bench, on instances of 5 to 1,000 panels.
"""

from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from server.planning.schedule import solve
from server.planning.schedule.columns import BEST, N_FOCUS, N_ORDER, N_SITTINGS
from server.planning.schedule.solve import Budget, Desk, Progress

HOTTEST, COLDEST, WARMTH = 120.0, 4.0, 0.2
REPAIR_HOT = 60.0
MOVES_A_SECOND, PLAIN_MOVES_A_SECOND = 40_000, 1000  # what hangs on it is how to begin; searches manage more
ROUNDS = 16  # where one search alone is all there is time for, but threads for more: so often the best goes on for all
RUNNERS, LEAST_A_PAIR = 8, 4  # moves for each pair of sittings, below which one search by itself comes further
REPAIR_RUNNERS, LEAST_LEG = 32, 35  # moves of a runner before it is judged; fewer say little
STARTS, ORDER_SHARE, ALONE_SHARE = 4, 0.16, 0.3  # orders searched, the part of the budget for all; for only one
LEAST_PANELS, TRIES_A_PANEL = 8, 10  # below which an order is not worth searching: its length, and changes of it
ORDER_HOT, ORDER_COLD = 300.0, 10.0
MEETINGS, MEETINGS_SHARE = 4, 0.85  # of fewer panels than that: searches of what shares a mix, their part of the budget
MEETINGS_HOT, MEETINGS_COLD = 100.0, 4.0
LEAST_A_SITTING = 600  # moves, below which the search by moves alone comes further
PANELS_A_MOVE = 2  # panels put in by orders in the time of a move of ruin and recreate, at a guess
CHUNK, LONGEST_CHUNK, CHUNK_S = 100, 20_000, 0.02  # moves between two looks at the clock

Work = Callable[[int, float], int]  # so many moves, at a point of the way from 0 to 1


def anneal(made: Desk, budget: Budget) -> Iterator[Progress]:
    """Search until the budget is spent, telling how far it is; the best plan is in the desk's columns all along."""
    if budget.moves == 0:
        yield Progress(1.0, 0, float(made.c.f[BEST]))
        return
    threads = budget.threads if _may_share(made, budget) else 1
    desks = [made, *(solve.twin(made, n) for n in range(1, threads))]
    with ThreadPoolExecutor(max(1, len(desks) - 1)) as others:
        yield from _race(_Course(desks, others, budget, budget.clock()))


def _may_share(made: Desk, budget: Budget) -> bool:
    """Whether threads help: compiled code runs in several at once, Python's does not, and a budget of moves is to come
    to the same plan wherever it is spent."""
    return made.search.is_compiled and budget.moves is None


def _race(course: "_Course") -> Iterator[Progress]:
    made, counts = course.made, _counts(course)
    hot = REPAIR_HOT if counts[0] > 1 and _is_repair(made) else _hot(course)
    runners = [made.c.standing]
    if made.model.problem.most_moved is None:
        runners = yield from _starts(course, _orders(course, counts[0]))
    lead = course.share
    runners = [runners[n % len(runners)] for n in range(counts[0])]
    for turn, count in enumerate(counts):
        leg = _Leg(hot, course.budget.cold, turn / len(counts), (turn + 1) / len(counts))
        first, until = (lead + (1.0 - lead) * part for part in (leg.begin, leg.end))
        came = yield from course.run(runners[:count], first, until, leg.search)
        runners = [standing for _, standing in came]


def _orders(course: "_Course", searches: int) -> int:
    """How many orders of panels are searched first: none where there is no time to change each panel's place often, or
    so few panels that the searches find their order anyway."""
    panels = len(course.made.model.panels)
    if panels < LEAST_PANELS:
        return 0
    tries = _expected_moves(course) * ALONE_SHARE * PANELS_A_MOVE / panels
    if tries < TRIES_A_PANEL * panels:
        return 0
    return STARTS if searches > 1 else 1


def _has_few_panels(course: "_Course") -> bool:
    """Whether what shares a mix is searched first: few panels that may move, and time enough for them."""
    made = course.made
    if made.model.problem.most_moved is not None or len(made.model.panels) >= LEAST_PANELS:
        return False
    return _expected_moves(course) >= LEAST_A_SITTING * int(made.c.m[N_SITTINGS])


def _starts(course: "_Course", count: int) -> Generator[Progress, None, list[Any]]:
    """Plans to begin from, by so many orders of panels, or for few panels by what shares a mix: the cheapest first.

    Of several orders, those found so are begun from and no other, unless a plan was in use before.
    """
    made, stood = course.made, course.made.c.standing
    if _has_few_panels(course):
        leg = _Leg(MEETINGS_HOT, MEETINGS_COLD, 0.0, 1.0)
        found = yield from course.run([stood] * MEETINGS, 0.0, MEETINGS_SHARE, leg.regroup)
        return [standing for _, standing in found]
    if count == 0:
        return [stood]
    came: list[tuple[float, Any]] = []
    if not solve.put_in_best_order(made):
        for desk in course.desks:
            desk.set_order(made.order)
        leg, until = _Leg(ORDER_HOT, ORDER_COLD, 0.0, 1.0), ORDER_SHARE if count > 1 else ALONE_SHARE
        came = yield from course.run([made.c.standing] * count, 0.0, until, leg.reorder)
    made.restore(stood)
    if not came or count == 1 or made.model.problem.previous:
        came = _cheapest_first([*came, (made.total(), stood)])
    return [standing for _, standing in came]


def _cheapest_first(came: list[tuple[float, Any]]) -> list[tuple[float, Any]]:
    return sorted(came, key=lambda one: one[0])


def _counts(course: "_Course") -> list[int]:
    """How many search in each round; every round has the same part of the budget."""
    made, moves, count = course.made, _expected_moves(course), 1
    if _is_repair(made):
        while count < REPAIR_RUNNERS and moves >= 2 * count * (2 * count).bit_length() * LEAST_LEG:
            count *= 2
    elif not _has_few_panels(course) and moves >= LEAST_A_PAIR * int(made.c.m[N_SITTINGS]) ** 2:
        count = RUNNERS
    if count == 1 and len(course.desks) > 1:
        return [1] * ROUNDS
    return [count >> turn for turn in range(count.bit_length())]


def _is_repair(made: Desk) -> bool:
    """Whether few may move and something had to leave its place."""
    return bool(made.model.problem.most_moved is not None and made.c.m[N_FOCUS] > 0)


def _expected_moves(course: "_Course") -> int:
    """The moves of one desk that the budget will do for, at a guess where it is of time."""
    if course.budget.moves is not None:
        return course.budget.moves
    a_second = MOVES_A_SECOND if course.made.search.is_compiled else PLAIN_MOVES_A_SECOND
    return int(course.budget.seconds * a_second)


def _hot(course: "_Course") -> float:
    """The temperature to begin with in the objective's own unit: the colder, the fewer moves for each sitting."""
    return min(HOTTEST, max(COLDEST, WARMTH * _expected_moves(course) / max(1, int(course.made.c.m[N_SITTINGS]))))


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

    def regroup(self, made: Desk) -> Work:
        grouped: list[bool] = []

        def work(moves: int, through: float) -> int:
            if not grouped:
                grouped.append(made.search.group_up(made.c))
            way = made.search.regroup if grouped[0] else made.search.improve
            return way(made.c, moves, self.temperature(through))

        return work


@dataclass(slots=True)
class _Course:
    """The budget, how much of it is spent, and the desks that it is spent at: all at once, by ``others`` beside this
    thread. The first desk keeps the best plan of all."""

    desks: Sequence[Desk]
    others: Executor
    budget: Budget
    begun: float
    tried: int = 0

    @property
    def made(self) -> Desk:
        return self.desks[0]

    @property
    def share(self) -> float:
        """The part of the budget that is spent, 0 to 1 and a little more."""
        if self.budget.moves is not None:
            return self.tried / self.budget.moves
        return (self.budget.clock() - self.begun) / self.budget.seconds

    def run(
        self, begins: Sequence[Any], first: float, until: float, leg: Callable[[Desk], Work]
    ) -> Generator[Progress, None, list[tuple[float, Any]]]:
        """Search from each of some plans for the same part of the budget, as many at once as there are desks; desks
        left over begin from the same plans again. What came of it, cheapest first."""
        came: list[tuple[float, Any]] = []
        turns, works = range(0, len(begins), len(self.desks)), [leg(desk) for desk in self.desks]
        part = (until - first) / len(turns)
        for turn, n in enumerate(turns):
            for a, desk in enumerate(self.desks, n):
                desk.restore(begins[a % len(begins)])
            yield from self._spend(first + turn * part, first + (turn + 1) * part, works)
            came += [(desk.total(), desk.c.standing) for desk in self.desks]
        return _cheapest_first(came)

    def _spend(self, first: float, until: float, works: Sequence[Work]) -> Iterator[Progress]:
        """Work until so much of the budget is spent (0 to 1), of which the part from ``first`` on is for this."""
        stretches = [_Stretch(self, first, until, work) for work in works]
        before, asked = self.tried, [self.others.submit(one.go_on) for one in stretches[1:]]
        try:
            while self.share < min(until, 1.0):
                stretches[0].step()
                self.tried = before + sum(one.tried for one in stretches)
                yield Progress(min(self.share, 1.0), self.tried, float(self.made.c.f[BEST]))
        finally:  # also where nobody wants to hear any more
            for one in stretches:
                one.is_over = True
            for answer in asked:
                answer.result()
            for desk in self.desks[1:]:
                self.made.take_over(desk)


@dataclass(slots=True)
class _Stretch:
    """What one thread does for a part of the budget: work, with a look at the clock now and then. No thread waits for
    another before the end: on a busy machine each would lose what any of them loses."""

    course: _Course
    first: float
    until: float
    work: Work
    chunk: int = CHUNK
    tried: int = 0
    is_over: bool = False

    def go_on(self) -> None:
        while not self.is_over:
            self.step()

    def step(self) -> None:
        budget, length = self.course.budget, self.until - self.first
        if budget.moves is not None:
            self.chunk = min(CHUNK, max(1, round(self.until * budget.moves) - self.course.tried))
        before = budget.clock()
        self.work(self.chunk, min(1.0, max(0.0, (self.course.share - self.first) / length)))
        self.tried += self.chunk
        if budget.moves is None:
            aim_s = min(CHUNK_S, length * budget.seconds / 4)
            by = min(4.0, aim_s / max(budget.clock() - before, 1e-4))
            self.chunk = int(min(LONGEST_CHUNK, max(10, self.chunk * by)))
