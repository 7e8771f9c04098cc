"""A sentence that still knows what was put into it, so that a name within it stays as it was typed.

Beside quotation marks, in which every name stays, it is the way to put what somebody typed into words of the program:
``Filled("{mix} in {where}", mix=mix, where=where)`` is that sentence in English, and its message in another
language.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any


class Filled(str):
    """A text made of a ``message`` and the ``values`` in its places."""

    __slots__ = ("message", "values")

    message: str
    values: Mapping[str, Any]

    def __new__(cls, message: str, **values: Any) -> "Filled":
        made = super().__new__(cls, message.format_map(values))
        made.message, made.values = message, values
        return made

    def told(self, messages: Mapping[str, str], tell: Callable[[object], object]) -> str:
        """In another language: its message of that language, each value told by ``tell``."""
        message = messages.get(self.message, self.message)
        return message.format_map({name: tell(each) for name, each in self.values.items()})

    def __getnewargs_ex__(self) -> tuple[tuple[str], dict[str, Any]]:
        """How it is copied and sent to another process."""
        return (self.message,), dict(self.values)


def listed(texts: Sequence[str]) -> Filled:
    """The texts with commas between them, each still knowing what it is."""
    values = {f"text{number}": text for number, text in enumerate(texts)}
    return Filled(", ".join(f"{{{name}}}" for name in values), **values)
