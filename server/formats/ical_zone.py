"""A time zone as iCalendar tells it: each change of the clock with the offsets before and after (RFC 5545, 3.6.5)."""

from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard

STEP = timedelta(days=1)  # no clock changes and changes back within a day


def time_zone_of(zone: ZoneInfo, first_year: int, last_year: int) -> Timezone:
    """The zone from the start of a year to the end of another, every change by its date.

    The onset of a change is its local time by the clock *before* the change, as RFC 5545 asks and as its example of
    New York has it (02:00 for both changes).
    """
    begins = datetime(first_year, 1, 1, tzinfo=timezone.utc)
    ends = datetime(last_year + 1, 1, 1, tzinfo=timezone.utc)
    made = Timezone()
    made.add("tzid", zone.key)
    made.add_component(_observance(zone, begins, _offset(zone, begins)))
    for change in _changes(zone, begins, ends):
        made.add_component(_observance(zone, change, _offset(zone, change - timedelta(seconds=1))))
    return made


def _observance(zone: ZoneInfo, at: datetime, before: timedelta) -> TimezoneStandard | TimezoneDaylight:
    """What holds from an instant on."""
    local = at.astimezone(zone)
    is_daylight = bool(local.dst())
    made: TimezoneStandard | TimezoneDaylight = TimezoneDaylight() if is_daylight else TimezoneStandard()
    made.add("dtstart", (at.replace(tzinfo=None) + before))
    made.add("tzoffsetfrom", before)
    made.add("tzoffsetto", _offset(zone, at))
    name = local.tzname()
    if name:
        made.add("tzname", name)
    return made


def _changes(zone: ZoneInfo, begins: datetime, ends: datetime) -> Iterator[datetime]:
    """The instants at which the offset changes, to the second."""
    low = begins
    while low < ends:
        high = low + STEP
        if _offset(zone, low) != _offset(zone, high):
            yield _change_between(zone, low, high)
        low = high


def _change_between(zone: ZoneInfo, low: datetime, high: datetime) -> datetime:
    before = _offset(zone, low)
    while high - low > timedelta(seconds=1):
        middle = low + timedelta(seconds=(high - low) // timedelta(seconds=2))
        if _offset(zone, middle) == before:
            low = middle
        else:
            high = middle
    return high


def _offset(zone: ZoneInfo, at: datetime) -> timedelta:
    found = at.astimezone(zone).utcoffset()
    assert found is not None
    return found
