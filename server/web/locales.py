"""What a language and its region usually like, for what the studio leaves to the device.

First days of the week, orders of the date, clocks and decimal marks are those of the Unicode CLDR, as Babel hands them
out. English without a region begins on Monday, tells the day first and counts to 24: it may be anybody's.
"""

import re
from functools import lru_cache

from babel import Locale
from babel.core import get_global

from server.services.studios import Choices
from server.web.language.catalogue import ENGLISH, LANGUAGES
from server.web.manner import Clock, DateOrder, Decimal, Manner, WeekStart

WEEK_STARTS: dict[int, WeekStart] = {5: "saturday", 6: "sunday"}
_TAG = re.compile(r"([A-Za-z]{2,3})(?:-[A-Za-z]{4})?(?:-([A-Za-z]{2}))?(?![A-Za-z0-9])")
ANYBODYS: tuple[WeekStart, DateOrder, Clock, Decimal] = ("monday", "dmy", "24", "point")


@lru_cache(256)
def of_language(accepted: str) -> tuple[WeekStart, DateOrder, Clock, Decimal]:
    """What the first language of an ``Accept-Language`` header likes; without one, Monday, day first, 24, point."""
    found = _TAG.match(accepted.strip())
    if found is None:
        return ANYBODYS
    language, region = found[1].lower(), (found[2] or "").upper()
    if not region:
        if language == ENGLISH:
            return ANYBODYS
        region = _usual_region(language)
    locale = _known(language, region)
    if locale is None:
        return ANYBODYS
    dates, times = locale.date_formats["short"].pattern, locale.time_formats["short"].pattern
    clock: Clock = "12" if re.search("[hKab]", times) else "24"
    decimal: Decimal = "point" if locale.number_symbols["latn"]["decimal"] == "." else "comma"
    return WEEK_STARTS.get(locale.first_week_day, "monday"), _order(dates), clock, decimal


def _usual_region(language: str) -> str:
    likely = get_global("likely_subtags").get(language, "")
    return likely.rpartition("_")[2] if likely.count("_") else ""


def _known(language: str, region: str) -> Locale | None:
    """The locale, or that of the language alone where the two are not known together."""
    for tag in (f"{language}_{region}", language):
        try:
            return Locale.parse(tag)
        except (LookupError, ValueError):
            continue
    return None


def _order(pattern: str) -> DateOrder:
    """As the parts of a short date follow each other: ``d/M/y`` is dmy."""
    day, month, year = (pattern.lower().find(part) for part in "dmy")
    if year < day and year < month:
        return "ymd"
    return "mdy" if month < day else "dmy"


@lru_cache(256)
def language_asked(accepted: str) -> str:
    """The first language of an ``Accept-Language`` header that is spoken here, by the weight each was given."""
    weighed: list[tuple[float, int, str]] = []
    for place, part in enumerate(accepted.split(",")[:20]):
        tag, _, rest = part.strip().partition(";")
        weight = re.fullmatch(r"\s*q=([01](?:\.\d{0,3})?)\s*", rest)
        weighed.append((-float(weight[1]) if weight else -1.0, place, tag.split("-")[0].lower()))
    return next((tag for weight, _, tag in sorted(weighed) if weight < 0 and tag in LANGUAGES), ENGLISH)


@lru_cache(256)
def manner_of(choices: Choices, accepted: str) -> Manner:
    """What was chosen; where the choice is left to the device, what its first language likes."""
    # A language that was chosen brings its own order of dates and decimal mark with it.
    liked = accepted if choices.language in ("auto", language_asked(accepted)) else choices.language
    week, order, clock, decimal = of_language(liked)
    return Manner(
        length=choices.length_unit,
        volume=choices.volume_unit,
        temperature=choices.temperature_unit,
        film=choices.film_unit,
        week_start=week if choices.week_start == "auto" else choices.week_start,
        date_order=order if choices.date_order == "auto" else choices.date_order,
        clock=clock if choices.clock == "auto" else choices.clock,
        decimal=decimal if choices.decimal_mark == "auto" else choices.decimal_mark,
        language=language_asked(accepted) if choices.language == "auto" else choices.language,
    )
