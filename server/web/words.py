"""Dates, ranges and quantities in the painter's words. Pure text: the caller gives the studio's own day."""

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from math import floor, isfinite, log10

from server.services.tube_use import rough
from server.web.manner import manner, unit_of

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
WEEKS_BEYOND_D = 21
MONTHS_BEYOND_D = 182
DAYS_PER_WEEK = 7
DAYS_PER_MONTH = 365.25 / 12


def date_words(day: date, today: date) -> str:
    """``3 December``, ``December 3``; with the year when it is not this one."""
    return day_and_month(day) if day.year == today.year else dated(day)


def day_and_month(day: date) -> str:
    month = MONTHS[day.month - 1]
    return f"{day.day} {month}" if manner().date_order == "dmy" else f"{month} {day.day}"


def dated(day: date) -> str:
    """``3 December 2026``, ``December 3, 2026`` or ``2026-12-03``, as the studio orders its dates."""
    match manner().date_order:
        case "mdy":
            return f"{day_and_month(day)}, {day.year}"
        case "ymd":
            return day.isoformat()
    return f"{day_and_month(day)} {day.year}"


def full_date(day: date) -> str:
    """``Thursday 3 December 2026``, ``Thursday, December 3, 2026`` or ``Thursday 2026-12-03``."""
    return f"{WEEKDAYS[day.weekday()]}{',' if manner().date_order == 'mdy' else ''} {dated(day)}"


def day_words(day: date, today: date) -> str:
    """``today``, ``tomorrow``, ``Thursday`` within the week to come, else the date."""
    away = (day - today).days
    near = {-1: "yesterday", 0: "today", 1: "tomorrow"}
    if away in near:
        return near[away]
    # A week from now has today's weekday again and would be read as today.
    return WEEKDAYS[day.weekday()] if 1 < away < 7 else date_words(day, today)


def clock(instant: datetime) -> str:
    """``14:05`` or ``2:05 pm`` of an instant already in the studio's zone."""
    if manner().clock == "12":
        return f"{instant.hour % 12 or 12}:{instant:%M} {'am' if instant.hour < 12 else 'pm'}"
    return f"{instant:%H:%M}"


def moment_words(instant: datetime, today: date) -> str:
    """``Thursday at 14:05``; ``instant`` already in the studio's zone."""
    return f"{day_words(instant.date(), today)} at {clock(instant)}"


def typed_words(text: str, kind: str) -> str:
    """What a box for a day or a moment holds, told as such: ``2026-12-03T10:05``; any other text as it is."""
    if text and kind == "date":
        return dated(date.fromisoformat(text))
    if text and kind == "datetime-local":
        at = datetime.fromisoformat(text)
        return f"{dated(at.date())} at {clock(at)}"
    return text


def part_of_day(hour: int) -> str:
    """``evening`` and the like, for a moment that nobody means to the minute."""
    if hour < 5 or hour >= 22:
        return "night"
    return "morning" if hour < 12 else "afternoon" if hour < 17 else "evening"


def range_words(low: date, high: date, today: date) -> str:
    """A range of days as a forecast is told: ``likely Thursday to Saturday``.

    Within the week by weekday, then by date, in weeks where it lies or stretches beyond 21 days, beyond half a year by
    month. When the range has
    begun, what is left of it.
    """
    if high < low:
        low, high = high, low
    if high < today:
        return f"likely {_span(low, high, today)}"
    if low < today:
        return f"likely by {_far_day(high, today)}"
    if (low - today).days > MONTHS_BEYOND_D:
        return f"likely {_month_span(low, high)}"
    is_wide = (high - low).days > WEEKS_BEYOND_D and (low - today).days >= DAYS_PER_WEEK
    if is_wide or (low - today).days > WEEKS_BEYOND_D:
        return f"likely in {_weeks(low, high, today)}"
    return f"likely {_span(low, high, today)}"


