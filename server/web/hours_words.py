"""Lines of working hours in words: which days, and from when until when."""

import re
from datetime import date, datetime, timezone

from server.services.working_hours import NTH
from server.store.tables import WorkTime
from server.web import words

WEEKS = {"12345": "Monday to Friday", "1234567": "every day", "67": "Saturday and Sunday"}
CODES = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")  # RFC 5545, 3.3.10
EVERY = {1: "every", 2: "every second", 3: "every third", 4: "every fourth"}
_WEEKLY = re.compile(r"FREQ=WEEKLY;INTERVAL=([1-4]);BYDAY=((?:[A-Z]{2},)*[A-Z]{2})(?:;UNTIL=([0-9]{8}))?")
_MONTHLY = re.compile(r"FREQ=MONTHLY;BYDAY=((?:-?[1-4][A-Z]{2},)*-?[1-4][A-Z]{2})(?:;UNTIL=([0-9]{8}))?")


def day_words(row: WorkTime, today: date) -> str:
    """``Monday to Friday``, ``Every second Wednesday, from 2 December``, ``3 December to 10 December: away``."""
    told = _days(row, today)
    told = told[0].upper() + told[1:]
    return f"{told}: {row.label}" if row.label else told


def _days(row: WorkTime, today: date) -> str:
    if row.rule:
        first = f", from {words.date_words(row.on_date, today)}" if row.on_date is not None else ""
        return _rule(row.rule, today) + first
    if row.on_date is not None:
        first = words.date_words(row.on_date, today)
        return f"{first} to {words.date_words(row.until_on, today)}" if row.until_on else f"on {first}"
    return WEEKS.get(row.weekdays) or _listed([f"{words.WEEKDAYS[int(day) - 1]}s" for day in row.weekdays])


def time_words(row: WorkTime) -> str:
    if row.start_min is None or row.end_min is None:
        return "no work"
    return span_words(row.start_min, row.end_min)


def span_words(start_min: int, end_min: int) -> str:
    """``09:00 to 12:30``."""
    return f"{_clock(start_min)} to {_clock(end_min)}"


def _rule(rule: str, today: date) -> str:
    weekly, monthly = _WEEKLY.fullmatch(rule), _MONTHLY.fullmatch(rule)
    if weekly:
        days = _listed([_weekday(name) for name in weekly[2].split(",")])
        return f"{EVERY[int(weekly[1])]} {days}{_until(weekly[3], today)}"
    if monthly:
        nth = {number: name for name, number in NTH.items()}
        days = _listed(
            [f"the {nth[day[:-2]]} {_weekday(day[-2:])}" for day in monthly[1].split(",") if day[:-2] in nth]
        )
        if days:
            return f"{days} of each month{_until(monthly[2], today)}"
    return f"by the rule {rule}"


def _until(written: str | None, today: date) -> str:
    return f" until {words.date_words(date.fromisoformat(written), today)}" if written else ""


def _weekday(name: str) -> str:
    return words.WEEKDAYS[CODES.index(name)]


def _listed(names: list[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _clock(minutes: int) -> str:
    return words.clock(datetime(2000, 1, 1, minutes // 60, minutes % 60, tzinfo=timezone.utc))
