"""What a language and its region usually like, for what the studio leaves to the device.

First days of the week, orders of the date, clocks and decimal marks after Unicode CLDR (supplemental weekData and
timeData, the locales' own formats), from memory and only as far as listed; all others begin on Monday, tell the day
first, count to 24, and write a comma where the language is not listed.
"""

import re
from functools import lru_cache

from server.services.studios import Choices
from server.web.manner import Clock, DateOrder, Decimal, Manner, WeekStart


def _words(listed: str) -> frozenset[str]:
    return frozenset(listed.split())


SUNDAY = _words(
    "AG AS AU BD BR BS BT BW BZ CA CO DM DO ET GT GU HK HN "
    "ID IL IN JM JP KE KH KR LA MH MM MO MT MX MZ NI NP PA "
    "PE PH PK PR PT PY SA SG SV TH TT TW UM US VE VI WS YE ZA ZW"
)
SATURDAY = _words("AE AF BH DJ DZ EG IQ IR JO KW LY OM QA SD SY")
MONTH_FIRST = _words("US PH PR GU AS VI UM MH")
YEAR_FIRST = _words("sv lt hu ja zh ko mn eu")
TWELVE_HOURS = _words("US CA AU NZ IN PH PK EG SA CO MX MY KR PR GU BD")
POINT = _words("en ja zh ko th he")
USUAL_REGION = {"sv": "SE", "lt": "LT", "hu": "HU", "ja": "JP", "zh": "CN", "ko": "KR", "ar": "EG", "pt": "PT"}
_TAG = re.compile(r"([A-Za-z]{2,3})(?:-[A-Za-z]{4})?(?:-([A-Za-z]{2}))?(?![A-Za-z0-9])")


@lru_cache(256)
def of_language(accepted: str) -> tuple[WeekStart, DateOrder, Clock, Decimal]:
    """What the first language of an ``Accept-Language`` header likes; without one, Monday, day first, 24, point."""
    found = _TAG.match(accepted.strip())
    if found is None:
        return "monday", "dmy", "24", "point"
    language = found[1].lower()
    region = (found[2] or USUAL_REGION.get(language, "")).upper()
    week: WeekStart = "sunday" if region in SUNDAY else "saturday" if region in SATURDAY else "monday"
    order: DateOrder = "mdy" if region in MONTH_FIRST else "ymd" if language in YEAR_FIRST else "dmy"
    clock: Clock = "12" if region in TWELVE_HOURS else "24"
    has_point = language in POINT or (language == "es" and region in {"MX", "PR", "US"})
    return week, order, clock, "point" if has_point else "comma"


@lru_cache(256)
def manner_of(choices: Choices, accepted: str) -> Manner:
    """What was chosen; where the choice is left to the device, what its first language likes."""
    week, order, clock, decimal = of_language(accepted)
    return Manner(
        length=choices.length_unit,
        volume=choices.volume_unit,
        temperature=choices.temperature_unit,
        film=choices.film_unit,
        week_start=week if choices.week_start == "auto" else choices.week_start,
        date_order=order if choices.date_order == "auto" else choices.date_order,
        clock=clock if choices.clock == "auto" else choices.clock,
        decimal=decimal if choices.decimal_mark == "auto" else choices.decimal_mark,
    )
