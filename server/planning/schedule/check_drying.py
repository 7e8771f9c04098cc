"""The checker's own drying: how fast it goes on a day, and how much of it lies between two instants."""

from datetime import date, datetime, time, timedelta, timezone
from functools import lru_cache
from zoneinfo import ZoneInfo

from server.planning.schedule.problem import DryingSpeed, Problem

DAY_S = 86_400.0
A_DAY = timedelta(days=1)


def speed_on(problem: Problem, speed: DryingSpeed, on: date) -> float:
    """Drying speed of a day."""
    if speed.by_month:
        return speed.by_month[on.month - 1]
    given, day = speed.by_day, (on - problem.today).days
    if 0 <= day < len(given):
        return given[day]
    last = given[-28:]
    return given[0] if day < 0 else last[(day - len(given)) % len(last)]


def _same_until(speed: DryingSpeed, on: date) -> date:
    """The first day after ``on`` whose speed may be another one."""
    if not speed.by_month:
        return on + A_DAY
    return date(on.year + on.month // 12, on.month % 12 + 1, 1)


@lru_cache(20_000)
def _midnight(zone: ZoneInfo, on: date) -> datetime:
    return datetime.combine(on, time(), zone).astimezone(timezone.utc)


def midnight(problem: Problem, on: date) -> datetime:
    return _midnight(problem.zone, on)


def reference_days(problem: Problem, start: datetime, end: datetime, there: DryingSpeed | None = None) -> float:
    """Reference days that pass between two instants; ``there``: in a place with a speed of its own."""
    speed = there or problem.speed
    at, passed, until = start.astimezone(timezone.utc), 0.0, end.astimezone(timezone.utc)
    on = at.astimezone(problem.zone).date()
    while at < until:
        following = _same_until(speed, on)
        stop = min(midnight(problem, following), until)
        passed += speed_on(problem, speed, on) * (stop - at).total_seconds() / DAY_S
        at, on = stop, following
    return passed


def instant_after(problem: Problem, start: datetime, reference_d: float, there: DryingSpeed | None = None) -> datetime:
    """The instant at which so many reference days have passed; ``there``: in a place with a speed of its own."""
    speed = there or problem.speed
    at, left = start.astimezone(timezone.utc), reference_d
    on = at.astimezone(problem.zone).date()
    while True:
        following = _same_until(speed, on)
        stop, pace = midnight(problem, following), speed_on(problem, speed, on)
        passing = pace * (stop - at).total_seconds() / DAY_S
        if passing >= left:
            return at + timedelta(seconds=left / pace * DAY_S)
        at, on, left = stop, following, left - passing
