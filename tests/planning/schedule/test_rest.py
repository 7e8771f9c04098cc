"""Calendar days that a rule asks between two layers: in the tables, in the odds, and by the checker.

A day is 24 hours here, on the day of a change of the clocks too. Changes of 2026 in Lisbon from the tz database:
29 March (01:00 to 02:00) and 25 October (02:00 to 01:00).
"""

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from server.planning import outlook
from server.planning.schedule import planner
from server.planning.schedule.check import check
from server.planning.schedule.model import build, kept_of
from server.planning.schedule.odds import odds_of
from server.planning.schedule.problem import DryingSpeed, Hours, Painter, PanelJob, Problem, Sitting, Spread
from server.planning.schedule.solve import Budget
from server.planning.schedule.tables import Wait
from tests.planning.schedule.studios import chain, studio

HALF_A_DAY = Spread(0.5, 0.5)
MORNING = Painter("p1", (Hours(frozenset(range(1, 8)), 9 * 60, 12 * 60),))


def resting(rest_d: float) -> PanelJob:
    panel = chain("p", [Sitting("a", 60, drying=HALF_A_DAY), Sitting("b", 60)])
    return replace(panel, links=tuple(replace(link, rest_d=rest_d) for link in panel.links))


def first_day(today: date, wait: Wait, speed: float = 1.0) -> int:
    """The day, from today, of the first morning once a wait from today's noon on is over."""
    asked = replace(studio(resting(0.0), today=today, painters=(MORNING,)), speed=DryingSpeed(by_day=(speed,)))
    model = build(asked, 30, kept_of(asked))
    made = model.shape.tables
    return model.windows[made.rows["lo"][made.of(asked.panels[0]).lo(wait)][0]].day


@pytest.mark.parametrize(
    ("today", "hours", "day"),
    [
        (date(2026, 11, 2), 21, 1),  # from noon to nine
        (date(2026, 11, 2), 22, 2),
        (date(2026, 3, 28), 20, 1),  # the night lacks an hour
        (date(2026, 3, 28), 21, 2),
        (date(2026, 10, 24), 22, 1),  # and here has one more
        (date(2026, 10, 24), 23, 2),
    ],
)
def test_a_rest_is_so_many_times_24_hours_across_a_change_of_the_clocks(today: date, hours: int, day: int) -> None:
    assert first_day(today, Wait(0.1, hours / 24.0)) == day


@pytest.mark.parametrize(
    ("wait", "speed", "day"),
    [
        (Wait(1.5, 3.5), 1.0, 4),  # longer than the drying
        (Wait(3.5, 1.5), 1.0, 4),  # shorter
        (Wait(1.5, 3.5), 0.5, 4),  # a slow room dries it in three days, which is still less
        (Wait(3.5, 1.5), 0.5, 8),
        (Wait(0.0, 2.5), 1.0, 3),  # nothing to dry
    ],
)
def test_the_longer_of_rest_and_drying_counts_and_the_climate_is_only_for_drying(
    wait: Wait, speed: float, day: int
) -> None:
    """Derived: from Monday noon; 3.5 days end on Friday at 0:00, 7 on the next Monday at noon, a morning later."""
    assert first_day(date(2026, 11, 2), wait, speed) == day


def test_waits_that_differ_by_their_rest_have_rows_of_their_own() -> None:
    asked = studio(resting(0.0))
    model = build(asked, 30, kept_of(asked))
    own = model.shape.tables.of(asked.panels[0])
    assert own.lo(Wait(1.0, 2.0)) == own.lo(Wait(1.0, 2.0)) != own.lo(Wait(1.0, 3.0))


@pytest.mark.parametrize(("rest_d", "ready_on"), [(0.0, date(2026, 11, 6)), (3.0, date(2026, 11, 10))])
def test_a_lower_layer_that_slips_pushes_the_upper_by_the_rest(rest_d: float, ready_on: date) -> None:
    """Derived: planned for Monday morning and Thursday afternoon. The panel is free on Wednesday only; three days from
    its noon end on Saturday, so the upper layer goes on on Monday 9 November."""
    plan, _ = planner.plan(studio(resting(3.0)), budget=Budget(moves=5))
    assert [s.start_at for s in plan.sittings] == [
        datetime(2026, 11, 2, 9, tzinfo=UTC),
        datetime(2026, 11, 5, 13, tzinfo=UTC),
    ]
    [found] = odds_of(studio(resting(rest_d)), plan.sittings, {"p": np.full(outlook.DRAWS, 2.0)}).values()
    assert (found.low_on, found.high_on) == (ready_on, ready_on)


def test_a_plan_that_breaks_a_rest_is_found() -> None:
    hasty: Problem = studio(resting(0.0))
    plan, _ = planner.plan(hasty, budget=Budget(moves=5))
    assert check(hasty, plan) == []
    [fault] = check(studio(resting(3.0)), plan)
    assert (fault.kind, fault.sittings) == ("dry", ("a", "b"))
    assert "the rest that a rule asks for" in fault.text
