"""How fast a place dries in each month of a usual year, against the reference room: nights and cold hours included."""

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from server.science.climate import reference_clock
from server.services.climates import SECONDS_PER_DAY, Climate, room_in
from server.services.kept import Kept

YEARS_KEPT = 400
_years: Kept[tuple[float, ...]] = Kept(YEARS_KEPT)


def usual(climate: Climate) -> Climate:
    """The place as it is described: without what was read there, and without moves."""
    return replace(climate, record=None, then=())


def speeds_by_month(climate: Climate, zone: ZoneInfo, year: int) -> tuple[float, ...]:
    """The drying speed of the twelve months of a year as the place usually is."""
    bare = usual(climate)
    key = (bare.key, zone.key, year)
    found = _years.get(key)
    if found is None:
        found = _worked_out(bare, zone, year)
        _years.keep({key: found})
    return found


def _worked_out(bare: Climate, zone: ZoneInfo, year: int) -> tuple[float, ...]:
    starts = [datetime(year + month // 12, month % 12 + 1, 1, tzinfo=zone) for month in range(13)]
    days = np.array([start.timestamp() for start in starts]) / SECONDS_PER_DAY
    progress = reference_clock(room_in(bare, starts[0], zone)).progress_at(days - days[0])
    return tuple(float(speed) for speed in np.diff(progress) / np.diff(days))
