"""Several searches of one plan: how many begin, what they spend, and that the best of them all is kept."""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import timedelta

import pytest

from bench.plan import question
from server.planning.schedule import planner, race, solve, threads
from server.planning.schedule.check import check
from server.planning.schedule.columns import BEST, SEED, Columns
from server.planning.schedule.compiled import PLAIN, Search
from server.planning.schedule.planner import Bench
from server.planning.schedule.problem import DayHours, Previous, Problem
from server.planning.schedule.repair import MOST_MOVED, REPAIR_PRICE
from server.planning.schedule.solve import Budget, Progress


@pytest.fixture(scope="module")
def ill() -> Problem:
    """Twenty panels in use for a fortnight, and the painter is ill today."""
    asked = question(20, 1)
    plan, _ = planner.plan(asked, budget=Budget(moves=0))
    on = min(s.start_at.date() for s in plan.sittings if s.start_at.date() >= asked.today + timedelta(days=14))
    previous = tuple(Previous(s.id, s.start_at, done=s.start_at.date() < on, painter=s.painter) for s in plan.sittings)
    painters = tuple(replace(p, days=(*p.days, DayHours(on))) for p in asked.painters)
    return replace(
        asked, today=on, previous=previous, painters=painters, move_price=REPAIR_PRICE, most_moved=MOST_MOVED
    )


def began(told: list[Progress], bench: Bench, monkeypatch: pytest.MonkeyPatch, budget: Budget) -> int:
    """How many searches began."""
    count = 0
    restore = bench.desk.search.stand

    def stand(c: object) -> None:
        nonlocal count
        count += 1
        restore(c)

    with monkeypatch.context() as patch:
        patch.setattr(bench.desk, "search", replace(bench.desk.search, stand=stand))
        told += planner.search_on(bench, budget)
    return count


@pytest.mark.parametrize(
    ("moves", "searches"),
    [
        (100, 1),  # one search by itself
        (140, 3),  # two, of which one goes on
        (420, 7),  # four, two, one
        (1120, 15),
        (6720, 63),  # thirty-two, and so on: no more than that
    ],
)
def test_the_more_moves_the_more_searches_begin_and_all_moves_are_spent(
    ill: Problem, monkeypatch: pytest.MonkeyPatch, moves: int, searches: int
) -> None:
    bench, told = planner.lay_out(ill), list[Progress]()
    assert began(told, bench, monkeypatch, Budget(moves=moves)) == searches
    assert told[-1].moves == moves and told[-1].share == 1.0
    assert [one.share for one in told] == sorted(one.share for one in told)
    # The best seen is kept whoever saw it, and it is there.
    assert [one.best for one in told] == sorted((one.best for one in told), reverse=True)
    bench.desk.restore(bench.desk.c.best_at)
    assert bench.desk.total() == pytest.approx(told[-1].best) == pytest.approx(bench.desk.c.f[BEST])


@pytest.mark.parametrize(("short", "searches"), [(1, 1), (0, 15)])
def test_a_fresh_plan_is_searched_by_several_only_where_there_is_time(
    monkeypatch: pytest.MonkeyPatch, short: int, searches: int
) -> None:
    monkeypatch.setattr(race, "LEAST_A_PAIR", 1)
    monkeypatch.setattr(race, "TRIES_A_PANEL", 10**9)  # no search of orders, which begins anew too
    asked = question(5, 1)
    moves = sum(len(panel.sittings) for panel in asked.panels) ** 2 - short
    bench, told = planner.lay_out(asked), list[Progress]()
    assert began(told, bench, monkeypatch, Budget(moves=moves)) == searches
    assert told[-1].moves == moves


def test_a_budget_of_time_ends_with_it_and_an_empty_one_at_once() -> None:
    now = 0.0

    def clock() -> float:
        nonlocal now
        now += 0.005
        return now

    bench = planner.lay_out(question(5, 1))
    told = list(planner.search_on(bench, Budget(seconds=0.2, clock=clock)))
    assert told[-1].share == 1.0 and now == pytest.approx(0.2, abs=0.1)
    assert [one.share for one in planner.search_on(bench, Budget(moves=0))] == [1.0]


