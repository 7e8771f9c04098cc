"""The air and light that a layer meets: one function, `room_in`, builds them for every estimate there is.

A `Climate` is a place as it is described and as it was read, or, with ``then``, one place after the other. The past
goes by the readings, their gaps by the profile; the days to come by the profile and by what the last days were like.
"""

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime, timezone
from functools import cached_property
from math import ceil
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from sqlalchemy import Row

from server.science import reference
from server.science.recipe import Room, RoomStep, RoomSteps
from server.science.reference import LIGHT_FACTORS
from server.science.room_profile import HeatingOff, Profile, Timeline, timeline
from server.science.room_record import DAY_H, HOUR_S, Record, faded, filled
from server.services.kept import content
from server.store.tables import Place, PlaceMonth, PlaceOff

SECONDS_PER_DAY = 86400.0
# The longest wait that is shown is the final varnish of a thick film in a cool room, some three years.
ROOM_MONTHS = 42
ROOM_D = 1280
FINE_D = 120  # so long after painting a room goes by the hour, then by the day: what is left to come is the varnish
Columns = tuple[np.ndarray, np.ndarray, np.ndarray]  # start_s, temperature_c, relative_humidity_pct


@dataclass(frozen=True)
class Climate:
    """A place as the painter describes it. ``by_month`` and ``nights`` hold (month, temperature_c,
    relative_humidity_pct); ``record`` what was read there. ``then``: where the panel is from an instant on, in seconds
    after 1970, the earliest first. ``measured``: so described, or read often enough.
    """

    light: float
    light_is_number: bool
    measured: bool
    temperature_c: float
    relative_humidity_pct: float
    by_month: tuple[tuple[int, float, float], ...] = ()
    nights: tuple[tuple[int, float, float], ...] = ()
    off: tuple[HeatingOff, ...] = ()
    record: Record | None = None
    then: tuple[tuple[float, "Climate"], ...] = ()

    @cached_property
    def _hash(self) -> int:
        return hash(self.key)

    def __hash__(self) -> int:
        # A climate is part of the key of every estimate: its hash is worked out once.
        return self._hash

    @cached_property
    def key(self) -> Hashable:
        """Stands for the climate in what is kept: equal for equal climates, without the readings themselves."""
        own = tuple(getattr(self, name.name) for name in fields(self) if name.name not in {"record", "then"})
        read = None if self.record is None else self.record.digest
        return content((own, read, tuple((at, climate.key) for at, climate in self.then)))

    @cached_property
    def profile(self) -> Profile:
        """What the place is usually like."""
        return Profile((self.temperature_c, self.relative_humidity_pct), self.by_month, self.nights, self.off)

    @property
    def is_by_month(self) -> bool:
        """Whether its months are all that is known of it."""
        return self.record is None and not self.then and self.profile.is_by_month

    @cached_property
    def ahead(self) -> "Climate":
        """The place for what is still to be painted: of its readings only what they say of the days to come.

        It stays the same for a day, whatever a sensor sends meanwhile.
        """
        return self if self.record is None else replace(self, record=self.record.last_days())

    def seen_from(self, painted_at: datetime) -> "Climate":
        """The place as a layer painted at that instant sees it: see ``Record.seen_from``."""
        if self.record is None:
            return self
        return replace(self, record=self.record.seen_from(painted_at.timestamp()))

    def with_moves(self, then: tuple[tuple[float, "Climate"], ...]) -> "Climate":
        """The place, and after it others."""
        return replace(self, then=then)

    def from_now(self, at: datetime, changed: Callable[["Climate"], "Climate"]) -> "Climate":
        """The same up to an instant; from then on what ``changed`` makes of the place that holds then."""
        at_s = at.timestamp()
        past = tuple((when, climate) for when, climate in self.then if when <= at_s)
        here = past[-1][1] if past else replace(self, then=())
        return replace(self, then=(*past, (at_s, changed(here))))

    def warmer(self, by_c: float) -> "Climate":
        """Every temperature ``by_c`` higher, wherever and whenever."""

        def months(given: tuple[tuple[int, float, float], ...]) -> tuple[tuple[int, float, float], ...]:
            return tuple((month, warmth + by_c, damp) for month, warmth, damp in given)

        return replace(
            self,
            temperature_c=self.temperature_c + by_c,
            by_month=months(self.by_month),
            nights=months(self.nights),
            off=tuple(replace(each, temperature_c=each.temperature_c + by_c) for each in self.off),
            record=None if self.record is None else self.record.warmer(by_c),
            then=tuple((at, climate.warmer(by_c)) for at, climate in self.then),
        )

    def as_warm_as(self, temperature_c: float) -> "Climate":
        """One temperature throughout, as damp as it is."""
        return replace(
            self,
            temperature_c=temperature_c,
            by_month=tuple((month, temperature_c, damp) for month, _, damp in self.by_month),
            nights=tuple((month, temperature_c, damp) for month, _, damp in self.nights),
            off=(),
            record=None if self.record is None else self.record.as_warm_as(temperature_c),
            then=tuple((at, climate.as_warm_as(temperature_c)) for at, climate in self.then),
        )


def climate_of(
    place: Place | Row[Any],
    months: Iterable[PlaceMonth | Row[Any]],
    record: Record | None = None,
    off: Iterable[PlaceOff | Row[Any]] = (),
) -> Climate:
    """The climate of a place record, its own months, what was read there, and when its heating is off."""
    own = sorted(months, key=lambda month: month.month)
    given = place.light_factor if place.light == "number" else None
    is_number = given is not None
    was_read = record is not None and len(record.hours) >= reference.value("measured_from_h")
    return Climate(
        light=LIGHT_FACTORS.get(place.light, 1.0) if given is None else float(given),
        light_is_number=is_number,
        measured=bool(place.measured) or was_read,
        temperature_c=place.temperature_c,
        relative_humidity_pct=place.relative_humidity_pct,
        by_month=tuple((m.month, m.temperature_c, m.relative_humidity_pct) for m in own),
        nights=tuple(_nights(place, {m.month: m for m in own})),
        off=tuple(_off(row) for row in off),
        record=record,
    )


