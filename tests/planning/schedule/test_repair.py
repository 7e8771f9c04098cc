"""A plan in use put down again: all that holds stands where it stood, in the same hands; what moved is counted."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from bench.plan_instances import instance
from server.formats.calls.layer_in import Collector
from server.formats.calls.plan_in import PlanRequest
from server.formats.calls.plan_problem import problem
from server.planning.schedule import planner
from server.planning.schedule.check import check
from server.planning.schedule.explain import explained
from server.planning.schedule.hands import with_hands
from server.planning.schedule.plan import Plan
from server.planning.schedule.problem import DayHours, LinkKind, Previous, Problem, Sitting, Spread
from server.planning.schedule.repair import MOST_MOVED, REPAIR_PRICE, repair
from server.planning.schedule.solve import Budget, Progress
from tests.planning.schedule.studios import TODAY, chain, studio


@pytest.fixture(scope="module")
def in_use() -> tuple[Problem, Plan]:
    """Two painters and two hundred panels, planned the greedy way."""
    asked = problem(PlanRequest.model_validate(instance(200, 1)), Collector())
    return asked, planner.plan(asked, budget=Budget(moves=0))[0]


def again(asked: Problem, plan: Plan, days: int, *, with_painters: bool) -> Problem:
    """The same studio some days on: what lies before is done."""
    on = asked.today + timedelta(days=days)
    previous = tuple(
        Previous(s.id, s.start_at, done=s.start_at.date() < on, painter=s.painter if with_painters else None)
        for s in plan.sittings
    )
    return replace(asked, today=on, previous=previous, move_price=REPAIR_PRICE, most_moved=MOST_MOVED)


def test_the_hands_of_a_plan_are_read_off_its_times(in_use: tuple[Problem, Plan]) -> None:
    asked, plan = in_use
    told = with_hands(again(asked, plan, 10, with_painters=False))
    was = {s.id: s.painter for s in plan.sittings}
    found = {p.sitting: p.painter for p in told.previous if not p.done}
    assert all(painter is not None for painter in found.values())
    # Two of the same length that begin together may have been in either's hand.
    unlike = [one for one, painter in found.items() if painter != was[one]]
    assert len(unlike) < 0.1 * len(found)


@pytest.mark.parametrize("with_painters", [True, False])
def test_where_nothing_happened_nothing_moves(in_use: tuple[Problem, Plan], with_painters: bool) -> None:
    carried = again(*in_use, 10, with_painters=with_painters)
    plan = repair(carried, budget=Budget(moves=0))
    assert check(carried, plan) == []
    assert plan.objective.moved <= (0 if with_painters else 3)


def test_a_painter_is_ill_today_and_few_others_move(in_use: tuple[Problem, Plan]) -> None:
    carried = again(*in_use, 9, with_painters=True)
    ill = carried.painters[0]
    without = replace(ill, days=(*ill.days, DayHours(carried.today)))
    asked = replace(carried, painters=(without, *carried.painters[1:]))
    plan = repair(asked, budget=Budget(moves=60))
    assert check(asked, plan) == []
    assert not any(s.painter == ill.id and s.start_at.date() == carried.today for s in plan.sittings)
    forced = planner.answer(planner.lay_out(asked)).objective.moved
    assert 1 <= plan.objective.moved <= max(MOST_MOVED, forced)


def test_a_panel_that_could_leave_before_today_is_not_called_late() -> None:
    """Derived: one layer on Monday 2 November with no wait is deliverable on the 3rd; looked at two weeks later."""
    panel = chain("p", [Sitting("a", 60, drying=Spread(0.5, 0.5))], due_on=TODAY + timedelta(days=4))
    plan, _ = planner.plan(studio(panel), budget=Budget(moves=5))
    done = (Previous("a", plan.sittings[0].start_at, done=True),)
    later = studio(panel, today=TODAY + timedelta(days=14), previous=done)
    found, _ = planner.plan(later, budget=Budget(moves=5))
    assert check(later, found) == []
    assert found.panels[0].finish_on == plan.panels[0].finish_on and found.panels[0].late_d == 0


def test_a_budget_of_seconds_ends_by_itself() -> None:
    """With a clock that stood still, a search would never end; here it is stopped and found out."""
    steps = 0

    def told(_: Progress) -> bool:
        nonlocal steps
        steps += 1
        return steps < 6

    panel = chain("p", [Sitting("a", 60, drying=Spread(0.5, 0.5))])
    planner.plan(studio(panel), budget=Budget(seconds=0.001), told=told)
    assert steps < 6


def test_how_far_a_sitting_may_slip_does_not_hang_on_whether_the_plan_is_in_use() -> None:
    """The price of moving a sitting is for choosing days; one that slips was not moved by choice."""
    asked = problem(PlanRequest.model_validate(instance(9, 2)), Collector())
    fresh = explained(planner.plan(asked, budget=Budget(moves=300))[1], with_options=False)
    previous = tuple(Previous(s.id, s.start_at, painter=s.painter) for s in fresh.sittings)
    carried = replace(asked, previous=previous, move_price=REPAIR_PRICE, most_moved=MOST_MOVED)
    again = explained(planner.lay_out(carried), with_options=False)
    assert [s.start_at for s in again.sittings] == [s.start_at for s in fresh.sittings]
    # Those of today stand: asked for nothing but the others.
    later = [n for n, s in enumerate(fresh.sittings) if s.start_at.date() > asked.today]
    leeway = [fresh.sittings[n].may_slip_to for n in later]
    assert [again.sittings[n].may_slip_to for n in later] == leeway
    assert sum(slip > fresh.sittings[n].start_at for n, slip in zip(later, leeway, strict=True) if slip) > 5


def test_what_was_missed_for_good_is_not_looked_for_in_years_to_come() -> None:
    late = chain("late", [Sitting("a1", 60), Sitting("a2", 60), Sitting("a3", 60)], [LinkKind.WET_IN_WET, LinkKind.DRY])
    asked = studio(late, chain("other", [Sitting("b1", 60)]))
    over = datetime(2026, 10, 12, 9, tzinfo=UTC)  # its paint set weeks ago
    carried = replace(asked, previous=(Previous("a1", over, done=True),))
    bench = planner.lay_out(carried)
    assert bench.model.days == planner.horizon_days(carried)
    assert "wet limit" in bench.unplaced["a2"]
    assert bench.unplaced["a3"] == "waits for a2, which has no place"
    assert [s.id for s in planner.answer(bench).sittings] == ["b1"]
