"""The texts of one language, as its file beside this module holds them: gettext's PO format, UTF-8, read by Babel.

A message is English as it stands in a template or the program, its places as ``{name}`` and ``<a>…</a>``. What has no
translation yet is told in English.
"""

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from babel.messages.pofile import read_po

_PLACE = re.compile(r"\{\w+\}")
ENGLISH = "en"
# Tag of the language (BCP 47) -> its own name for itself.
LANGUAGES = {"en": "English", "nl": "Nederlands"}
DECIMAL_MARKS = {"en": ".", "nl": ","}  # CLDR: in prose, whatever mark a studio chose for its figures


def file_of(language: str) -> Path:
    return Path(__file__).with_name(f"{language}.po")


@cache
def catalogue(language: str) -> Mapping[str, str]:
    """English message -> translation, of those that have one; of English none. Raises KeyError for a language that is
    not spoken here."""
    return {message: told for message, told, _ in _read(language)}


@cache
def spoken(language: str) -> Mapping[str, str]:
    """Of the catalogue what finished sentences are taken apart by: those of the program, and words without places."""
    return {message: told for message, told, is_program in _read(language) if is_program or not _PLACE.search(message)}


@cache
def _read(language: str) -> tuple[tuple[str, str, bool], ...]:
    """(message, translation, whether the program says it)"""
    if language not in LANGUAGES:
        raise KeyError(language)
    if language == ENGLISH:
        return ()
    with file_of(language).open("rb") as file:
        read = read_po(file, locale=language)
    return tuple(
        (str(message.id), str(message.string), any(place.startswith("server/") for place, _ in message.locations))
        for message in read
        if message.id and message.string
    )


def read_anew() -> None:
    """After a file was written."""
    for kept in (_read, catalogue, spoken):
        kept.cache_clear()