def _nights(place: Place | Row[Any], own: Mapping[int, PlaceMonth | Row[Any]]) -> Iterator[tuple[int, float, float]]:
    """The nights that differ from the days: a month's own, or the usual ones in a month that is as usual."""
    for month in range(1, 13):
        said = own.get(month, place)
        if said.night_temperature_c is not None and said.night_relative_humidity_pct is not None:
            yield month, said.night_temperature_c, said.night_relative_humidity_pct


def _off(row: PlaceOff | Row[Any]) -> HeatingOff:
    return HeatingOff(row.temperature_c, row.weekdays, row.start_min or 0, row.end_min or 0, row.from_on, row.until_on)


def room_in(climate: Climate, painted_at: datetime, zone: ZoneInfo) -> Room:
    """The room from the instant a layer is painted on; days, months and nights by the studio's ``zone``.

    After `ROOM_MONTHS` the last month holds. A panel that is moved counts as measured, or as lit by a number, where all
    of its places do.
    """
    if climate.is_by_month:
        return _by_month(climate, painted_at, zone)
    start_s = painted_at.timestamp()
    legs = list(_legs(climate, start_s))
    columns = [_leg(each, (first, last), start_s, zone) for first, last, each in legs]
    starts, warmth, damp = (np.concatenate([c[n] for c in columns]) for n in range(3))
    climates = [each for _, _, each in legs]
    lights = np.concatenate([np.full(len(c[0]), each.light) for c, each in zip(columns, climates, strict=True)])
    own = lights if len({each.light for each in climates}) > 1 else None
    return Room(
        RoomSteps.of((starts - start_s) / SECONDS_PER_DAY, warmth, damp, own),
        climates[0].light,
        all(each.light_is_number for each in climates),
        all(each.measured for each in climates),
    )


def _by_month(climate: Climate, painted_at: datetime, zone: ZoneInfo) -> Room:
    """One step a calendar month; months that follow each other with the same figures become one step."""
    usual = (climate.temperature_c, climate.relative_humidity_pct)
    by_month = {month: (t, rh) for month, t, rh in climate.by_month}
    local = painted_at.astimezone(zone)
    figures = by_month.get(local.month, usual)
    steps = [RoomStep(0.0, *figures)]
    if by_month:
        year, month = local.year, local.month
        for _ in range(ROOM_MONTHS):
            year, month = (year + 1, 1) if month == 12 else (year, month + 1)
            if by_month.get(month, usual) == figures:
                continue
            figures = by_month.get(month, usual)
            steps.append(RoomStep(_days_between(painted_at, datetime(year, month, 1, tzinfo=zone)), *figures))
    return Room(tuple(steps), climate.light, climate.light_is_number, climate.measured)


def _days_between(start: datetime, end: datetime) -> float:
    # Through UTC: subtracting two instants of one zone would compare their wall clocks.
    return (end.astimezone(timezone.utc) - start.astimezone(timezone.utc)).total_seconds() / SECONDS_PER_DAY


def _legs(climate: Climate, start_s: float) -> Iterator[tuple[float, float, Climate]]:
    """From when to when the layer is in which place."""
    end_s = start_s + ROOM_D * SECONDS_PER_DAY
    first, here = start_s, climate
    for at_s, there in climate.then:
        if first < at_s < end_s:
            yield first, at_s, here
        if at_s < end_s:
            first, here = max(first, at_s), there
    yield first, end_s, here


def _leg(climate: Climate, span: tuple[float, float], painted_s: float, zone: ZoneInfo) -> Columns:
    """One place from one instant to another."""
    first, last = span
    year = datetime.fromtimestamp(first, zone).year
    profile = timeline(climate.profile, zone, year - 1, 6)
    record = climate.record
    if record is None:
        starts = profile.between(first, last)
        return starts, *profile.at(starts)
    end_s = float(record.until * HOUR_S)
    parts: list[Columns] = []
    if first < end_s:
        parts.append(_read(record, profile, (first, min(last, end_s)), painted_s))
    if last > end_s:
        parts.append(faded(record, profile, max(first, end_s), last))
    starts, warmth, damp = (np.concatenate([part[n] for part in parts]) for n in range(3))
    return starts, warmth, damp


def _read(record: Record, profile: Timeline, span: tuple[float, float], painted_s: float) -> Columns:
    """The hours of a span that lies before the record's end; from `FINE_D` after painting on, its whole days."""
    first, last = int(span[0] // HOUR_S), ceil(span[1] / HOUR_S)
    fine_until = int((painted_s / HOUR_S + FINE_D * DAY_H) // DAY_H * DAY_H)
    if first >= fine_until:
        first = first // DAY_H * DAY_H
    if last > fine_until:
        last = -(-last // DAY_H) * DAY_H
    found = filled(record, profile, first, last)
    group = np.where(found.hours < fine_until, found.hours, found.hours // DAY_H * DAY_H)
    _, heads, counts = np.unique(group, return_index=True, return_counts=True)
    warmth = np.add.reduceat(found.temperature_c, heads) / counts
    damp = np.add.reduceat(found.relative_humidity_pct, heads) / counts
    starts = np.maximum(found.hours[heads] * float(HOUR_S), span[0])
    inside = starts < span[1]
    return starts[inside], warmth[inside], damp[inside]
