"""Weeks in which the clocks change: windows by the wall clock, drying by the hours that really pass.

Changes of 2026 from the tz database: Lisbon 29 March (01:00 to 02:00) and 25 October (02:00 to 01:00), New York
8 March and 1 November (at 02:00), Lord Howe 4 October (half an hour at 02:00) and 5 April.
"""

from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from server.planning.schedule import planner
from server.planning.schedule.calendar import Zone, windows
from server.planning.schedule.check import check, finish_on
from server.planning.schedule.check_drying import instant_after, reference_days
from server.planning.schedule.problem import DryingSpeed, Hours, Painter, Problem, Sitting, Spread
from server.planning.schedule.solve import Budget
from server.planning.schedule.speed import DryingClock
from tests.planning.schedule.studios import chain, studio

CHANGES = [
    ("Europe/Lisbon", date(2026, 3, 27), 29, 23.0),
    ("Europe/Lisbon", date(2026, 10, 23), 25, 25.0),
    ("America/New_York", date(2026, 3, 6), 8, 23.0),
    ("America/New_York", date(2026, 10, 30), 1, 25.0),
    ("Australia/Lord_Howe", date(2026, 10, 2), 4, 23.5),
    ("Australia/Lord_Howe", date(2026, 4, 3), 5, 24.5),
]
NIGHT = Hours(frozenset(range(1, 8)), 0, 4 * 60)
DAY = Hours(frozenset(range(1, 8)), 9 * 60, 12 * 60)


def studio_of(zone: str, today: date) -> Problem:
    layers = [Sitting(f"s{n}", 90, "grey", (), Spread(1.0, 1.0), 1.5) for n in range(4)]
    panel = chain("a", layers, due_on=today + timedelta(days=9), final_wait=Spread(2.0, 2.0), handling_d=1.0)
    painter = Painter("p1", (NIGHT, DAY))
    return replace(studio(panel), today=today, zone=ZoneInfo(zone), painters=(painter,), rack_places=3)


@pytest.mark.parametrize(("zone", "today", "day", "hours"), CHANGES)
def test_a_night_of_the_change_is_as_long_as_it_is(zone: str, today: date, day: int, hours: float) -> None:
    """From midnight to four by the clock: an hour less or more than four, or half an hour."""
    found = windows((Painter("p1", (NIGHT,)),), Zone(ZoneInfo(zone), today), 5)
    long = {w.minutes / 60 for w in found}
    assert long == {4.0, 4.0 + hours - 24.0}
    changed = next(w for w in found if w.minutes != 240)
    assert (today + timedelta(days=changed.day)).day == day


@pytest.mark.parametrize(("zone", "today", "day", "hours"), CHANGES)
def test_plans_across_the_change_hold(zone: str, today: date, day: int, hours: float) -> None:
    problem = studio_of(zone, today)
    plan, _ = planner.plan(problem, budget=Budget(moves=40))
    assert check(problem, plan) == []
    for one, other in zip(plan.sittings, plan.sittings[1:], strict=False):
        assert other.start_at - one.start_at >= timedelta(days=1) - timedelta(hours=4)
    assert all((s.end_at - s.start_at) == timedelta(minutes=90) for s in plan.sittings)


@pytest.mark.parametrize(("zone", "today", "day", "hours"), CHANGES)
def test_drying_counts_the_hours_that_pass(zone: str, today: date, day: int, hours: float) -> None:
    """Both clocks, the planner's and the checker's, from local midnight to midnight of the day of the change."""
    problem = replace(studio_of(zone, today), speed=DryingSpeed(by_day=(0.5, 1.0, 2.0, 1.0)))
    clock = Zone(problem.zone, today)
    edges = [clock.day_start(n) for n in range(5)]
    change = next(n for n in range(4) if edges[n + 1] - edges[n] != timedelta(days=1))
    speed = problem.speed.by_day[change]
    assert reference_days(problem, edges[change], edges[change + 1]) == pytest.approx(speed * hours / 24.0)
    drying = DryingClock(problem.speed, clock, 0, 200)
    minutes = np.array([clock.minute_of(edges[change]), clock.minute_of(edges[change + 1])])
    passed = drying.progress(minutes)
    assert passed[1] - passed[0] == pytest.approx(speed * hours / 24.0)
    begin = datetime.combine(today, datetime.min.time(), timezone.utc) + timedelta(hours=9)
    for wait in (0.3, 1.7, 4.0, 40.0):
        ours = drying.after(np.array([clock.minute_of(begin)]), wait)[0]
        theirs = clock.minute_of(instant_after(problem, begin, wait))
        assert ours == pytest.approx(theirs, abs=1e-3)


def test_months_dry_as_their_days_do() -> None:
    """Speeds by month are those of each day, over the ends of months, of a year and a change of the clock."""
    months = tuple(0.4 + 0.1 * n for n in range(12))
    problem = studio_of("Europe/Lisbon", date(2026, 10, 23))
    days = [months[(problem.today + timedelta(days=n)).month - 1] for n in range(500)]
    by_month, by_day = DryingSpeed(by_month=months), DryingSpeed(by_day=tuple(days))
    begin = datetime(2026, 10, 23, 9, 30, tzinfo=timezone.utc)
    for wait in (0.0, 0.3, 5.0, 40.0, 150.0):
        end = instant_after(problem, begin, wait, by_month)
        assert abs(end - instant_after(problem, begin, wait, by_day)) < timedelta(milliseconds=1)
        assert reference_days(problem, begin, end, by_month) == pytest.approx(wait)
        assert reference_days(problem, begin, end, by_day) == pytest.approx(wait)


def test_handling_is_counted_in_days_of_the_calendar() -> None:
    problem = studio_of("Europe/Lisbon", date(2026, 10, 23))
    laid = datetime(2026, 10, 23, 23, 0, tzinfo=timezone.utc)  # midnight there, the 24th begins
    # 48 hours end at 23:00 of the 25th, a day of 25 hours; dry by the start of the 26th, and a day to pack.
    assert finish_on(problem, problem.panels[0], laid) == date(2026, 10, 27)
