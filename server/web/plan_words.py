"""A planned sitting in the painter's words: when, with whom, why this day; the same on every screen."""

import re
from collections.abc import Callable
from datetime import date, datetime, time
from functools import partial

from server.services.plan_reading import PlannedSitting
from server.web import standing_words, words
from server.web.language.filled import Filled
from server.web.manner import manner

_NAME = re.compile(r"(“[^”]*”)")
# As the planner writes them: Monday 7 December 2026, with 09:30 after a comma; 14 January 2027.
_DATE = re.compile(
    rf"\b(?:(?P<weekday>{'|'.join(words.WEEKDAYS)}) )?(?P<day>[0-9]{{1,2}}) (?P<month>{'|'.join(words.MONTHS)}) "
    r"(?P<year>[0-9]{4})\b(?:, (?P<hour>[0-9]{2}:[0-9]{2})\b)?"
)
_AGREED = re.compile(r": agree on [0-9]{1,2} [A-Z][a-z]+ [0-9]{4} instead$")  # how such a label ends


def when_words(sitting: PlannedSitting, today: date) -> str:
    """``Thursday at 09:30, with Ada``; without the name where it is not to be told. Years ahead only the month: a rule
    that lasts so long is no appointment."""
    if standing_words.is_far(sitting.on, today):
        return standing_words.far_day_words(sitting.on, today)
    return f"{words.moment_words(sitting.start_at, today)}{f', with {sitting.painter}' if sitting.painter else ''}"


def clock_words(sitting: PlannedSitting) -> str:
    """``at 09:30, with Ada``: the same beneath a heading that names the day."""
    return f"at {words.clock(sitting.start_at)}{f', with {sitting.painter}' if sitting.painter else ''}"


def hours_words(sitting: PlannedSitting) -> str:
    """``09:30 to 11:00``."""
    return f"{words.clock(sitting.start_at)} to {words.clock(sitting.end_at)}"


def palette_words(sitting: PlannedSitting) -> str:
    """``Pale grey, mixed in the 30 minutes before``; nothing where no mix is named."""
    if not sitting.palette:
        return ""
    if not sitting.mixing_min:
        return Filled("{mixes}, mixed already that day", mixes=sitting.palette)
    return Filled("{mixes}, mixed in the {minutes} minutes before", mixes=sitting.palette, minutes=sitting.mixing_min)


def broken_words(sitting: PlannedSitting, today: date) -> str:
    """``the hours of Ada have no room for it and its mixing``: why a sitting holds no more; nothing where it holds.
    Without rule, name or minutes where those are not to be told."""
    one = sitting.broken
    if one is None:
        return ""
    if one.why == "missed":
        return "its day is over, and it was not logged as painted"
    if one.why == "not_ready" and one.ready_from is not None:
        day = standing_words.far_day_words(one.ready_from, today)
        return f"by the forecast it may go on only from {day}"
    if one.why == "stopped" and one.below:
        return Filled("it waits for “{below}” below it, which a rule stops: {rule}", below=one.below, rule=one.rule)
    if one.why == "stopped":
        return Filled("a rule stops it then: {rule}", rule=one.rule) if one.rule else "it is being thought over"
    if one.why == "short" and one.takes_min:
        return f"with its mixing it takes {one.takes_min} minutes by now, and the plan has {one.has_min}"
    if one.why == "off_hours":
        if not sitting.painter:
            return "the working hours have no room for it"
        return Filled("the hours of {painter} have no room for it and its mixing", painter=sitting.painter)
    if one.why == "other_clock":
        return "that was by the clock of another time zone"
    return "it has too little time"


def why_words(sitting: PlannedSitting, today: date) -> str:
    """Why it is not sooner, and how far it may slip, as sentences."""
    if not sitting.why:
        return "Not worked out yet."
    return f"{reason_words(sitting.why, today)}. {slip_words(sitting.start_at, sitting.slip_to, today)}"


def reason_words(why: str, today: date) -> str:
    """``As soon as “glaze” is ready, by Monday, December 7``: a stored reason with a capital."""
    return words.capital(dates_words(why, today))


def option_words(text: str, today: date) -> str:
    """``Agree on January 14, 2027 instead``: what would help a late panel, as a plan keeps it."""
    return dates_words(text, today)


def label_words(label: str) -> str:
    """A label of the history, kept for long and so with every year. Names may stand in it without quotation marks, so
    only days that are told with their weekday are taken for days, and the one that was agreed on."""
    told = _told(label, lambda weekday, day: words.full_date(day) if weekday else "")
    return _AGREED.sub(lambda found: _told(found[0], lambda _, day: words.dated(day)), told)


def dates_words(text: str, today: date) -> str:
    """A stored text of the planner with its days and hours as the studio tells them, the year left off where it is
    this one. Quoted names stay as they are."""

    def told(weekday: str, day: date) -> str:
        if not weekday:
            return words.date_words(day, today)
        is_short = day.year == today.year and manner().date_order != "ymd"
        return words.full_date(day).removesuffix(f" {day.year}").removesuffix(",") if is_short else words.full_date(day)

    return _told(text, told)


def _told(text: str, tell: Callable[[str, date], str]) -> str:
    """The text with its days told anew; those stay for which that is ""."""
    pieces = _NAME.split(text)
    return "".join(piece if n % 2 else _DATE.sub(partial(_date, tell), piece) for n, piece in enumerate(pieces))


def _date(tell: Callable[[str, date], str], found: re.Match[str]) -> str:
    """One such day; what is none, or has another weekday than it says, stays as it is."""
    try:
        day = date(int(found["year"]), words.MONTHS.index(found["month"]) + 1, int(found["day"]))
        hour = time.fromisoformat(found["hour"]) if found["hour"] else None
    except ValueError:
        return found[0]
    weekday = found["weekday"] or ""
    told = tell(weekday, day) if weekday in ("", words.WEEKDAYS[day.weekday()]) else ""
    if not told:
        return found[0]
    return told if hour is None else f"{told}, {words.clock(datetime.combine(day, hour))}"


def slip_words(start_at: datetime, slip_to: datetime, today: date) -> str:
    """``May slip to Friday at 09:00.``"""
    if slip_to <= start_at:
        return "Has no room to slip."
    return f"May slip to {words.moment_words(slip_to, today)}."


def late_words(late_d: int, with_odds: bool = False) -> str:
    """``at your studio's confidence 3 days after its date``: that day holds more often than not, so that beside odds it
    is said how it is counted."""
    told = f"{words.count_words(late_d, 'day')} after its date"
    return f"at your studio's confidence {told}" if with_odds else told
