"""What was read in a place, by the hour: readings, the gaps between them, and what the last days say of those to come.

Where no reading was, the profile holds. Between two readings that are not far apart the difference from the profile
runs straight, so that day and night keep their shape; after the last one the difference of the last days fades. How
far apart, how many days, and how fast are guesses of ours (``parameters.csv``).
"""

from dataclasses import dataclass
from functools import lru_cache
from hashlib import blake2b

import numpy as np

from server.science import reference
from server.science.room_profile import Timeline

HOUR_S, DAY_H, DAY_S = 3600, 24, 86_400
FEWEST_H = 24  # of the last hours must be known, read or bridged, before they say anything of the days to come
FADED = 4.0  # times the fading time; what is left then, 2 %, is let go
FRESH_H, YOUNG_H = 8 * DAY_H, 60 * DAY_H  # ages up to which a layer sees every new hour, every new day
MONDAY_H = 96  # the first Monday after 1970 began, in hours
TRIMMED_KEPT = 512


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """Hourly means: ``hours`` counted from 1970 in order, each once. Records of the same content are equal."""

    hours: np.ndarray
    temperature_c: np.ndarray
    relative_humidity_pct: np.ndarray
    digest: bytes

    @classmethod
    def of(cls, hours: np.ndarray, temperature_c: np.ndarray, relative_humidity_pct: np.ndarray) -> "Record":
        """From columns of equal length, at least one hour."""
        told = blake2b(digest_size=16)
        columns = [np.ascontiguousarray(hours, dtype=np.int64)]
        columns += [np.ascontiguousarray(c, dtype=float) for c in (temperature_c, relative_humidity_pct)]
        for column in columns:
            told.update(column.tobytes())
        return cls(columns[0], columns[1], columns[2], told.digest())

    def __hash__(self) -> int:
        return hash(self.digest)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Record) and other.digest == self.digest

    @property
    def until(self) -> int:
        """The hour after the last one."""
        return int(self.hours[-1]) + 1

    def part(self, first: int, until: int) -> "Record | None":
        """The hours from ``first`` up to ``until``; None where there is none."""
        return _part(self, first, until)

    def seen_from(self, painted_s: float) -> "Record | None":
        """What a layer that was painted then sees of it: its own time and the days before.

        An old layer takes a new day, a very old one a new week, as a whole: its dates need not be worked out every
        hour. Where the record ends is read off the record alone, never off a clock.
        """
        painted = int(painted_s // HOUR_S)
        age = self.until - painted
        if age <= FRESH_H:
            until = self.until
        elif age <= YOUNG_H:
            until = self.until // DAY_H * DAY_H
        else:
            until = (self.until - MONDAY_H) // (7 * DAY_H) * 7 * DAY_H + MONDAY_H
        return self.part(painted - int(reference.value("recent_readings_h")), until)

    def last_days(self) -> "Record | None":
        """The last whole days: all that says something of the days to come."""
        until = self.until // DAY_H * DAY_H
        return self.part(until - int(reference.value("recent_readings_h")), until)

    def warmer(self, by_c: float) -> "Record":
        """The same with every temperature ``by_c`` higher."""
        return Record.of(self.hours, self.temperature_c + by_c, self.relative_humidity_pct)

    def as_warm_as(self, temperature_c: float) -> "Record":
        """The same at one temperature."""
        return Record.of(self.hours, np.full(len(self.hours), temperature_c), self.relative_humidity_pct)


@lru_cache(maxsize=TRIMMED_KEPT)
def _part(record: Record, first: int, until: int) -> Record | None:
    low, high = np.searchsorted(record.hours, (first, until))
    if low == high:
        return None
    if low == 0 and high == len(record.hours):
        return record
    return Record.of(
        *(column[low:high] for column in (record.hours, record.temperature_c, record.relative_humidity_pct))
    )


@dataclass(frozen=True, slots=True)
class Filled:
    """Hours one after the other with what is taken for them; ``source`` 0: read, 1: bridged, 2: of the profile."""

    hours: np.ndarray
    temperature_c: np.ndarray
    relative_humidity_pct: np.ndarray
    source: np.ndarray


def filled(record: Record, profile: Timeline, first: int, until: int) -> Filled:
    """Every hour from ``first`` up to ``until`` or the end of the record, whichever comes first."""
    hours = np.arange(first, min(until, record.until), dtype=np.int64)
    usual_c, usual_pct = profile.at(hours * HOUR_S + HOUR_S / 2)
    read_c, read_pct = profile.at(record.hours * HOUR_S + HOUR_S / 2)
    after = np.searchsorted(record.hours, hours, side="right")
    place = np.maximum(after - 1, 0)
    is_read = (after > 0) & (record.hours[place] == hours)
    following = np.minimum(after, len(record.hours) - 1)
    gap = record.hours[following] - record.hours[place]
    is_bridged = ~is_read & (after > 0) & (after < len(record.hours)) & (gap <= reference.value("bridged_gap_h"))
    counts = is_read | is_bridged
    over_c = np.interp(hours, record.hours, record.temperature_c - read_c)
    over_pct = np.interp(hours, record.hours, record.relative_humidity_pct - read_pct)
    return Filled(
        hours,
        np.where(is_read, record.temperature_c[place], usual_c + np.where(counts, over_c, 0.0)),
        np.where(is_read, record.relative_humidity_pct[place], _damp(usual_pct + np.where(counts, over_pct, 0.0))),
        np.where(is_read, 0, np.where(is_bridged, 1, 2)),
    )


def _damp(relative_humidity_pct: np.ndarray) -> np.ndarray:
    return np.clip(relative_humidity_pct, 0.0, 100.0)


def difference(record: Record, profile: Timeline) -> tuple[float, float]:
    """How much warmer (C) and damper (points of per cent) than its profile the place was in its last hours.

    Hours between readings that are not far apart count as those that were read: somebody who reads a thermometer
    mornings and evenings tells as much of the room as a sensor does.
    """
    recent = filled(record, profile, record.until - int(reference.value("recent_readings_h")), record.until)
    known = recent.source < 2
    if known.sum() < FEWEST_H:
        return 0.0, 0.0
    usual_c, usual_pct = profile.at(recent.hours[known] * HOUR_S + HOUR_S / 2)
    warmer, damper = recent.temperature_c[known] - usual_c, recent.relative_humidity_pct[known] - usual_pct
    return float(warmer.mean()), float(damper.mean())


def faded(
    record: Record, profile: Timeline, first_s: float, last_s: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Steps from ``first_s`` on, after the record's end: their starts, temperature and humidity.

    The profile with the difference of the last days, which fades day by day.
    """
    fades_s = reference.value("recent_fades_d") * DAY_S
    end_s = record.until * HOUR_S
    over_c, over_pct = difference(record, profile)
    starts = profile.between(first_s, last_s)
    # Up to a midnight of UTC, and one value a day: a span that is split in two stays what it was.
    gone_s = -(-(end_s + FADED * fades_s) // DAY_S) * DAY_S
    if (over_c, over_pct) != (0.0, 0.0) and first_s < gone_s:
        days = np.arange(first_s // DAY_S * DAY_S + DAY_S, min(gone_s, last_s) + 1, DAY_S)
        starts = np.unique(np.concatenate((starts, days[days < last_s])))
    middles = starts // DAY_S * DAY_S + DAY_S / 2
    left = np.where(starts < gone_s, np.exp(-np.maximum(middles - end_s, 0.0) / fades_s), 0.0)
    usual_c, usual_pct = profile.at(starts)
    return starts, usual_c + over_c * left, _damp(usual_pct + over_pct * left)