@dataclass
class Idle:
    """The plain search taken for a compiled one, which threads may share: the first thread finds nothing; the others
    search, and the clock goes by their moves."""

    spent: int = 0
    first: threading.Thread = field(default_factory=threading.current_thread)

    def _way(self, plain: Callable[..., int]) -> Callable[..., int]:
        def way(c: Columns, moves: int, temperature: float) -> int:
            if threading.current_thread() is self.first:
                time.sleep(0.001)
                return 0
            self.spent += moves
            return plain(c, moves, temperature)

        return way

    def clock(self) -> float:
        return self.spent / 8000.0

    @property
    def search(self) -> Search:
        improve, regroup = self._way(PLAIN.improve), self._way(PLAIN.regroup)
        return replace(PLAIN, improve=improve, regroup=regroup, is_compiled=True)


@pytest.mark.parametrize("least_a_pair", [1, 10**6])  # eight searches to begin with; one, and the best often goes on
def test_what_other_threads_find_is_kept(monkeypatch: pytest.MonkeyPatch, least_a_pair: int) -> None:
    monkeypatch.setattr(race, "LEAST_A_PAIR", least_a_pair)
    monkeypatch.setattr(race, "LEAST_A_SITTING", 10**9)  # moves alone
    asked, idle = question(5, 1), Idle()
    bench = planner.lay_out(asked, idle.search)
    greedy = bench.desk.total()
    told = list(planner.search_on(bench, Budget(seconds=0.5, clock=idle.clock, threads=3)))
    assert told[-1].best < greedy - 100.0
    assert told[-1].moves >= 4000
    bench.desk.restore(bench.desk.c.best_at)
    assert bench.desk.total() == pytest.approx(told[-1].best)
    assert not check(asked, planner.answer(bench))


def test_what_other_threads_find_by_what_shares_a_mix_is_kept() -> None:
    asked, idle = question(5, 1), Idle()
    bench = planner.lay_out(asked, idle.search)
    greedy = bench.desk.total()
    told = list(planner.search_on(bench, Budget(seconds=0.6, clock=idle.clock, threads=3)))
    assert told[-1].best < greedy - 100.0
    bench.desk.restore(bench.desk.c.best_at)
    assert not check(asked, planner.answer(bench))


def test_other_threads_end_and_leave_what_they_found_where_the_search_is_stopped(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(race, "LEAST_A_SITTING", 10**9)
    idle = Idle()
    bench = planner.lay_out(question(5, 1), idle.search)
    greedy, before = bench.desk.total(), threading.active_count()
    for _ in planner.search_on(bench, Budget(seconds=60.0, clock=idle.clock, threads=3)):
        if idle.spent > 2000:
            break
    assert threading.active_count() == before
    bench.desk.restore(bench.desk.c.best_at)
    assert bench.desk.total() < greedy - 100.0


def test_a_twin_stands_alike_draws_other_numbers_and_goes_its_own_way() -> None:
    made = planner.lay_out(question(5, 1), replace(PLAIN, is_compiled=True)).desk
    stood = made.c.at
    twins = [solve.twin(made, n) for n in (1, 2)]
    assert len({int(desk.c.m[SEED]) for desk in (made, *twins)}) == 3
    assert [twin.c.at for twin in twins] == [stood, stood]
    assert [twin.total() for twin in twins] == [made.total()] * 2
    twins[0].take_out(0)
    assert made.c.at == twins[1].c.at == stood != twins[0].c.at


def test_a_budget_of_moves_comes_to_the_same_plan_however_many_threads_there_are() -> None:
    asked = question(5, 1)
    one, several = (
        planner.plan(asked, replace(PLAIN, is_compiled=True), Budget(moves=300, threads=n))[0] for n in (1, 4)
    )
    assert one == several


def test_threads_are_shared_out_among_the_searches_that_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threads, "there", lambda: 6)
    assert [threads.share(n) for n in (0, 1, 2, 3, 4, 9)] == [4, 4, 3, 2, 1, 1]
