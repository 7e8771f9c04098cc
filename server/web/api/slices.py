"""Parts of lists that are worked out whole whichever part is asked for: what comes after what was shown last."""

from collections.abc import Callable, Sequence
from typing import TypeVar

from server.services.errors import Invalid

T = TypeVar("T")


def slice_of(
    found: Sequence[T], uid_of: Callable[[T], str], limit: int, after: str | None
) -> tuple[Sequence[T], str | None]:
    """``limit`` of them after the one named ``after``, or the first, and the uid to go on after, None at the end.

    Raises ``Invalid`` at ``after`` for one that is not there.
    """
    start = 0
    if after is not None:
        start = next((n + 1 for n, each in enumerate(found) if uid_of(each) == after), 0)
        if not start:
            raise Invalid.at("after", "Choose one of the list.")
    shown = found[start : start + limit]
    return shown, uid_of(shown[-1]) if start + limit < len(found) else None
