"""A pinned sitting of whom nobody says whose it was, where several painters work at its time."""

from dataclasses import replace
from datetime import datetime, timezone

import pytest

from server.planning.schedule import planner
from server.planning.schedule.check import check
from server.planning.schedule.plan import Plan
from server.planning.schedule.problem import Hours, Painter, PanelJob, Previous, Problem, Sitting
from server.planning.schedule.solve import Budget
from tests.planning.schedule.studios import TODAY, studio

ALL = frozenset({1, 2, 3, 4, 5})
MORNING, NOON = Hours(ALL, 9 * 60, 12 * 60 + 30), Hours(ALL, 10 * 60, 15 * 60)


def panels(**minutes: int) -> list[PanelJob]:
    return [PanelJob(name, (Sitting(name, long, palette=name),)) for name, long in minutes.items()]


def again(asked: Problem, **starts: tuple[int, int]) -> Plan:
    """The plan with each of these pinned where it begins today."""
    on = {name: datetime(TODAY.year, TODAY.month, TODAY.day, *at, tzinfo=timezone.utc) for name, at in starts.items()}
    pinned = replace(asked, previous=tuple(Previous(name, at, pinned=True) for name, at in on.items()))
    plan = planner.plan(pinned, budget=Budget(moves=50))[0]
    assert check(pinned, plan) == []
    return plan


def hands(plan: Plan) -> dict[str, str]:
    return {s.id: s.painter for s in plan.sittings}


def test_a_pinned_sitting_is_with_the_painter_whose_hours_it_ends_in() -> None:
    painters = (Painter("morning", (MORNING,)), Painter("noon", (NOON,)))
    asked = replace(studio(*panels(first=30, second=180)), painters=painters)
    plan = again(asked, first=(10, 30), second=(11, 30))
    assert hands(plan) == {"first": "noon", "second": "noon"}


def test_a_pinned_sitting_is_with_the_painter_who_comes_to_it_without_a_gap() -> None:
    painters = (Painter("early", (Hours(ALL, 8 * 60, 17 * 60),)), Painter("noon", (NOON,)))
    asked = replace(studio(*panels(only=60)), painters=painters)
    assert hands(again(asked, only=(10, 30))) == {"only": "noon"}


@pytest.mark.parametrize("reverse", [False, True])
def test_sittings_pinned_over_each_other_are_shared_out_by_the_time_there_is(reverse: bool) -> None:
    """The times hold of nobody; 'short' has 3.5 hours, which two of the three would overfill."""
    hours = (Painter("short", (MORNING,)), Painter("long", (Hours(ALL, 9 * 60, 17 * 60),)))
    asked = replace(studio(*panels(one=120, two=120, three=120)), painters=hours[::-1] if reverse else hours)
    again(asked, one=(9, 30), two=(9, 40), three=(9, 50))
