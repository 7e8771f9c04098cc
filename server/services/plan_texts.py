"""Texts of a plan that name panels and layers: kept with their uids, and told by what these are called now."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

_UID = re.compile(r"[A-Za-z0-9_-]{1,32}")

NameOf = Callable[[str], str | None]


@dataclass(frozen=True, slots=True)
class KeptText:
    """``text`` with uids in it; ``then``: what each of them was called when the plan was made."""

    text: str
    then: tuple[tuple[str, str], ...]

    def told(self, name_of: NameOf) -> str:
        """With the names of now; with that of then for what is known no more."""
        then = dict(self.then)
        return with_names(self.text, lambda uid: (name_of(uid) or then[uid]) if uid in then else None)


def with_names(text: str, name_of: NameOf) -> str:
    """A text with names in place of the uids that have one."""
    return _UID.sub(lambda found: name_of(found[0]) or found[0], text)


def to_keep(text: str, name_of: NameOf) -> dict[str, Any] | None:
    """A text with uids as a plan stores it; None where it names nothing."""
    then = {uid: name for uid in _UID.findall(text) if (name := name_of(uid))}
    return {"text": text, "names": then} if then else None


def kept_text(stored: Mapping[str, Any] | None) -> KeptText | None:
    """The same read again."""
    return None if stored is None else KeptText(stored["text"], tuple(stored["names"].items()))


def layer_words(kind: str, panel: str, title: str, own: str) -> str:
    """``“glaze” of “Harbour”``; without its panel in a text of the panel ``own``, and where none is known."""
    return f"“{kind}”" if own in (panel, "") else f"“{kind}” of “{title}”"
