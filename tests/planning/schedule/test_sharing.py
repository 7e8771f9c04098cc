"""How long a panel waits to share a palette: as long as the problem's own price of a set-up says."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from server.planning.schedule import check, planner
from server.planning.schedule.explain import explained
from server.planning.schedule.plan import Plan
from server.planning.schedule.problem import FLOW_PRICE, SET_UP_PRICE, Problem, Sitting
from server.planning.schedule.solve import Budget
from tests.planning.schedule.studios import QUICK, TODAY, chain, studio

APART_D = 21  # a Monday three weeks on


def two_panels(**facts: object) -> Problem:
    """Both ask for grey: one is there today, the other three weeks on. Sharing means that the first one waits."""
    first, second = (Sitting(name, 60, "grey", (), QUICK) for name in ("a", "b"))
    there_on = TODAY + timedelta(days=APART_D)
    return studio(chain("now", [first]), chain("later", [second], release_on=there_on), **facts)


def days_of(plan: Plan) -> dict[str, date]:
    return {s.id: s.start_at.date() for s in plan.sittings}


def planned(problem: Problem) -> Plan:
    _, bench = planner.plan(problem, budget=Budget(moves=200))
    return explained(bench)


@pytest.mark.parametrize(("wait_d", "is_shared"), [(0, False), (7, False), (20.5, False), (21.5, True), (30, True)])
def test_a_panel_waits_as_long_as_the_price_says(wait_d: float, is_shared: bool) -> None:
    problem = two_panels(set_up_price=FLOW_PRICE * wait_d)
    plan = planned(problem)
    days = days_of(plan)
    assert (days["a"] == days["b"]) is is_shared
    assert check.check(problem, plan) == []
    waited, mixed = (APART_D, 1) if is_shared else (0, 2)
    assert (plan.objective.flow_d, plan.objective.set_ups) == (waited, mixed)
    assert plan.objective.total == pytest.approx(FLOW_PRICE * wait_d * mixed + FLOW_PRICE * waited)
    assert check.objective(problem, plan).total == pytest.approx(plan.objective.total)
    told = next(s.binding.text for s in plan.sittings if s.id == "a" and s.binding is not None)
    assert ("shares the palette grey" in told) is is_shared


def test_a_problem_that_says_nothing_has_the_price_it_always_had() -> None:
    assert two_panels().set_up_price == SET_UP_PRICE == 100.0
    days = days_of(planned(two_panels()))
    assert days["a"] == days["b"]


def test_the_checker_finds_a_total_of_another_price() -> None:
    problem = two_panels(set_up_price=FLOW_PRICE * 7)
    plan = planned(problem)
    faults = check.check(replace(problem, set_up_price=SET_UP_PRICE), plan)
    assert [fault.kind for fault in faults] == ["objective"]
