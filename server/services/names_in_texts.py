"""The name of a painter in what the program wrote of them, exchanged for another: plans, promises, entries.

What stands between quotation marks, and what painters called something, is left: a picture may bear a painter's name.
"""

import re
from collections.abc import Iterable
from typing import Any

NOT_NAMES = frozenset({"title", "kind", "for_whom", "label"})  # what painters called something
_QUOTED = re.compile(r"(“[^”]*”)")


def exchanged(content: Any, names: Iterable[str], into: str) -> Any:
    """JSON with ``into`` in the place of any of ``names``."""
    given = tuple(names)
    if isinstance(content, dict):
        return {
            exchanged_in(key, given, into): value if key in NOT_NAMES else exchanged(value, given, into)
            for key, value in content.items()
        }
    if isinstance(content, list):
        return [exchanged(each, given, into) for each in content]
    return exchanged_in(content, given, into) if isinstance(content, str) else content


def exchanged_in(text: str, names: Iterable[str], into: str) -> str:
    """The same for words; a sentence that begins with ``into`` begins with a capital."""
    pieces = _QUOTED.split(text)
    for name in sorted(names, key=len, reverse=True):
        whole = re.compile(rf"(?<!\w){re.escape(name)}(?!\w)")
        pieces = [piece if _QUOTED.fullmatch(piece) else whole.sub(lambda _: into, piece) for piece in pieces]
    told = "".join(pieces)
    return told[0].upper() + told[1:] if into and told.startswith(into) and told != into else told
