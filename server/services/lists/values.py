"""What a cell says: numbers with their decimal sign and unit, days and moments in the order they were written."""

import calendar
import re
from datetime import date, datetime, time
from typing import Literal
from zoneinfo import ZoneInfo

Order = Literal["dmy", "mdy", "ymd", ""]  # "": nobody has said yet
# What one of a unit is in the unit we keep. The international inch, the US fluid ounce and pound: exact by definition.
UNITS: dict[str, dict[str, float]] = {
    "cm": {"cm": 1.0, "mm": 0.1, "in": 2.54},
    "µm": {"µm": 1.0, "mil": 25.4, "mm": 1000.0},
    "ml": {"ml": 1.0, "fl oz": 29.5735295625},
    "g/ml": {"g/ml": 1.0, "kg/m³": 0.001, "lb/gal": 453.59237 / 3785.411784},
}
_UNIT_WORDS = {
    "cm": ("cm", "centimetre", "centimeter"),
    "mm": ("mm", "millimetre", "millimeter"),
    "in": ("in", "inch", "inches", '"', "″"),
    "µm": ("µm", "μm", "um", "micron", "microns"),
    "mil": ("mil", "mils", "thou"),
    "ml": ("ml", "millilitre", "milliliter"),
    "fl oz": ("fl oz", "floz", "fl. oz", "oz"),
    "g/ml": ("g/ml", "g/cm3", "g/cm³", "g/cc"),
    "kg/m³": ("kg/m³", "kg/m3"),
    "lb/gal": ("lb/gal",),
}
_MONTHS = tuple(calendar.month_name[1:])
_NUMBER = re.compile(r"[+-]?\d[\d ., \u00a0\u202f']*|[+-]?[.,]\d+")
_PARTS = re.compile(r"(\d{1,4})\s*[./ -]\s*(\d{1,2})\s*[./ -]\s*(\d{1,4})\.?")
_NAMED = re.compile(
    r"(?:(\d{1,2})(?:st|nd|rd|th)?\.?[ -]+)?([a-z]{3,9})\.?[ -]+(?:(\d{1,2})(?:st|nd|rd|th)?,?[ ]+)?(\d{4})"
)
_TIME = re.compile(r"(?:[T ,]+|^)(\d{1,2}):(\d{2})(?::\d{2}(?:\.\d+)?)?\s*([ap]\.?m\.?)?\s*$", re.IGNORECASE)


def unit_named(header: str, kept: str) -> str | None:
    """The unit that a heading names ("Width (in)"), of those that can be turned into ``kept``."""
    bare = re.sub(r"[()\[\],_]", " ", header.casefold())
    words = f" {bare} "
    for unit in UNITS[kept]:
        if any(f" {word} " in words for word in _UNIT_WORDS[unit]):
            return unit
    return None


def number(text: str, decimal: str) -> float:
    """The number in ``text``; ``decimal`` is the sign before its fraction. Raises ValueError in plain words."""
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        raise ValueError("This is not a number.")
    plain = re.sub(r"[ \u00a0\u202f']", "", found[0])
    group = "." if decimal == "," else ","
    whole, sign, fraction = plain.partition(decimal)
    groups = whole.split(group)
    if group in fraction or (len(groups) > 1 and any(len(part) != 3 for part in groups[1:])):
        other = "point" if decimal == "," else "comma"
        raise ValueError(f"This is not a number with that decimal sign. Is it a decimal {other}?")
    return float("".join(groups) + (f".{fraction or 0}" if sign else ""))


def measure(text: str, decimal: str, kept: str, unit: str) -> float:
    """A number in ``unit``, or in the unit written behind it, in the unit we keep. Raises ValueError."""
    bare = text.strip()
    for name in UNITS[kept]:
        for word in sorted(_UNIT_WORDS[name], key=len, reverse=True):
            if bare.casefold().endswith(word) and bare[: -len(word)].strip()[-1:].isdigit():
                return number(bare[: -len(word)].strip(), decimal) * UNITS[kept][name]
    return number(bare, decimal) * UNITS[kept][unit]


def decimal_of(texts: list[str]) -> str:
    """The decimal sign that numbers were most likely written with."""
    commas = sum(bool(re.search(r"\d,(\d{1,2}|\d{4,})(\D|$)", text)) for text in texts)
    points = sum(bool(re.search(r"\d\.\d", text)) for text in texts)
    return "," if commas > points else "."


def order_of(texts: list[str]) -> Order:
    """The order in which days were written where their numbers give it away; "" where it must be asked."""
    seen: set[Order] = set()
    unclear = False
    for text in texts:
        found = _PARTS.match(text.strip())
        if found is None or len(found[1]) == 4:
            continue  # a year first is clear by itself
        first, second = int(found[1]), int(found[2])
        if first > 12:
            seen.add("dmy")
        elif second > 12:
            seen.add("mdy")
        elif first != second:
            unclear = True
    if len(seen) == 1:
        return seen.pop()
    return "" if unclear or seen else "dmy"


def day(text: str, order: Order, today: date) -> date:
    """The day. ``order`` says which number is the day where no year stands first. Raises ValueError."""
    bare = text.strip()
    if named := _NAMED.fullmatch(bare.casefold()):
        return _named(named)
    found = _PARTS.fullmatch(bare)
    if found is None:
        raise ValueError("This is not a day. Write it like 2026-11-28.")
    parts = [int(part) for part in found.groups()]
    if len(found[1]) == 4:
        year, month, on = parts
    elif order == "":
        raise ValueError("Say first whether the day or the month comes first.")
    else:
        places = {"dmy": (2, 1, 0), "mdy": (2, 0, 1), "ymd": (0, 1, 2)}[order]
        year, month, on = (parts[place] for place in places)
        if len(found[places[0] + 1]) <= 2:
            year += 2000 if year <= today.year % 100 + 1 else 1900
    try:
        return date(year, month, on)
    except ValueError:
        raise ValueError("There is no such day.") from None


def _named(found: re.Match[str]) -> date:
    months = [number for number, name in enumerate(_MONTHS, 1) if name.casefold().startswith(found[2])]
    on = found[1] or found[3]
    if len(months) != 1 or on is None:
        raise ValueError("This is not a day. Write it like 2026-11-28.")
    try:
        return date(int(found[4]), months[0], int(on))
    except ValueError:
        raise ValueError("There is no such day.") from None


def moment(text: str, order: Order, zone: ZoneInfo, now: datetime) -> tuple[datetime, bool]:
    """(the moment, whether a time was written). A day without a time is taken as noon, today as now at the latest.

    Raises ValueError in plain words, also for a time that the clocks skipped.
    """
    bare = text.strip()
    clock = _TIME.search(bare)
    on = day(bare[: clock.start()] if clock else bare, order, now.astimezone(zone).date())
    if clock is None:
        return min(datetime.combine(on, time(12), zone), max(now, datetime.combine(on, time(0), zone))), False
    hour, minute = int(clock[1]), int(clock[2])
    if clock[3]:
        if not 1 <= hour <= 12:
            raise ValueError("There is no such time of the day.")
        hour = hour % 12 + (12 if clock[3][0] in "pP" else 0)
    if hour > 23 or minute > 59:
        raise ValueError("There is no such time of the day.")
    return datetime.combine(on, time(hour, minute), zone), True
