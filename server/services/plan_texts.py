"""Texts of a plan that name panels and layers: kept with their uids, and told by what these are called now."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

_UID = re.compile(r"[A-Za-z0-9_-]{1,32}")

NameOf = Callable[[str], str | None]


@dataclass(frozen=True, slots=True)
class KeptText:
    """``parts``: words as they are, and uids with what each was called when the plan was made."""

    parts: tuple[str | tuple[str, str], ...]

    @property
    def then(self) -> list[tuple[str, str]]:
        return [part for part in self.parts if not isinstance(part, str)]

    def told(self, name_of: NameOf) -> str:
        """With the names of now; with that of then for what is known no more."""
        return "".join(part if isinstance(part, str) else name_of(part[0]) or part[1] for part in self.parts)


def with_names(text: str, name_of: NameOf) -> str:
    """A text with names in place of the uids that have one."""
    return _UID.sub(lambda found: name_of(found[0]) or found[0], text)


def to_keep(text: str, name_of: NameOf) -> list[Any] | None:
    """A text with uids as a plan stores it: words, and uids beside their names; None where it names nothing."""
    parts: list[Any] = []
    end = 0
    for found in _UID.finditer(text):
        if name := name_of(found[0]):
            parts += [text[end : found.start()], {"uid": found[0], "name": name}]
            end = found.end()
    return [part for part in (*parts, text[end:]) if part] if parts else None


def kept_text(stored: Sequence[Any] | None) -> KeptText | None:
    """The same read again."""
    if stored is None:
        return None
    return KeptText(tuple(one if isinstance(one, str) else (one["uid"], one["name"]) for one in stored))


def layer_words(kind: str, panel: str, title: str, own: str) -> str:
    """``“glaze” of “Harbour”``; without its panel in a text of the panel ``own``, and where none is known."""
    return f"“{kind}”" if own in (panel, "") else f"“{kind}” of “{title}”"
