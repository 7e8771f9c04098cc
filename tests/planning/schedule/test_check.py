"""The checker: a good plan passes, and each constraint broken by hand is named."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from server.planning.schedule import planner
from server.planning.schedule.check import check
from server.planning.schedule.plan import PlacedSitting, Plan
from server.planning.schedule.problem import LinkKind, Previous, Problem, Sitting
from server.planning.schedule.solve import Budget
from tests.planning.schedule.studios import SLOW, chain, studio

A, B = (Sitting(f"a{n}", 90, "grey", (), SLOW, 2.0) for n in (1, 2))
C, D = (Sitting(f"b{n}", 60, "grey", (), SLOW, 2.0) for n in (1, 2))


def example(**facts: object) -> Problem:
    first = chain("a", [A, B], due_on=date(2026, 11, 12), weight=2.0)
    second = chain("b", [C, D], [LinkKind.WET_IN_WET])
    return studio(first, second, rack_places=3, easels=2, **facts)


def planned(problem: Problem) -> Plan:
    plan, _ = planner.plan(problem, budget=Budget(moves=60))
    return plan


def altered(plan: Plan, sitting: str, **facts: object) -> Plan:
    return replace(plan, sittings=tuple(replace(s, **facts) if s.id == sitting else s for s in plan.sittings))  # type: ignore[arg-type]


def one(plan: Plan, sitting: str) -> PlacedSitting:
    return next(s for s in plan.sittings if s.id == sitting)


def shifted(plan: Plan, sitting: str, **by: float) -> Plan:
    placed = one(plan, sitting)
    return altered(plan, sitting, start_at=placed.start_at + timedelta(**by), end_at=placed.end_at + timedelta(**by))


def kinds(problem: Problem, plan: Plan) -> set[str]:
    return {fault.kind for fault in check(problem, plan)}


def test_a_plan_of_ours_passes():
    problem = example()
    assert check(problem, planned(problem)) == []


def test_each_constraint_is_seen_when_broken():
    problem = example()
    plan = planned(problem)
    first = one(plan, "b1")
    assert kinds(problem, replace(plan, sittings=plan.sittings[1:])) >= {"missing"}
    assert kinds(problem, replace(plan, sittings=(*plan.sittings, plan.sittings[0]))) >= {"twice"}
    assert "length" in kinds(problem, altered(plan, "a1", end_at=one(plan, "a1").end_at + timedelta(minutes=5)))
    assert "hours" in kinds(problem, shifted(plan, "a1", hours=10))
    assert "painter" in kinds(problem, altered(plan, "a1", painter="nobody"))
    assert "dry" in kinds(problem, shifted(plan, "a2", days=-1))
    assert "wet_in_wet" in kinds(problem, shifted(plan, "b2", days=7))
    assert "set_up" in kinds(problem, altered(plan, "a2", set_up_min=0))
    assert "overlap" in kinds(problem, altered(plan, "b2", start_at=first.start_at, end_at=first.end_at))


def test_figures_told_wrongly_are_seen():
    problem = example()
    plan = planned(problem)
    panels = tuple(replace(p, late_d=p.late_d + 1) for p in plan.panels)
    assert kinds(problem, replace(plan, panels=panels)) == {"finish"}
    assert kinds(problem, replace(plan, objective=replace(plan.objective, set_ups=0))) == {"objective"}


@pytest.mark.parametrize(("facts", "kind"), [({"easels": 0}, "easels"), ({"rack_places": 1}, "rack")])
def test_room_that_is_not_there_is_seen(facts: dict[str, int], kind: str):
    plan = planned(example())
    assert kind in kinds(example() if not facts else replace(example(), **facts), plan)  # type: ignore[arg-type]


def test_a_release_and_a_pin_are_seen():
    problem = example()
    plan = planned(problem)
    later = replace(problem, panels=tuple(replace(p, release_on=date(2026, 12, 1)) for p in problem.panels))
    assert "release" in kinds(later, plan)
    pinned = replace(problem, previous=(Previous("a1", one(plan, "a1").start_at + timedelta(days=1), pinned=True),))
    assert "pinned" in kinds(pinned, plan)


def test_a_pin_outside_the_hours_is_to_the_minute():
    at = datetime(2026, 11, 5, 22, 30, tzinfo=UTC)
    problem = replace(example(), previous=(Previous("a1", at, pinned=True),))
    plan = planned(problem)
    assert (one(plan, "a1").start_at, check(problem, plan)) == (at, [])
    assert kinds(problem, shifted(plan, "a1", minutes=30)) == {"pinned"}
    assert kinds(problem, shifted(plan, "a1", minutes=-2)) == {"pinned"}
    assert kinds(replace(problem, pins_in_hours=True), plan) == {"pinned"}


def test_what_follows_a_pin_in_its_working_time_begins_after_it():
    at = datetime(2026, 11, 5, 9, 0, tzinfo=UTC)
    first, second = Sitting("a1", 60, None, (), SLOW), Sitting("a2", 60, "grey", (), SLOW)
    held = (Previous("a1", at, pinned=True), Previous("a2", at + timedelta(hours=1)))
    problem = studio(chain("a", [first, second], [LinkKind.WET_IN_WET]), previous=held)
    assert check(problem, planned(problem)) == []


def test_a_day_before_today_is_no_earliest_day():
    problem = example(painters=())
    plan = planned(problem)
    assert check(problem, plan) == []
    early = tuple(replace(panel, earliest_on=problem.today - timedelta(days=2)) for panel in plan.panels)
    assert kinds(problem, replace(plan, panels=early)) == {"earliest"}


def test_what_the_question_itself_fixed_is_no_fault_of_the_plan():
    """A pinned sitting above one that is done and still wet: the plan says nothing against the painter's own pin."""
    start = datetime(2026, 11, 2, 9, 30, tzinfo=UTC)
    done = Previous("a1", start - timedelta(days=3), done=True)
    pinned = Previous("a2", start, pinned=True)
    problem = replace(example(), previous=(done, pinned))
    assert check(problem, planned(problem)) == []
