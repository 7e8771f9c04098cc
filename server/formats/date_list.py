"""Lists of days as people type or paste them: one on each line, with or without a name; or a calendar (RFC 5545)."""

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from icalendar import Calendar

Order = Literal["dmy", "mdy", "ymd"]
MOST_DAYS = 400
MOST_NAME = 120
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH = (
    r"(jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?"
    r"|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?)\.?"
)
_WEEKDAY = re.compile(r"\b(mon|tues?|wed(?:nes)?|thu(?:rs)?|fri|sat(?:ur)?|sun)(day)?\b[.,]?", re.IGNORECASE)
_ISO = re.compile(r"(?<!\d)(\d{4})-?(\d{2})-?(\d{2})(?!\d)")
_NUMBERS = re.compile(r"(?<!\d)(\d{1,2})([./-])(\d{1,2})\2(\d{4})(?!\d)")
_DAY_FIRST = re.compile(
    rf"(?<!\d)(\d{{1,2}})(?:st|nd|rd|th)?\.?\s+(?:of\s+)?{_MONTH}\s*,?\s+(\d{{4}})(?!\d)", re.IGNORECASE
)
_MONTH_FIRST = re.compile(rf"\b{_MONTH}\s+(\d{{1,2}})(?:st|nd|rd|th)?\s*,?\s+(\d{{4}})(?!\d)", re.IGNORECASE)
_AROUND = " \t,;:|()–—-"


@dataclass(frozen=True, slots=True)
class NamedDay:
    on: date
    name: str = ""


class NoDates(ValueError):
    """The list cannot be read; the message says which line and what to change."""


def read(text: str, order: Order) -> list[NamedDay]:
    """The days in order, each once. ``order``: how 3/4/2026 is meant. Raises ``NoDates``."""
    found = _calendar(text) if "BEGIN:VCALENDAR" in text.upper() else _lines(text, order)
    if not found:
        raise NoDates("Write at least one day, such as 25 December 2026.")
    if len(found) > MOST_DAYS:
        raise NoDates(f"Keep one list to {MOST_DAYS} days.")
    once = {day.on: day for day in reversed(found)}
    return [once[on] for on in sorted(once)]


def _lines(text: str, order: Order) -> list[NamedDay]:
    return [_line(number, line, order) for number, line in enumerate(text.splitlines(), 1) if line.strip()]


def _line(number: int, line: str, order: Order) -> NamedDay:
    told = line.strip()[:40]
    try:
        found = _matches(line, order)
    except ValueError:
        raise NoDates(f"Line {number}: “{told}” names a day that no calendar has.") from None
    if not found:
        raise NoDates(f"Line {number}: there is no date in “{told}”. Write one like 25 December 2026 or 2026-12-25.")
    if len(found) > 1:
        raise NoDates(f"Line {number}: “{told}” holds two dates. Write one day on each line.")
    [(on, begin, end)] = found
    rest = _WEEKDAY.sub(" ", line[:begin]) + " " + line[end:]
    return NamedDay(on, " ".join(rest.split()).strip(_AROUND)[:MOST_NAME])


def _matches(line: str, order: Order) -> list[tuple[date, int, int]]:
    """Each date of a line with its place. Raises ValueError for a day that does not exist."""
    found = [(date(int(m[1]), int(m[2]), int(m[3])), *m.span()) for m in _ISO.finditer(line)]
    for m in _NUMBERS.finditer(line):
        first, second = int(m[1]), int(m[3])
        day, month = (second, first) if order == "mdy" and m[2] != "." else (first, second)
        found.append((date(int(m[4]), month, day), *m.span()))
    found += [(date(int(m[3]), _month(m[2]), int(m[1])), *m.span()) for m in _DAY_FIRST.finditer(line)]
    found += [(date(int(m[3]), _month(m[1]), int(m[2])), *m.span()) for m in _MONTH_FIRST.finditer(line)]
    return found


def _month(name: str) -> int:
    return MONTHS.index(name[:3].lower()) + 1


def _calendar(text: str) -> list[NamedDay]:
    """The days of a calendar's events; of what repeats the first time alone."""
    try:
        events = Calendar.from_ical(text).walk("VEVENT")
        return [day for event in events for day in _event(event)]
    except (ValueError, KeyError, IndexError, AttributeError, TypeError):
        raise NoDates("This calendar cannot be read. Paste the whole file, or write one day on each line.") from None


def _event(event: object) -> list[NamedDay]:
    begin, end = (_on(event, name) for name in ("DTSTART", "DTEND"))
    if begin is None:
        return []
    name = " ".join(str(event.get("SUMMARY", "")).split())[:MOST_NAME]  # type: ignore[attr-defined]
    count = max(1, (end - begin).days) if end is not None else 1
    return [NamedDay(begin + timedelta(days=n), name) for n in range(min(count, MOST_DAYS + 1))]


def _on(event: object, name: str) -> date | None:
    given = event.get(name)  # type: ignore[attr-defined]
    if given is None:
        return None
    value = given.dt
    return value.date() if isinstance(value, datetime) else value
