"""Kinds of fields that the command models share, with their limits.

Messages are written for the person at the form; the standard ones (a number out of range, an empty box) are put in
plain words where a form or a call is answered.
"""

import unicodedata
from collections.abc import Iterable
from datetime import date, datetime
from typing import Annotated, TypeVar

from pydantic import AfterValidator, AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

T = TypeVar("T")

FIRST_YEAR, LAST_YEAR = 1500, 2200
SUM_TOLERANCE_PCT = 0.5
# Marks that turn the direction of writing and so can make a text read as what it is not.
_UNSEEN = frozenset({"Cc", "Cf", "Zs", "Zl", "Zp"})
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


class Command(BaseModel):
    """What a person asks for. Unknown fields are refused, texts are trimmed, no number is infinite or 'nan'."""

    model_config = ConfigDict(
        extra="forbid", str_strip_whitespace=True, allow_inf_nan=False, frozen=True, hide_input_in_errors=True
    )


def _visible(text: str, allowed: str) -> str:
    for character in text:
        if character in allowed:
            continue
        if unicodedata.category(character) in {"Cc", "Cs", "Zl", "Zp"} or character in _TURNING:
            raise ValueError("There are characters in here that cannot be shown. Please take them out.")
    if text.strip() and all(unicodedata.category(character) in _UNSEEN for character in text):
        raise ValueError("There is nothing in here that can be seen. Please write some text.")
    return composed(text)


def composed(text: T) -> T | str:
    """``text`` in composed form, anything else as it is. A few characters are several then, so this comes before the
    length is looked at: what is kept must fit its column."""
    return unicodedata.normalize("NFC", text) if isinstance(text, str) else text


def one_line(text: str) -> str:
    """``text`` in composed form; raises ValueError for control characters and line breaks."""
    return _visible(text, "")


def several_lines(text: str) -> str:
    """The same for notes, which may have line breaks and tabs."""
    return _visible(text.replace("\r\n", "\n").replace("\r", "\n"), "\n\t")


COMPOSED = BeforeValidator(composed)  # last, so that it is asked first
# Texts that must be given, and those that may be empty.
Text32 = Annotated[str, StringConstraints(min_length=1, max_length=32), AfterValidator(one_line), COMPOSED]
Text64 = Annotated[str, StringConstraints(min_length=1, max_length=64), AfterValidator(one_line), COMPOSED]
Text120 = Annotated[str, StringConstraints(min_length=1, max_length=120), AfterValidator(one_line), COMPOSED]
Text200 = Annotated[str, StringConstraints(min_length=1, max_length=200), AfterValidator(one_line), COMPOSED]
OptionalText120 = Annotated[str, StringConstraints(max_length=120), AfterValidator(one_line), COMPOSED]
OptionalText200 = Annotated[str, StringConstraints(max_length=200), AfterValidator(one_line), COMPOSED]
ShortNote = Annotated[str, StringConstraints(max_length=1000), AfterValidator(several_lines), COMPOSED]
Notes = Annotated[str, StringConstraints(max_length=4000), AfterValidator(several_lines), COMPOSED]
LongNotes = Annotated[str, StringConstraints(max_length=8000), AfterValidator(several_lines), COMPOSED]

Uid = Annotated[str, StringConstraints(min_length=1, max_length=32, pattern=r"^[A-Za-z0-9_-]+$")]
Version = Annotated[int, Field(ge=1, le=2_000_000_000)]
HexColour = Annotated[str, StringConstraints(pattern=r"^#[0-9a-fA-F]{6}$", to_lower=True)]
ColourIndexName = Annotated[str, StringConstraints(min_length=2, max_length=16), AfterValidator(one_line), COMPOSED]

PercentShare = Annotated[float, Field(gt=0, le=100)]  # of a whole that other shares make up
Percent = Annotated[float, Field(ge=0, le=100)]
Parts = Annotated[float, Field(gt=0, le=10_000)]
Centimetres = Annotated[float, Field(ge=0.1, le=1000)]
Millilitres = Annotated[float, Field(ge=0, le=100_000)]
TemperatureC = Annotated[float, Field(ge=-20, le=50)]
HumidityPct = Annotated[float, Field(ge=0, le=100)]
# From a wiped glaze to the heaviest relief made with a knife (2 cm): our choice of limits, no source.
WetThicknessUm = Annotated[float, Field(ge=1, le=20_000)]


def _year_in_range(day: date) -> date:
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise ValueError(f"Give a year between {FIRST_YEAR} and {LAST_YEAR}.")
    return day


def _moment_in_range(moment: datetime) -> datetime:
    _year_in_range(moment.date())
    return moment


Day = Annotated[date, AfterValidator(_year_in_range)]
Instant = Annotated[AwareDatetime, AfterValidator(_moment_in_range)]


def shares_add_up(percents: Iterable[float], what: str = "shares") -> None:
    """Raises ValueError unless the shares make 100 % within half a per cent. No share at all is fine."""
    given = list(percents)
    total = sum(given)
    if given and abs(total - 100.0) > SUM_TOLERANCE_PCT:
        raise ValueError(f"The {what} add up to {total:.4g} %. Together they must make 100 %.")


def shares_within_the_whole(percents: Iterable[float]) -> None:
    """Raises ValueError when shares of the area make more than 100 % and half a per cent. A layer may cover less."""
    total = sum(percents)
    if total > 100.0 + SUM_TOLERANCE_PCT:
        raise ValueError(
            f"The shares of the area add up to {total:.4g} %. Together they make 100 % at the most: "
            "what they leave out stays as it is."
        )
