"""How a studio likes its quantities, days and numbers told: held for one request, asked by every filter and form.

What is stored, sent to programs and written to files stays metric and ISO; only what a person reads or types is turned.
Factors: the inch is 25.4 mm exactly (international yard and pound agreement of 1959); the US fluid ounce is 1/128 of a
US gallon of 231 cubic inches, 29.5735295625 ml exactly (NIST Handbook 44, appendix C); °F = 1.8 °C + 32; all three from
memory. A mil is a thousandth of an inch.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Literal

Length = Literal["cm", "in"]
Volume = Literal["ml", "fl_oz"]
Temperature = Literal["c", "f"]
Film = Literal["um", "mil"]
WeekStart = Literal["monday", "sunday", "saturday"]
DateOrder = Literal["dmy", "mdy", "ymd"]
Clock = Literal["24", "12"]
Decimal = Literal["point", "comma"]

PYTHON_WEEKDAY: dict[WeekStart, int] = {"monday": 0, "sunday": 6, "saturday": 5}


@dataclass(frozen=True, slots=True)
class Unit:
    """``shown = stored * factor + offset``; ``symbol`` as it stands behind a figure."""

    symbol: str
    factor: float = 1.0
    offset: float = 0.0

    def shown(self, stored: float) -> float:
        return stored * self.factor + self.offset

    def stored(self, shown: float) -> float:
        return (shown - self.offset) / self.factor


@dataclass(frozen=True, slots=True)
class Manner:
    """The choices of a studio; as they are here, all is metric and told in English (``language`` by its BCP 47 tag)."""

    length: Length = "cm"
    volume: Volume = "ml"
    temperature: Temperature = "c"
    film: Film = "um"
    week_start: WeekStart = "monday"
    date_order: DateOrder = "dmy"
    clock: Clock = "24"
    decimal: Decimal = "point"
    language: str = "en"


METRIC = Manner()
IMPERIAL = Manner(length="in", volume="fl_oz", temperature="f", film="mil")
# By the unit that is stored, then by the choice.
UNITS: dict[str, dict[str, Unit]] = {
    "cm": {"cm": Unit("cm"), "in": Unit("in", 1 / 2.54)},
    "cm²": {"cm": Unit("cm²"), "in": Unit("sq in", 1 / 2.54**2)},
    "ml": {"ml": Unit("ml"), "fl_oz": Unit("fl oz", 1 / 29.5735295625)},
    "°C": {"c": Unit("°C"), "f": Unit("°F", 1.8, 32.0)},
    "µm": {"um": Unit("µm"), "mil": Unit("mil", 1 / 25.4)},
}
CHOSEN_BY = {"cm": "length", "cm²": "length", "ml": "volume", "°C": "temperature", "µm": "film"}
# A field's stored unit by the end of its name; counts per volume are no volumes.
FIELD_UNITS = (("_cm", "cm"), ("_ml", "ml"), ("temperature_c", "°C"), ("transit_c", "°C"), ("_um", "µm"))
NO_QUANTITY = ("drops_per_ml", "drops_per_10_ml")

_current: ContextVar[Callable[[], Manner]] = ContextVar("manner", default=lambda: METRIC)


def manner() -> Manner:
    """How the studio of this request likes things told; metric outside of a page."""
    return _current.get()()


def tell_as(asked: Callable[[], Manner]) -> None:
    """From here on in this request, as ``asked`` answers once somebody wants to know."""
    _current.set(asked)


@contextmanager
def told_as(chosen: Manner) -> Iterator[None]:
    """Within the block, as ``chosen``."""
    token = _current.set(lambda: chosen)
    try:
        yield
    finally:
        _current.reset(token)


def unit_of(stored_in: str) -> Unit:
    """The unit that takes the place of cm, cm², ml, °C or µm. Raises KeyError for any other."""
    return UNITS[stored_in][getattr(manner(), CHOSEN_BY[stored_in])]


def unit_of_field(name: str) -> Unit | None:
    """The unit in which a form's field is typed, told by the end of its name; None for what has none to choose."""
    last = name.rpartition("-")[2]
    if last.endswith(NO_QUANTITY):
        return None
    return next((unit_of(unit) for end, unit in FIELD_UNITS if last.endswith(end)), None)


def unit_words(words: str) -> str:
    """A label such as ``µm wet`` in the chosen unit; what names no such unit stays."""
    first, _, rest = words.partition(" ")
    if first not in UNITS or rest.startswith("to "):
        return words
    return f"{unit_of(first).symbol} {rest}".rstrip()


def typed_in(text: str, stored_in: str) -> str:
    """A figure in the stored unit as it would be typed in the chosen one: ``20`` of °C is ``68``."""
    try:
        return f"{unit_of(stored_in).shown(float(text)):.6g}"
    except (KeyError, ValueError):
        return text


def is_metric() -> bool:
    """Whether every quantity is told in the unit it is stored in."""
    now = manner()
    return (now.length, now.volume, now.temperature, now.film) == ("cm", "ml", "c", "um")


def first_weekday() -> int:
    """The day that weeks begin with, Monday 0 to Sunday 6."""
    return PYTHON_WEEKDAY[manner().week_start]
