"""Texts of a form turned into values of a command's fields, and back.

A form knows only text; an empty box means "nothing given". Numbers take a decimal comma, times without an offset are
in the studio's zone. What cannot be read raises ``Unreadable`` with words for the painter.
"""

import re
import types
import unicodedata
from collections.abc import Mapping
from dataclasses import fields as dataclass_fields
from dataclasses import is_dataclass
from datetime import date, datetime, timezone, tzinfo
from enum import Enum
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import AwareDatetime, BaseModel, FutureDate, FutureDatetime, NaiveDatetime, PastDate, PastDatetime

from server.web import plain_words
from server.web.manner import manner, unit_of_field

REPLACED = "\N{REPLACEMENT CHARACTER}"
INSTANTS = (AwareDatetime, NaiveDatetime, PastDatetime, FutureDatetime)
DATES = (PastDate, FutureDate)
FIRST_YEAR, LAST_YEAR = 1500, 2200
MAX_NUMBER_LENGTH = 30

_NUMBER = re.compile(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)")
_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(,[0-9]{3})+(\.[0-9]*)?")
_SWAPPED = str.maketrans(",.", ".,")
_WHOLE = re.compile(r"[+-]?[0-9]{1,9}")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_INSTANT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?(Z|[+-][0-9]{2}:[0-9]{2})?"
)


class Unreadable(ValueError):
    """A text that is no value of its field; the message is for the painter."""


def alternatives(annotation: Any) -> list[Any]:
    """The types a field may hold, ``Annotated`` and ``X | None`` taken apart."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return alternatives(get_args(annotation)[0])
    if origin in {Union, types.UnionType}:
        return [kind for part in get_args(annotation) for kind in alternatives(part)]
    return [annotation]


def item_type(annotation: Any) -> Any | None:
    """The type of the items when a field holds a list or a tuple of any length, else None."""
    for kind in alternatives(annotation):
        if get_origin(kind) in {list, tuple, frozenset, set}:
            return alternatives(get_args(kind)[0])[0]
    return None


def model_type(annotation: Any) -> type[BaseModel] | None:
    """The model when a field holds one, else None."""
    for kind in alternatives(annotation):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
    return None


def _is_a(kind: Any, base: type) -> bool:
    return isinstance(kind, type) and issubclass(kind, base)


def is_choice(annotation: Any) -> bool:
    """Whether a field is picked from a list or ticked, so that it holds something in an untouched row as well."""
    return any(
        get_origin(kind) is Literal or _is_a(kind, Enum) or kind is bool
        for kind in alternatives(annotation)
        if kind is not type(None)
    )


def clean_text(text: str) -> str:
    """Line ends as ``\\n``; characters that cannot be shown become a visible mark, so that nothing hidden passes."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(REPLACED if _is_hidden(character) else character for character in text)


def _is_hidden(character: str) -> bool:
    # Cc: control characters, Cs: halves of a pair; the marks that turn the direction of writing hide what a text says.
    if character in "\n\t":
        return False
    return (
        unicodedata.category(character) in {"Cc", "Cs"}
        or character in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
    )


def read_number(text: str) -> float:
    text = text.replace("\N{MINUS SIGN}", "-").replace("\N{NO-BREAK SPACE}", "")
    if manner().decimal == "comma":
        text = text.translate(_SWAPPED)
    if _THOUSANDS.fullmatch(text):
        raise Unreadable("Write this without a mark for thousands: 1000, or 1.5.")
    if not _NUMBER.fullmatch(text) or len(text) > MAX_NUMBER_LENGTH:
        raise Unreadable(plain_words.NUMBER)
    return float(text.replace(",", "."))


def read_whole(text: str) -> int:
    text = text.replace("\N{MINUS SIGN}", "-")
    if not _WHOLE.fullmatch(text):
        raise Unreadable(plain_words.WHOLE_NUMBER)
    return int(text)


def read_date(text: str) -> date:
    try:
        if not _DATE.fullmatch(text):
            raise ValueError(text)
        value = date.fromisoformat(text)
    except ValueError:
        raise Unreadable(plain_words.DATE) from None
    if not FIRST_YEAR <= value.year <= LAST_YEAR:
        raise Unreadable(plain_words.YEAR)
    return value


def read_instant(text: str, zone: tzinfo) -> datetime:
    try:
        if not _INSTANT.fullmatch(text):
            raise ValueError(text)
        value = datetime.fromisoformat(text)
    except ValueError:
        raise Unreadable(plain_words.INSTANT) from None
    if not FIRST_YEAR <= value.year <= LAST_YEAR:
        raise Unreadable(plain_words.YEAR)
    if value.tzinfo:
        return value
    local = value.replace(tzinfo=zone)
    # In the hour that is skipped when the clocks go forward, a time does not come back from UTC as it went.
    if local.astimezone(timezone.utc).astimezone(zone).replace(tzinfo=None) != value:
        raise Unreadable(plain_words.SKIPPED_BY_CLOCKS)
    return local


def read(text: str, annotation: Any, zone: tzinfo) -> Any:
    """The value of a non-empty ``text`` for a field of that type. Raises ``Unreadable``."""
    kinds = alternatives(annotation)
    if any(_is_a(kind, str) or get_origin(kind) is Literal for kind in kinds):
        # The model says which texts it takes; where a number will do as well, it is read as one when it is one.
        try:
            return read_number(text) if float in kinds else text
        except Unreadable:
            return text
    if bool in kinds:
        return text
    if float in kinds:
        return read_number(text)
    if int in kinds:
        return read_whole(text)
    if any(_is_a(kind, datetime) or kind in INSTANTS for kind in kinds):
        return read_instant(text, zone)
    if any(_is_a(kind, date) or kind in DATES for kind in kinds):
        return read_date(text)
    return text


def show(value: Any, zone: tzinfo) -> str:
    """A value as the text of its box; ``read`` gives the same value back."""
    match value:
        case None | False:
            return ""
        case True:
            return "on"
        case Enum():
            return str(value.value)
        case float():
            return f"{value:.12g}".replace(".", "," if manner().decimal == "comma" else ".")
        case datetime():
            return value.astimezone(zone).strftime("%Y-%m-%dT%H:%M")
        case date():
            return value.isoformat()
    return clean_text(str(value))


def flatten(value: Any, zone: tzinfo, prefix: str = "") -> dict[str, str]:
    """A record, command or mapping as texts by the names of a form's fields: ``parts-0-kind``."""
    match value:
        case BaseModel():
            items: list[tuple[Any, Any]] = [(name, getattr(value, name)) for name in type(value).model_fields]
        case Mapping():
            items = list(value.items())
        case list() | tuple():
            items = list(enumerate(value))
        case _ if is_dataclass(value):
            items = [(f.name, getattr(value, f.name)) for f in dataclass_fields(value)]
        case _:
            unit = unit_of_field(prefix) if isinstance(value, float) else None
            return {prefix: show(value if unit is None else unit.shown(value), zone)}
    texts: dict[str, str] = {}
    for name, inner in items:
        texts.update(flatten(inner, zone, f"{prefix}-{name}" if prefix else str(name)))
    return texts