def paper_range_words(low: date, high: date, today: date) -> str:
    """The same for what is printed today and read on another day: dates with their year, beyond half a year months."""
    if low < today <= high:
        return f"likely by {month_words(high) if (high - today).days > MONTHS_BEYOND_D else dated(high)}"
    if (low - today).days > MONTHS_BEYOND_D:
        return f"likely {_month_span(low, high)}"
    return f"likely {_span(low, high, date.max)}"


def month_words(day: date) -> str:
    """``January 2027``."""
    return f"{MONTHS[day.month - 1]} {day.year}"


def _far_day(day: date, today: date) -> str:
    return month_words(day) if (day - today).days > MONTHS_BEYOND_D else day_words(day, today)


def _weeks(low: date, high: date, today: date) -> str:
    first, last = round((low - today).days / 7), round((high - today).days / 7)
    return f"{first} weeks" if first == last else f"{first} to {last} weeks"


def _month_span(low: date, high: date) -> str:
    if (low.year, low.month) == (high.year, high.month):
        return month_words(low)
    first = MONTHS[low.month - 1] if low.year == high.year else f"{MONTHS[low.month - 1]} {low.year}"
    return f"{first} to {MONTHS[high.month - 1]} {high.year}"


def _span(low: date, high: date, today: date) -> str:
    if low == high:
        return day_words(low, today)
    if (low - today).days >= -1 and (high - today).days < 7:
        joint = "or" if high - low == timedelta(days=1) else "to"
        return f"{day_words(low, today)} {joint} {day_words(high, today)}"
    if (low.year, low.month) == (high.year, high.month):
        if manner().date_order == "dmy":
            return f"{low.day} to {date_words(high, today)}"
        year = "" if high.year == today.year else f", {high.year}"
        return f"{day_and_month(low)} to {high.day}{year}"
    if low.year == high.year:
        return f"{day_and_month(low)} to {date_words(high, today)}"
    return f"{dated(low)} to {dated(high)}"


def ago_words(day: date, today: date) -> str:
    """``today``, ``yesterday``, ``5 days ago``, ``in 3 weeks``."""
    away = (today - day).days
    if abs(away) <= 1:
        return {0: "today", 1: "yesterday", -1: "tomorrow"}[away]
    length = days_words(abs(away))
    return f"{length} ago" if away > 0 else f"in {length}"


def days_words(days: float) -> str:
    """A length of time in the unit that fits: hours under two days, weeks over three, months over half a year."""
    if days < 2:
        return count_words(max(1, round(days * 24)), "hour")
    if days <= WEEKS_BEYOND_D:
        return count_words(round(days), "day")
    if days <= MONTHS_BEYOND_D:
        return count_words(round(days / 7), "week")
    return count_words(round(days / DAYS_PER_MONTH), "month")


def days_range_words(low_d: float, high_d: float) -> str:
    """``3 to 5 days``; both ends in the unit of the upper one."""
    if high_d < 2:
        unit, size = "hour", 1 / 24
    elif high_d <= WEEKS_BEYOND_D:
        unit, size = "day", 1.0
    elif high_d <= MONTHS_BEYOND_D:
        unit, size = "week", 7.0
    else:
        unit, size = "month", DAYS_PER_MONTH
    low, high = round(low_d / size), round(high_d / size)
    if low == high:
        return f"about {count_words(max(high, 1), unit)}"
    return f"{f'under {count_words(high, unit)}' if low < 1 else f'{low} to {count_words(high, unit)}'}"


def count_words(count: int, one: str, many: str | None = None) -> str:
    """``1 panel``, ``3 panels``, ``no panels``."""
    return f"{f'{count:,}' if count else 'no'} {one if count == 1 else many or one + 's'}"


def figure(value: float, digits: int = 2) -> str:
    """A number with the precision it has: so many significant digits, no trailing zeros, never ``1e+03``."""
    if not isfinite(value):
        return "\N{EM DASH}"
    if value == 0:
        return "0"
    places = digits - 1 - floor(log10(abs(value)))
    rounded = round(value, places)
    text = f"{rounded:.{max(places, 0)}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return marked(text.replace("-", "\N{MINUS SIGN}"))


def marked(text: str) -> str:
    """A figure with the studio's decimal mark."""
    return text.replace(".", ",") if manner().decimal == "comma" else text


