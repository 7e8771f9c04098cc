"""Several searches of one plan: how many begin, what they spend, and that the best of them all is kept."""

from dataclasses import replace
from datetime import timedelta

import pytest

from bench.plan import question
from server.planning.schedule import planner, race
from server.planning.schedule.columns import BEST
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
    """How many times a search began anew from a plan noted before."""
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
    ("moves", "others"),
    [
        (100, 0),  # one search by itself
        (140, 2),  # two, of which one goes on
        (420, 6),  # four, two, one
        (1120, 14),
        (6720, 62),  # thirty-two, and so on: no more than that
    ],
)
def test_the_more_moves_the_more_searches_begin_and_all_moves_are_spent(
    ill: Problem, monkeypatch: pytest.MonkeyPatch, moves: int, others: int
) -> None:
    bench, told = planner.lay_out(ill), list[Progress]()
    assert began(told, bench, monkeypatch, Budget(moves=moves)) == others
    assert told[-1].moves == moves and told[-1].share == 1.0
    assert [one.share for one in told] == sorted(one.share for one in told)
    # The best seen is kept whoever saw it, and it is there.
    assert [one.best for one in told] == sorted((one.best for one in told), reverse=True)
    bench.desk.restore(bench.desk.c.best_at)
    assert bench.desk.total() == pytest.approx(told[-1].best) == pytest.approx(bench.desk.c.f[BEST])


@pytest.mark.parametrize(("short", "others"), [(1, 0), (0, 14)])
def test_a_fresh_plan_is_searched_by_several_only_where_there_is_time(
    monkeypatch: pytest.MonkeyPatch, short: int, others: int
) -> None:
    monkeypatch.setattr(race, "LEAST_A_PAIR", 1)
    monkeypatch.setattr(race, "TRIES_A_PANEL", 10**9)  # no search of orders, which begins anew too
    asked = question(5, 1)
    moves = sum(len(panel.sittings) for panel in asked.panels) ** 2 - short
    bench, told = planner.lay_out(asked), list[Progress]()
    assert began(told, bench, monkeypatch, Budget(moves=moves)) == others
    assert told[-1].moves == moves


def test_a_budget_of_time_ends_with_it_and_an_empty_one_at_once() -> None:
    now = 0.0

    def clock() -> float:
        nonlocal now
        now += 0.025
        return now

    bench = planner.lay_out(question(5, 1))
    told = list(planner.search_on(bench, Budget(seconds=0.2, clock=clock)))
    assert told[-1].share == 1.0 and now == pytest.approx(0.2, abs=0.1)
    assert [one.share for one in planner.search_on(bench, Budget(moves=0))] == [1.0]
