"""Calendars that other programs subscribe to: typed entries written as iCalendar (RFC 5545, with RFC 7986).

The library ``icalendar`` escapes, folds and orders; what stands here is which properties an entry has. Instants are
written by the clock of the calendar's zone, the one hour apart that a clock shows twice: its second time is in UTC,
since a local time means the first (RFC 5545, 3.3.5).
"""

import hashlib
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from functools import lru_cache
from typing import Literal
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event, Todo, vDuration, vText, vUri

from server.formats.ical_zone import time_zone_of

PRODUCT = "-//Umberday//Schedule//EN"
REFRESH = timedelta(hours=1)
_LINE_ENDS = re.compile("\r\n|[\r\x0b\x0c\x85\u2028\u2029]")
_CONTROLS = re.compile("[\x00-\x08\x0e-\x1f\x7f-\x9f]")
_END = b"END:VCALENDAR\r\n"
UTC_NAMES = ("UTC", "Etc/UTC", "Etc/GMT", "GMT")

EntryKind = Literal["event", "task"]
# Of events TENTATIVE, CONFIRMED, CANCELLED; of tasks NEEDS-ACTION, COMPLETED, CANCELLED.
EntryStatus = Literal["TENTATIVE", "CONFIRMED", "CANCELLED", "NEEDS-ACTION", "COMPLETED"]


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing with its time: ``start`` and ``end`` both days or both aware instants, ``end`` exclusive.

    Without ``end`` a task is open until it is done. ``uid`` is the same for ever, wherever it moves; ``panel_uid`` is
    whose it is, and never written. ``is_busy``: the painter has no time for anything else meanwhile. ``plain`` names it
    without any detail.
    """

    kind: EntryKind
    uid: str
    panel_uid: str
    summary: str
    plain: str
    start: date
    end: date | None
    status: EntryStatus
    is_busy: bool = False
    description: str = ""
    completed_at: datetime | None = None

    @property
    def is_all_day(self) -> bool:
        return not isinstance(self.start, datetime)


@dataclass(frozen=True, slots=True)
class Stamp:
    """What was published of an entry: ``sequence`` grows whenever its time or status changes, ``changed_at`` is when
    anything of it changed last."""

    sequence: int
    created_at: datetime
    changed_at: datetime


@dataclass(frozen=True, slots=True)
class CalendarFile:
    """A whole calendar. ``source`` is the address it can be had from anew, "" for a file that was taken along."""

    uid: str
    name: str
    zone: ZoneInfo
    changed_at: datetime
    entries: Sequence[tuple[Entry, Stamp]]
    source: str = ""


def to_ical(file: CalendarFile, between: Callable[[], None] = lambda: None) -> bytes:
    """The calendar as text, the entries in the order of their time. ``between`` is called before each of them."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("uid", file.uid)
    calendar.add("last-modified", _utc(file.changed_at))
    name = vText(_text(file.name))  # named, for the library escapes what it knows as text alone
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)  # what clients read that do not know RFC 7986
    calendar.add("x-wr-timezone", file.zone.key)
    if file.source:
        # Neither property has a value type of its own: RFC 7986 wants it named.
        calendar.add("refresh-interval", vDuration(REFRESH, params={"VALUE": "DURATION"}))
        calendar.add("source", vUri(file.source, params={"VALUE": "URI"}))
    ordered = sorted(file.entries, key=lambda item: (_sort_key(item[0].start), item[0].uid))
    if file.zone.key not in UTC_NAMES and (spoken := _years(entry for entry, _ in ordered)):
        calendar.add_component(time_zone_of(file.zone, *spoken))
    around = calendar.to_ical()
    # Written one by one, so that of a calendar in which one entry changed the others are not written anew.
    parts = []
    for entry, stamp in ordered:
        between()
        parts.append(_written(entry, stamp, file.zone))
    return around.removesuffix(_END) + b"".join(parts) + _END


def _text(text: str) -> str:
    """``text`` with one kind of line end, which the library escapes, and no other control character: one alone would
    end a line of the calendar for some readers, and begin another of somebody's choosing."""
    return _CONTROLS.sub(" ", _LINE_ENDS.sub("\n", text))


def etag_of(content: bytes) -> str:
    """Names the content. Weak, for on its way it may be packed."""
    return f'W/"{hashlib.sha256(content).hexdigest()[:32]}"'


@lru_cache(maxsize=8000)
def _written(entry: Entry, stamp: Stamp, zone: ZoneInfo) -> bytes:
    return _component(entry, stamp, zone).to_ical()


def _component(entry: Entry, stamp: Stamp, zone: ZoneInfo) -> Event | Todo:
    made: Event | Todo = Event() if entry.kind == "event" else Todo()
    made.add("uid", entry.uid)
    made.add("sequence", stamp.sequence)
    made.add("dtstamp", _utc(stamp.changed_at))
    made.add("created", _utc(stamp.created_at))
    made.add("last-modified", _utc(stamp.changed_at))
    made.add("summary", _text(entry.summary))
    if entry.description:
        made.add("description", _text(entry.description))
    made.add("status", entry.status)
    if entry.kind == "event":
        made.add("dtstart", _when(entry.start, zone))
        made.add("dtend", _when(entry.end or entry.start, zone))
        made.add("transp", "OPAQUE" if entry.is_busy else "TRANSPARENT")
        return made
    made.add("dtstart", _when(entry.start, zone))
    if entry.end is not None:
        made.add("due", _when(entry.end, zone))
    if entry.completed_at is not None:
        made.add("completed", _utc(entry.completed_at))
        made.add("percent-complete", 100)
    return made


def _when(value: date, zone: ZoneInfo) -> date:
    if not isinstance(value, datetime):
        return value
    local = value.astimezone(zone)
    if zone.key in UTC_NAMES or (local.fold and local.utcoffset() != local.replace(fold=0).utcoffset()):
        return _utc(value)
    return local.replace(microsecond=0)


def _utc(instant: datetime) -> datetime:
    return instant.astimezone(timezone.utc).replace(microsecond=0)


def _sort_key(value: date) -> datetime:
    return value if isinstance(value, datetime) else datetime(value.year, value.month, value.day, tzinfo=timezone.utc)


def _years(entries: Iterable[Entry]) -> tuple[int, int] | None:
    """The years whose clock must be told: those of the entries that have an hour."""
    timed = [entry for entry in entries if not entry.is_all_day]
    years = [year for entry in timed for year in (entry.start.year, (entry.end or entry.start).year)]
    return (min(years) - 1, max(years) + 1) if years else None