def ml_words(value: float) -> str:
    """A volume as it can be measured out: ``0.4 ml``, ``12 ml``, ``0.41 fl oz``."""
    return quantity(value, "ml").replace(" ", "\N{NO-BREAK SPACE}")


def rough_ml_words(value: float, as_typed: bool = False) -> str:
    """A volume that is known to about a tenth: ``17 ml``, ``8.5 ml``.

    ``as_typed``: the figure alone, which read back is the same millilitres as far as they are told.
    """
    unit = unit_of("ml")
    told = figure(unit.shown(value), 3) if as_typed and unit.symbol != "ml" else figure(rough(unit.shown(value)))
    return told if as_typed else f"{told}\N{NO-BREAK SPACE}{unit.symbol}"


def quantity(value: float, stored_in: str, digits: int = 2, bare: bool = False) -> str:
    """A value stored in cm, cm², ml, °C or µm as the studio tells it: ``50 µm``, ``2 mil``; ``bare``: the figure."""
    unit = unit_of(stored_in)
    if bare:
        return figure(unit.shown(value), digits)
    return f"{figure(unit.shown(value), digits)} {unit.symbol}"


def ten_words(value: float) -> str:
    """So much on ten: ``2 ml binder on 10 ml``; in parts where the studio measures in ounces."""
    unit = "ml" if manner().volume == "ml" else "parts"
    return f"{figure(value, 2)}\N{NO-BREAK SPACE}{unit} binder on 10\N{NO-BREAK SPACE}{unit} of tube paint"


def size_words(width_mm: float, height_mm: float) -> str:
    """``40 × 50 cm``, ``12 × 16 in``; what was typed comes back as it was."""
    unit = unit_of("cm")
    width, height = (_side_words(unit.shown(side / 10)) for side in (width_mm, height_mm))
    return f"{width} × {height} {unit.symbol}"


def _side_words(length: float) -> str:
    """To the hundredth; a rule's sixteenths as they are."""
    sixteenths = round(length * 16) / 16
    return figure(sixteenths if abs(length - sixteenths) < 0.0005 else round(length, 2), 7)


_QUANTITY = re.compile(
    r"(?<![\w.,])(?P<low>[+-]?\d+(?:[.,]\d+)?)(?P<joint> to |–|-)?(?(joint)(?P<high>\d+(?:[.,]\d+)?))"
    r"(?:&nbsp;|[ \u00a0])(?P<unit>cm²|cm|ml|°C|µm)(?![\w²³])"
)
# A count on 10 ml, in every language that pages speak; both its ends stay.
_RATIO = re.compile(r"(?:drops? (?:to|in|per)|oil (?:in|to)|druppels? (?:op|in|per)|olie (?:in|op)) $")
_RATIO_FOLLOWS = re.compile(r" (?:of )?(?:oil|olie) (?:in|to|op) 10[ \u00a0]ml")


def told(text: str) -> str:
    """Prose in which quantities stand in metric units, in those of the studio; counts on 10 ml stay what they are."""

    def turned(found: re.Match[str]) -> str:
        if _RATIO.search(text[max(0, found.start() - 24) : found.start()]) or _RATIO_FOLLOWS.match(text, found.end()):
            return found[0]
        unit = unit_of(found["unit"])
        ends = [
            figure(unit.shown(float(found[end].replace(",", "."))), 2 if unit.offset == 0 else 3)
            for end in ("low", "high")
            if found[end]
        ]
        return f"{(found['joint'] or '').join(ends)}\N{NO-BREAK SPACE}{unit.symbol}"

    return _QUANTITY.sub(turned, text)


def pct_words(share: float, digits: int = 2) -> str:
    """A share of 1 as per cent: 0.125 -> ``13 %``."""
    return f"{figure(share * 100, digits)}\N{NO-BREAK SPACE}%"


def join_words(items: Sequence[str], last: str = "and") -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    items = list(items)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def capital(text: str) -> str:
    """The text with a capital first."""
    return text[:1].upper() + text[1:]
