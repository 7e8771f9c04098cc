"""What a place is usually like: by the month, by day and night, and while its heating is off.

A profile counts by a wall clock; its timeline holds the instants at which it changes. Where the heating is off the room
stands at the temperature said, from the first minute to the last (walls that hold warmth are left out: a guess), with
the vapour that its air has otherwise.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

from server.science import reference
from server.science.vapour import humidity_at

DAY_MIN = 1440
Figures = tuple[float, float]  # temperature_c, relative_humidity_pct
TIMELINES_KEPT = 256


@dataclass(frozen=True, slots=True)
class HeatingOff:
    """When the heating is off, and the temperature the room then has.

    Every week on ``weekdays`` (1 is Monday, as in "67") from ``start_min`` to ``end_min`` of the day, over midnight
    where that is not later; or, ``weekdays`` empty, from the first minute of ``from_on`` to the last of ``until_on``.
    """

    temperature_c: float
    weekdays: str = ""
    start_min: int = 0
    end_min: int = 0
    from_on: date | None = None
    until_on: date | None = None

    def holds(self, on: date, minute: int) -> bool:
        """Whether it is off at a minute of a day."""
        if not self.weekdays:
            return self.from_on is not None and self.until_on is not None and self.from_on <= on <= self.until_on
        if self.start_min < self.end_min:
            return str(on.isoweekday()) in self.weekdays and self.start_min <= minute < self.end_min
        evening = str(on.isoweekday()) in self.weekdays and minute >= self.start_min
        before = str((on - timedelta(days=1)).isoweekday()) in self.weekdays and minute < self.end_min
        return evening or before


@dataclass(frozen=True, slots=True)
class Profile:
    """``by_month`` and ``nights`` hold (month, temperature_c, relative_humidity_pct) where they differ from the usual
    figures; the nights of a month without figures of their own are like its days."""

    usual: Figures
    by_month: tuple[tuple[int, float, float], ...] = ()
    nights: tuple[tuple[int, float, float], ...] = ()
    off: tuple[HeatingOff, ...] = ()

    @property
    def is_by_month(self) -> bool:
        """Whether it knows neither nights nor heating."""
        return not self.nights and not self.off

    def figures(self, on: date, minute: int) -> Figures:
        """What the place is like at a minute of a day."""
        found = self._heated(on.month, minute)
        off = [each.temperature_c for each in self.off if each.holds(on, minute)]
        if not off:
            return found
        # A room that is colder than its set-back anyway is not warmed by it.
        warmth = min(found[0], *off)
        return warmth, float(humidity_at(found[1], found[0], warmth))

    def _heated(self, month: int, minute: int) -> Figures:
        by_day = next(((t, rh) for number, t, rh in self.by_month if number == month), self.usual)
        if reference.value("day_begins_h") * 60 <= minute < reference.value("day_ends_h") * 60:
            return by_day
        return next(((t, rh) for number, t, rh in self.nights if number == month), by_day)

    def breaks(self) -> list[int]:
        """The minutes of a day at which something may change."""
        minutes = {0}
        if self.nights:
            minutes |= {round(reference.value("day_begins_h") * 60), round(reference.value("day_ends_h") * 60)}
        for each in self.off:
            if each.weekdays:
                minutes |= {each.start_min, each.end_min % DAY_MIN}
        return sorted(minutes)


@dataclass(frozen=True, slots=True)
class Timeline:
    """``start_s`` (seconds after 1970) at which the figures change, and the figures from there on."""

    start_s: np.ndarray
    temperature_c: np.ndarray
    relative_humidity_pct: np.ndarray

    def at(self, seconds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The figures at these instants; before the first change the first ones."""
        place = np.maximum(np.searchsorted(self.start_s, seconds, side="right") - 1, 0)
        return self.temperature_c[place], self.relative_humidity_pct[place]

    def between(self, first_s: float, last_s: float) -> np.ndarray:
        """``first_s`` and every change after it and before ``last_s``."""
        inner = self.start_s[np.searchsorted(self.start_s, first_s, "right") : np.searchsorted(self.start_s, last_s)]
        return np.concatenate(([first_s], inner))


@lru_cache(maxsize=TIMELINES_KEPT)
def timeline(profile: Profile, zone: ZoneInfo, first_year: int, years: int) -> Timeline:
    """The changes of a profile by the wall clock of ``zone``, from 1 January of ``first_year`` on."""
    rows = list(_changes(profile, zone, (first_year, years)))
    starts = np.maximum.accumulate(np.array([row[0] for row in rows]))
    return Timeline(starts, np.array([row[1][0] for row in rows]), np.array([row[1][1] for row in rows]))


def _changes(profile: Profile, zone: ZoneInfo, span: tuple[int, int]) -> Iterator[tuple[float, Figures]]:
    on, end = date(span[0], 1, 1), date(span[0] + span[1], 1, 1)
    breaks = profile.breaks()
    before: Figures | None = None
    by_day = not profile.is_by_month
    while on < end:
        for minute in breaks:
            found = profile.figures(on, minute)
            if found != before:
                wall = datetime.combine(on, time(minute // 60, minute % 60), zone)
                yield wall.timestamp(), found
                before = found
        on = on + timedelta(days=1) if by_day else _next_month(on)


def _next_month(on: date) -> date:
    return date(on.year + on.month // 12, on.month % 12 + 1, 1)
