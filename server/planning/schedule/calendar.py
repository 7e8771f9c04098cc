"""Working time as windows: unbroken stretches that a sitting may not cross, in minutes from the first instant planned.

Wall-clock hours are turned into instants day by day, so that a day of 23 or 25 hours has the windows its clock shows.
"""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone
from functools import cached_property, lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from server.planning.schedule.problem import Painter, hours_by_rule
from server.planning.schedule.repeating import rule_days

MINUTES_PER_DAY = 1440


@dataclass(frozen=True, slots=True)
class Window:
    """Minutes from the origin; ``day`` counts from `today`, ``painter`` by position."""

    start_min: int
    end_min: int
    painter: int
    day: int

    @property
    def minutes(self) -> int:
        return self.end_min - self.start_min


@dataclass(frozen=True)  # without slots, so that it can keep its origin
class Zone:
    """The studio's clock: days from ``today``, minutes from its first instant."""

    zone: ZoneInfo
    today: date

    @cached_property
    def origin(self) -> datetime:
        return self.day_start(0)

    def day_start(self, day: int) -> datetime:
        return _at(self.zone, self.today + timedelta(days=day), 0)

    def minute_of(self, instant: datetime) -> float:
        return (instant - self.origin).total_seconds() / 60.0

    def instant(self, minute: float) -> datetime:
        return (self.origin + timedelta(minutes=minute)).astimezone(self.zone)

    def day_of(self, instant: datetime) -> int:
        return (instant.astimezone(self.zone).date() - self.today).days

    def wall(self, day: int, minute: int) -> int:
        """Minutes from the origin to a wall-clock minute (0 to 1440) of a day. In the hour skipped: as if before it."""
        on = self.today + timedelta(days=day + minute // MINUTES_PER_DAY)
        return round(self.minute_of(_at(self.zone, on, minute % MINUTES_PER_DAY)))


@lru_cache(maxsize=1 << 15)  # each is asked for by every painter, and again by every search of a plan
def _at(zone: ZoneInfo, on: date, minute: int) -> datetime:
    """The instant of a wall-clock minute of a day."""
    return datetime.combine(on, time(minute // 60, minute % 60), zone).astimezone(timezone.utc)


@lru_cache(maxsize=16)
def day_starts(zone: Zone, first: int, last: int) -> NDArray[np.float64]:
    """The minutes at which the days from ``first`` to ``last`` begin; not to be changed."""
    found = np.array([zone.minute_of(zone.day_start(day)) for day in range(first, last + 1)])
    found.flags.writeable = False
    return found


def windows(painters: tuple[Painter, ...], zone: Zone, days: int) -> list[Window]:
    """All windows of so many days, by their start, then by painter."""
    found = [
        Window(start, end, number, day)
        for number, painter in enumerate(painters)
        for day, hours in enumerate(_hours_by_day(painter, zone, days))
        for start, end in _instants(zone, day, hours)
    ]
    return sorted(found, key=lambda w: (w.start_min, w.painter, w.end_min))


def _instants(zone: Zone, day: int, hours: list[tuple[int, int]]) -> list[tuple[int, int]]:
    pairs = [(zone.wall(day, start), zone.wall(day, end)) for start, end in sorted(hours)]
    return [(start, end) for start, end in pairs if end > start]


def _hours_by_day(painter: Painter, zone: Zone, days: int) -> list[list[tuple[int, int]]]:
    weekly: dict[int, list[tuple[int, int]]] = {weekday: [] for weekday in range(1, 8)}
    for hours in painter.hours:
        for weekday in hours.weekdays:
            weekly[weekday].append((hours.start_min, hours.end_min))
    found = [weekly[(zone.today + timedelta(days=day)).isoweekday()] for day in range(days)]
    for (rule, first_on), named in hours_by_rule(painter.rules).items():
        for day in rule_days(rule, first_on, zone.today, days):
            found[day] = named
    single: dict[int, list[tuple[int, int]]] = {}
    for own in painter.days:
        day = (own.on - zone.today).days
        if 0 <= day < days:
            listed = single.setdefault(day, [])
            if own.start_min is not None and own.end_min is not None:
                listed.append((own.start_min, own.end_min))
    for day, listed in single.items():
        found[day] = listed
    return found
