"""What is told of panels one by one, each told again as long as nothing of it changed."""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import replace
from typing import TypeVar

from server.services.board.facts import Moment
from server.services.board.rows import StudioRows
from server.services.kept import Content, Kept

V = TypeVar("V")


def told_once(kept: Kept[V], rows: StudioRows, moment: Moment, make: Callable[[StudioRows], Sequence[V]]) -> list[V]:
    """What is told of every panel of ``rows``, in their order. ``make`` tells of those of which nothing is in ``kept``,
    all together: it gets the rows with these panels alone."""
    keys: list[Hashable] = [Content((moment, rows.told(panel))) for panel in rows.panels]
    found = kept.among(keys)
    new = {key: panel for key, panel in zip(keys, rows.panels, strict=True) if key not in found}
    if new:
        made: dict[Hashable, V] = dict(zip(new, make(replace(rows, panels=list(new.values()))), strict=True))
        kept.keep(made)
        found |= made
    return [found[key] for key in keys]
