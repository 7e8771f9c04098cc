"""Pigments as a painter writes them: Colour Index names, with or without the traditional name, or that name alone."""

import re
from dataclasses import dataclass
from functools import cache

from server.science.errors import InputError
from server.science.reference import Pigment, find_pigment, pigments

_CI_NAME = re.compile(
    r"\s*(n|p)\s*(w|y|o|r|v|b|g|br|bk)\s*([0-9]{1,3}(?::[0-9])?)(?![0-9])(.*)", re.IGNORECASE | re.DOTALL
)
_LETTERS = {name.casefold(): name for name in ("W", "Y", "O", "R", "V", "B", "G", "Br", "Bk")}
_MANY = 6


@dataclass(frozen=True, slots=True)
class PigmentChoice:
    """One pigment to choose. ``key`` is unambiguous ("PBr7/raw umber"); ``text`` is how it is written in a box."""

    key: str
    text: str
    ci_name: str
    variant: str | None
    names: str


class Unclear(ValueError):
    """A pigment that cannot be told from what was written; the message says what would do."""


@cache
def choices() -> tuple[PigmentChoice, ...]:
    """Every pigment of the table, in its order."""
    return tuple(_choice(pigment) for pigment in pigments())


def _choice(pigment: Pigment) -> PigmentChoice:
    # A variant is told only where the name alone is not enough.
    variant = pigment.variant if pigment.key != pigment.ci_name else None
    return PigmentChoice(
        pigment.key, f"{pigment.ci_name} {variant or pigment.label}", pigment.ci_name, variant, pigment.trade_names
    )


@cache
def _by_key() -> dict[str, PigmentChoice]:
    return {choice.key.casefold(): choice for choice in choices()}


@cache
def _by_text() -> dict[str, PigmentChoice]:
    return {_plain(choice.text): choice for choice in choices()}


@cache
def _by_name() -> dict[str, tuple[PigmentChoice, ...]]:
    """Choices by every traditional name, also without the words in brackets."""
    found: dict[str, tuple[PigmentChoice, ...]] = {}
    for choice in choices():
        for name in choice.names.split(";"):
            for form in {_plain(name), _plain(re.sub(r"\(.*?\)", "", name))}:
                if form and choice not in found.get(form, ()):
                    found[form] = (*found.get(form, ()), choice)
    return found


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", " ", text.casefold()).strip()


@cache
def suggestions() -> tuple[str, ...]:
    """Every way to write a pigment, one for each of its traditional names: all of them can be read back."""
    texts: dict[str, None] = {}
    for choice in choices():
        texts[choice.text] = None
        for name in choice.names.split(";"):
            texts[f"{choice.ci_name} {name.strip()}"] = None
    return tuple(texts)


def text_of(ci_name: str, variant: str | None = None) -> str:
    """How a stored pigment is written in a box and on screen: ``PBr7 raw umber``, ``PW6 titanium white``."""
    key = f"{ci_name}/{variant}" if variant else ci_name
    known = _by_key().get(key.casefold())
    if known is None:
        try:
            known = _choice(find_pigment(ci_name, variant))
        except InputError:
            return f"{ci_name} {variant}" if variant else ci_name
    return known.text


def read(text: str) -> PigmentChoice:
    """The pigment that was written. Raises `Unclear` when it is unknown or could be several."""
    plain = _plain(text)
    known = _by_key().get(text.strip().casefold()) or _by_text().get(plain)
    if known:
        return known
    if found := _CI_NAME.fullmatch(text):
        return _read_ci_name(found, text)
    named = _by_name().get(plain, ())
    if len(named) == 1:
        return named[0]
    if named:
        raise Unclear(f"More than one pigment is called that. Write one of: {_listed(named)}.")
    near = [choice for choice in choices() if plain and plain in _plain(choice.names)]
    if near:
        raise Unclear(f"No pigment is called just that. Did you mean {_listed(near)}?")
    raise Unclear("This pigment is not in the table. Write its Colour Index name from the tube, such as PW6.")


def _read_ci_name(found: re.Match[str], text: str) -> PigmentChoice:
    letters = found[1].upper() + _LETTERS[found[2].casefold()]
    name, rest = f"{letters}{found[3]}", _plain(found[4])
    rows = [choice for choice in choices() if choice.ci_name == name]
    if not rows:
        raise Unclear(f"{name} is not in the table. Look at the tube again, or choose the pigment nearest to it.")
    if len(rows) == 1:
        return rows[0]
    fitting = [choice for choice in rows if rest and rest == _plain(choice.variant or "")]
    if len(fitting) == 1:
        return fitting[0]
    raise Unclear(f"{name} is several pigments. Write one of: {_listed(rows)}.")


def _listed(found: tuple[PigmentChoice, ...] | list[PigmentChoice]) -> str:
    words = [choice.text for choice in found[:_MANY]]
    return ", ".join(words[:-1]) + " or " + words[-1] if len(words) > 1 else words[0]
