"""Days by a repeating rule (RFC 5545, section 3.3.10), held to what a studio can mean by one.

The library that counts the days out takes more than the standard allows, some of it without ever coming to an end: so
every part is read here first. A rule that names no day is counted out to the library's last year; as the calendar
repeats itself every 400 years, days are counted in its last 400, so that this is soon reached.
"""

import re
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from itertools import islice, takewhile

from dateutil.rrule import rrulestr

EXAMPLE = "FREQ=WEEKLY;INTERVAL=2;BYDAY=TU"
FREQUENCIES = ("DAILY", "WEEKLY", "MONTHLY", "YEARLY")
WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
# The largest number of each part, and whether it may count from the end (RFC 5545).
NUMBERS = {
    "INTERVAL": (1000, False),
    "COUNT": (10_000, False),
    "BYMONTH": (12, False),
    "BYMONTHDAY": (31, True),
    "BYYEARDAY": (366, True),
    "BYWEEKNO": (53, True),
    "BYSETPOS": (366, True),
}
ONE_NUMBER = ("INTERVAL", "COUNT")
END = ("COUNT", "UNTIL")
MOST_COUNTED = 1_000_000
LATER_Y = 400 * 19  # 2399 is 9999
LAST_YEAR = 2399
MOST_NTH = {"MONTHLY": 5, "YEARLY": 53}  # the fifth Monday of a month, the 53rd of a year
_NUMBER = re.compile(r"[+-]?[0-9]{1,5}")
_WEEKDAY = re.compile(rf"([+-]?[0-9]{{1,2}})?({'|'.join(WEEKDAYS)})")
_UNTIL = re.compile(r"([0-9]{8})(T[0-9]{6}Z?)?")


def check_rule(rule: str) -> str:
    """``rule`` when it is a repeating rule of whole days; raises ValueError with a sentence on what to change."""
    text = rule.strip().upper().removeprefix("RRULE:")
    parts = _parts(text)
    for name, value in parts.items():
        if name in NUMBERS:
            _check_numbers(name, value)
        elif name == "BYDAY":
            _check_weekdays(value, parts)
        elif name == "WKST" and value not in WEEKDAYS:
            raise ValueError("After WKST stands a weekday, as in WKST=MO.")
        elif name == "UNTIL":
            _until(value)
    if "UNTIL" in parts and "COUNT" in parts:
        raise ValueError("A rule ends by UNTIL or by COUNT, not by both.")
    daily = {name: value for name, value in parts.items() if name not in (*END, "INTERVAL")}
    first = _late(date(2026, 1, 1))
    if not any(True for _ in islice(rrulestr(_text(daily), dtstart=first), 1)):
        raise ValueError("This rule names no day.")
    return text


def last_day(rule: str) -> date | None:
    """The day after which a rule names none, where it says so by UNTIL."""
    until = _parts(check_rule(rule)).get("UNTIL")
    return _until(until) if until else None


@lru_cache(maxsize=1024)
def rule_days(rule: str, first_on: date, today: date, days: int) -> tuple[int, ...]:
    """Which of so many days from ``today`` on the rule names, counted from 0. The rule begins on ``first_on``."""
    parts = _parts(check_rule(rule))
    end = today + timedelta(days=days - 1)
    if "UNTIL" in parts:
        end = min(end, _until(parts["UNTIL"]))
    begin, last = _late(today), _late(end)
    body = _text({name: value for name, value in parts.items() if name not in END})
    named = islice(rrulestr(body, dtstart=_late(first_on)), int(parts.get("COUNT", MOST_COUNTED)))
    return tuple((at - begin).days for at in takewhile(lambda at: at <= last, named) if at >= begin)


def _late(on: date) -> datetime:
    """The same day of the calendar, so many times 400 years later that all days reckoned here still lie before the
    library's last year."""
    return datetime.combine(on.replace(year=on.year + LATER_Y), time())


def _parts(text: str) -> dict[str, str]:
    pairs = [part.partition("=") for part in text.split(";")]
    parts = {name: value for name, _, value in pairs}
    if pairs[0][0] != "FREQ" or not all(value for _, _, value in pairs):
        raise ValueError(f"Write a rule like {EXAMPLE}.")
    if parts["FREQ"] not in FREQUENCIES:
        raise ValueError("A rule repeats daily, weekly, monthly or yearly.")
    if {"BYHOUR", "BYMINUTE", "BYSECOND"} & set(parts):
        raise ValueError("A rule names days; the hours stand beside it.")
    for name, _, _ in pairs:
        if name not in (*NUMBERS, "FREQ", "BYDAY", "WKST", "UNTIL"):
            raise ValueError(f"“{name[:20]}” is no part of a repeating rule. Write one like {EXAMPLE}.")
    if len(parts) < len(pairs):
        raise ValueError("A part of this rule stands there twice.")
    return parts


def _check_numbers(name: str, value: str) -> None:
    most, from_end = NUMBERS[name]
    given = value.split(",")
    is_sound = len(given) == 1 or name not in ONE_NUMBER
    for number in given:
        is_sound &= bool(_NUMBER.fullmatch(number)) and 1 <= (abs(int(number)) if from_end else int(number)) <= most
    if not is_sound:
        kind = "stands one number" if name in ONE_NUMBER else "stand numbers"
        raise ValueError(f"After {name} {kind} from 1 to {most:,}.")


def _check_weekdays(value: str, parts: dict[str, str]) -> None:
    # With BYMONTH, a year's weekdays are counted within the month.
    is_yearly = parts["FREQ"] == "YEARLY" and "BYMONTH" not in parts
    most = MOST_NTH["YEARLY" if is_yearly else "MONTHLY"] if parts["FREQ"] in MOST_NTH else 0
    for day in value.split(","):
        found = _WEEKDAY.fullmatch(day)
        if found is None:
            raise ValueError("After BYDAY stand weekdays, as in BYDAY=MO,TH.")
        if found[1] and not 1 <= abs(int(found[1])) <= most:
            raise ValueError("A number before a weekday, as in 2TU, counts the weeks of a month or a year.")


def _until(value: str) -> date:
    """A day, whatever hour and zone it came with."""
    found = _UNTIL.fullmatch(value)
    try:
        on = datetime.strptime(found[1] if found else "", "%Y%m%d").date()  # noqa: DTZ007 - a day has no zone
    except ValueError:
        raise ValueError("After UNTIL stands a day, as in UNTIL=20271224.") from None
    return min(on, date(LAST_YEAR, 12, 31))


def _text(parts: dict[str, str]) -> str:
    return ";".join(f"{name}={value}" for name, value in parts.items())
