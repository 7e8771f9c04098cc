"""A place through the last days and the coming ones: the very air that estimates take, hour by hour, and its speed."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from sqlmodel import Session

from server.science.climate import reference_clock, step_table
from server.science.room_profile import Timeline, timeline
from server.science.room_record import HOUR_S, filled
from server.services import places
from server.services.access import Actor
from server.services.climates import Climate, room_in
from server.services.whereabouts import whereabouts

PAST_D, AHEAD_D, WEEK_D = 14, 7, 7
READ, BRIDGED, USUAL, TO_COME = 0, 1, 2, 3


@dataclass(frozen=True, slots=True)
class Course:
    """Hours from ``first_at`` on, as columns. ``source``: 0 read, 1 bridged between readings, 2 as the place is said to
    be, 3 still to come; ``usual_c`` and ``usual_pct`` are what it is said to be. ``speed`` 1 is the reference room.

    ``now``: how many of the hours have passed. ``week_speed`` is of the last seven days, ``next_speed`` of the coming
    ones; ``read_share`` of the hours of the last seven days that were read, ``has_readings`` at any time.
    """

    first_at: datetime
    temperature_c: np.ndarray
    relative_humidity_pct: np.ndarray
    usual_c: np.ndarray
    usual_pct: np.ndarray
    speed: np.ndarray
    source: np.ndarray
    now: int
    week_speed: float
    next_speed: float
    read_share: float
    has_readings: bool

    def at(self, hour: int) -> datetime:
        """When an hour of the course begins."""
        return self.first_at + timedelta(hours=hour)


def course(session: Session, actor: Actor, uid: str, now: datetime, zone: ZoneInfo) -> Course:
    """The course of a place. Raises ``NotFound``."""
    place = places.get(session, actor, uid)
    assert place.id is not None
    climate = whereabouts(session, actor.studio_id).places[place.id].climate
    return course_of(climate, now, zone)


def course_of(climate: Climate, now: datetime, zone: ZoneInfo) -> Course:
    """The same of a climate: what `room_in` makes of it from the first hour on."""
    this_hour = int(now.timestamp() // HOUR_S)
    first, count = this_hour - PAST_D * 24, (PAST_D + AHEAD_D) * 24
    hours = np.arange(first, first + count)
    first_at = datetime.fromtimestamp(first * HOUR_S, zone)
    # As a layer sees it that is painted now, which takes every hour there is.
    room = room_in(climate, first_at, zone)
    table = step_table(room)
    middles = (np.arange(count) + 0.5) / 24
    place = np.maximum(np.searchsorted(table[0], middles, side="right") - 1, 0)
    clock = reference_clock(room)
    progress = clock.progress_at(np.arange(count + 1) / 24)
    usual = timeline(climate.profile, zone, first_at.year - 1, 4)
    usual_c, usual_pct = usual.at(hours * HOUR_S + HOUR_S / 2)
    past = this_hour - first
    week = slice(past - WEEK_D * 24, past)
    source = _sources(climate, hours, usual, this_hour)
    return Course(
        first_at=first_at,
        temperature_c=table[1][place],
        relative_humidity_pct=table[2][place],
        usual_c=usual_c,
        usual_pct=usual_pct,
        speed=np.diff(progress) * 24,
        source=source,
        now=past,
        week_speed=float(progress[past] - progress[past - WEEK_D * 24]) / WEEK_D,
        next_speed=float(progress[past + AHEAD_D * 24] - progress[past]) / AHEAD_D,
        read_share=float((source[week] == READ).mean()),
        has_readings=climate.record is not None,
    )


def _sources(climate: Climate, hours: np.ndarray, usual: Timeline, this_hour: int) -> np.ndarray:
    source = np.where(hours < this_hour, USUAL, TO_COME)
    if climate.record is not None and climate.record.until > hours[0]:
        found = filled(climate.record, usual, int(hours[0]), this_hour)
        source[: len(found.source)] = found.source
    return source
