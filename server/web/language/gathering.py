"""Keeps a language's file in step with the sources: ``./umberday texts``.

New messages are added without a translation, translations of messages that are gone are left out. A test fails while
the file of a language is not whole.
"""

import io
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po

from server.web.language import program_texts, script_texts, template_texts, vocabulary
from server.web.language.catalogue import ENGLISH, LANGUAGES, catalogue, file_of, read_anew

ROOT = Path(__file__).resolve().parents[3]
DATA = "server/science/data"
LIMITS = f"{DATA}/soundness_thresholds.toml"
_PLACES = re.compile(r"\{\w+\}|</?[a-z]+\d*>")


def gathered() -> dict[str, list[str]]:
    """Every message -> the files it stands in, in the order of the sources."""
    found: dict[str, list[str]] = {}

    def note(message: str, where: str) -> None:
        places = found.setdefault(message, [])
        if where not in places:
            places.append(where)

    for path in sorted((ROOT / "templates").rglob("*.html")):
        for message in template_texts.texts(path.read_text(encoding="utf-8")):
            note(message, path.relative_to(ROOT).as_posix())
    for name, _, message in program_texts.texts(ROOT / "server"):
        note(message, f"server/{name}")
    for script, message in script_texts.texts(ROOT / "static"):
        note(message, f"static/{script}")
    for file, words in vocabulary.texts(ROOT / DATA):
        note(words, f"{DATA}/{file}" if file else "server/web/language/vocabulary.py")
    for limit in tomllib.loads((ROOT / LIMITS).read_text(encoding="utf-8"))["threshold"]:
        note(limit["meaning"], LIMITS)
    return found


def written(language: str, newer: Mapping[str, str] = MappingProxyType({})) -> bytes:
    """The language's file as it should stand now; ``newer`` translations come before those it has."""
    told = {**catalogue(language), **newer}
    file = Catalog(
        locale=language,
        project="Umberday",
        version="1",
        fuzzy=False,
        header_comment=f"# Umberday: {LANGUAGES[language]}.",
    )
    for message, places in gathered().items():
        file.add(message, told.get(message, ""), locations=[(place, None) for place in places])  # type: ignore[misc]
    out = io.BytesIO()
    write_po(out, file, width=120, omit_header=False, ignore_obsolete=True, include_lineno=False)
    # The dates of the header would change with every writing.
    return re.sub(
        rb'^"(POT-Creation-Date|PO-Revision-Date|Last-Translator|Language-Team|Report-Msgid-Bugs-To|'
        rb"Generated-By):[^\n]*\n",
        b"",
        out.getvalue(),
        flags=re.MULTILINE,
    )


def missing(language: str) -> list[str]:
    """Messages without a translation."""
    told = catalogue(language)
    return [message for message in gathered() if message not in told]


def ill_formed(language: str) -> list[str]:
    """Translations that lack a place of their message, have one too many, or would end an attribute."""
    return [
        f"{message!r} -> {told!r}"
        for message, told in catalogue(language).items()
        if set(_PLACES.findall(message)) != set(_PLACES.findall(told)) or ('"' in told and '"' not in message)
    ]


def rewrite() -> dict[str, int]:
    """Bring every language's file in step; language -> how many messages wait for a translation."""
    waiting: dict[str, int] = {}
    for language in LANGUAGES:
        if language == ENGLISH:
            continue
        if not file_of(language).exists():
            file_of(language).write_bytes(b"")
        file_of(language).write_bytes(written(language))
        read_anew()
        waiting[language] = len(missing(language))
    return waiting


def take_in(language: str, translations: dict[str, str]) -> None:
    """Put translations into the language's file, over those it has."""
    file_of(language).write_bytes(written(language, translations))
    read_anew()
