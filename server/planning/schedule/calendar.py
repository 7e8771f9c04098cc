"""Working time as windows: unbroken stretches that a sitting may not cross, in minutes from the first instant planned.

Wall-clock hours are turned into instants day by day, so that a day of 23 or 25 hours has the windows its clock shows.
"""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone
from functools import lru_cache
from zoneinfo import ZoneInfo

from server.planning.schedule.problem import Painter
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


@dataclass(frozen=True, slots=True)
class Zone:
    """The studio's clock: days from ``today``, minutes from its first instant."""

    zone: ZoneInfo
    today: date

    @property
    def origin(self) -> datetime:
        return _origin(self)

    def day_start(self, day: int) -> datetime:
        return datetime.combine(self.today + timedelta(days=day), time(), self.zone).astimezone(timezone.utc)

    def minute_of(self, instant: datetime) -> float:
        return (instant - self.origin).total_seconds() / 60.0

    def instant(self, minute: float) -> datetime:
        return (self.origin + timedelta(minutes=minute)).astimezone(self.zone)

    def day_of(self, instant: datetime) -> int:
        return (instant.astimezone(self.zone).date() - self.today).days

    def wall(self, day: int, minute: int) -> int:
        """Minutes from the origin to a wall-clock minute (0 to 1440) of a day. In the hour skipped: as if before it."""
        on = self.today + timedelta(days=day + minute // MINUTES_PER_DAY)
        clock = time(minute % MINUTES_PER_DAY // 60, minute % 60)
        return round(self.minute_of(datetime.combine(on, clock, self.zone).astimezone(timezone.utc)))


@lru_cache(maxsize=64)  # asked for with every instant
def _origin(zone: Zone) -> datetime:
    return zone.day_start(0)


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
    for rule in painter.rules:
        for day in rule_days(rule.rule, rule.first_on, zone.today, days):
            found[day] = [] if rule.start_min is None or rule.end_min is None else [(rule.start_min, rule.end_min)]
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
