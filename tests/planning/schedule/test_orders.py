"""The order in which panels are put in is searched."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from bench.plan import question
from server.planning.schedule import orders, planner, race, solve
from server.planning.schedule.check import check
from server.planning.schedule.columns import (
    BEST,
    FAR,
    LIMIT,
    NOWHERE,
)
from server.planning.schedule.problem import PanelJob, Previous, Problem, Sitting, Spread
from server.planning.schedule.solve import Budget, Desk
from tests.planning.schedule.studios import TODAY, studio


def laid_out(asked: Problem) -> Desk:
    """A desk on which the panels stand by the order that the columns hold."""
    desk = planner.lay_out(asked).desk
    assert solve.put_in_best_order(desk) == []
    return desk


@pytest.mark.parametrize(
    ("begin", "end", "expected"),
    [(0, 3, [1, 2, 3, 0, 4]), (3, 0, [3, 0, 1, 2, 4]), (1, 2, [0, 2, 1, 3, 4]), (4, 4, [0, 1, 2, 3, 4])],
)
def test_one_panel_goes_elsewhere_and_the_others_keep_their_order(begin: int, end: int, expected: list[int]) -> None:
    desk = laid_out(question(5, 1))
    desk.set_order(range(5))
    orders.shift(desk.c, begin, end)
    assert desk.order == expected
    orders.shift(desk.c, end, begin)
    assert desk.order == list(range(5))


@pytest.mark.parametrize("temperature", [1e-9, 1e9])
def test_the_plan_stands_as_its_order_says_whether_changes_were_kept_or_not(temperature: float) -> None:
    desk = laid_out(question(5, 2))
    before = desk.order
    kept = orders.reorder(desk.c, 30, temperature)
    at, cost = desk.c.at, desk.total()
    assert sorted(desk.order) == sorted(before)
    assert (kept == 30) == (temperature > 1.0)  # everything pays when it is hot
    assert desk.c.f[LIMIT] == FAR
    assert solve.put_in_order(desk, desk.order) == []
    assert desk.c.at == at and desk.total() == pytest.approx(cost)
    assert desk.c.f[BEST] <= cost + 1e-6


def two_late() -> Problem:
    """A panel due soonest holds the only windows of one that weighs more: in a window a day one sitting has room."""
    drying = Spread(1.0, 1.0)

    def panel(name: str, weight: float, due_on: date) -> PanelJob:
        sittings = tuple(Sitting(f"{name}{n}", 180, None, (), drying) for n in range(3))
        return PanelJob(name, sittings, weight=weight, due_on=due_on)

    return studio(panel("light", 1.0, TODAY + timedelta(days=1)), panel("heavy", 9.0, TODAY))


def test_what_weighs_more_goes_first_in_the_order_found() -> None:
    desk = laid_out(two_late())
    solve.put_in_order(desk, [0, 1])
    desk.set_order([0, 1])
    dear = desk.total()
    orders.reorder(desk.c, 10, 1.0)
    assert desk.order == [1, 0] and desk.total() < dear


def test_where_a_panel_finds_no_place_by_any_order_the_plan_stays_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = planner.lay_out(question(8, 1))
    at = bench.desk.c.at
    monkeypatch.setattr(solve, "put_in_best_order", lambda made: made.take_out(0) or [0])
    assert next(planner.search_on(bench, Budget(moves=3000, seed=2))).best == bench.desk.c.f[BEST]
    bench.desk.restore(bench.desk.c.best_at)
    assert NOWHERE not in bench.desk.c.at and len(at) == len(bench.desk.c.at)


def test_a_plan_in_use_is_among_those_that_searches_begin_from(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nothing is better than what stands, and moves are priced, a fresh search leaves it there."""
    monkeypatch.setattr(race, "LEAST_A_PAIR", 0)
    asked = question(8, 1)
    plan, _ = planner.plan(asked, budget=Budget(moves=1500))
    previous = tuple(Previous(s.id, s.start_at, painter=s.painter) for s in plan.sittings)
    dear = replace(asked, previous=previous, move_price=100_000.0)
    again, _ = planner.plan(dear, budget=Budget(moves=1500))
    assert again.objective.moved == 0 and again.objective.total <= plan.objective.total
    assert check(dear, again) == []


def test_where_few_may_move_no_order_is_searched() -> None:
    """A plan in use that still holds wholly: nothing had to leave its place, and nothing is laid anew for better."""
    asked = question(8, 2)
    plan, _ = planner.plan(asked, budget=Budget(moves=0))
    previous = tuple(Previous(s.id, s.start_at, painter=s.painter) for s in plan.sittings)
    held = replace(asked, previous=previous, move_price=0.0, most_moved=1)
    again, _ = planner.plan(held, budget=Budget(moves=1500))
    assert again.objective.moved <= 1


def test_the_search_of_orders_takes_its_part_of_the_budget_and_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(race, "LEAST_A_PAIR", 0)
    bench = planner.lay_out(question(8, 3))
    tries: list[int] = []
    search = bench.desk.search

    def reorder(c: object, count: int, temperature: float) -> int:
        assert race.ORDER_COLD <= temperature <= race.ORDER_HOT
        tries.append(count)
        return search.reorder(c, count, temperature)

    monkeypatch.setattr(bench.desk, "search", replace(search, reorder=reorder))
    told = list(planner.search_on(bench, Budget(moves=1500)))
    assert told[-1].moves == 1500 and [one.moves for one in told] == sorted({one.moves for one in told})
    assert sum(tries) == pytest.approx(1500 * race.ORDER_SHARE * race.PANELS_A_MOVE / 8, rel=0.1)


@pytest.mark.parametrize(("panels", "moves", "searched"), [(8, 1066, False), (8, 1067, True), (7, 5000, False)])
def test_where_time_is_short_or_panels_few_no_order_is_searched(
    monkeypatch: pytest.MonkeyPatch, panels: int, moves: int, searched: bool
) -> None:
    """Ten changes for each of eight panels are 80; at 0.3 of the budget and two panels a move, 1,066.7 moves."""
    bench = planner.lay_out(question(panels, 3))
    tries: list[int] = []
    search = bench.desk.search

    def reorder(c: object, count: int, temperature: float) -> int:
        tries.append(count)
        return search.reorder(c, count, temperature)

    monkeypatch.setattr(bench.desk, "search", replace(search, reorder=reorder))
    told = list(planner.search_on(bench, Budget(moves=moves)))
    assert told[-1].moves == moves and (sum(tries) > 0) == searched
