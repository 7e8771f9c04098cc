"""Whose a pinned sitting is, where several painters work at its time and none is named."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from server.planning.schedule.calendar import Window
from server.planning.schedule.problem import Sitting


@dataclass(slots=True)
class _Filled:
    """What the pinned sittings take so far: minutes of a window and until when, of a painter's day what is mixed."""

    minutes: dict[Window, int] = field(default_factory=dict)
    until: dict[Window, int] = field(default_factory=dict)
    mixed: set[tuple[int, int, str]] = field(default_factory=set)


def share_out(
    inside: Mapping[str, Sequence[Window]], starts: Mapping[str, int], of: Mapping[str, Sitting], set_up_min: int
) -> dict[str, Window]:
    """A window for each pinned sitting out of those it begins in.

    In the order they begin, each goes where there is time left for it, and of those where the ones before leave it
    beginning nearest to its minute.
    """
    filled = _Filled()
    chosen: dict[str, Window] = {}
    for key in sorted((k for k in inside if inside[k]), key=lambda k: (starts[k], len(inside[k]), k)):
        sitting, start = of[key], starts[key]
        window = min(inside[key], key=lambda w: _misfit(filled, w, sitting, start, set_up_min))
        filled.minutes[window] = _minutes(filled, window, sitting, set_up_min)
        filled.until[window] = max(filled.until.get(window, window.start_min), start) + sitting.minutes
        if sitting.palette is not None:
            filled.mixed.add((window.painter, window.day, sitting.palette))
        chosen[key] = window
    return chosen


def _misfit(filled: _Filled, window: Window, sitting: Sitting, start: int, set_up_min: int) -> tuple[bool, int]:
    """How badly a sitting fits into a window: whether that is too full, then how far off its minute it would begin."""
    begins = filled.until.get(window, window.start_min) + _mixing(filled, window, sitting, set_up_min)
    return _minutes(filled, window, sitting, set_up_min) > window.minutes, abs(start - begins)


def _minutes(filled: _Filled, window: Window, sitting: Sitting, set_up_min: int) -> int:
    return filled.minutes.get(window, 0) + sitting.minutes + _mixing(filled, window, sitting, set_up_min)


def _mixing(filled: _Filled, window: Window, sitting: Sitting, set_up_min: int) -> int:
    """Minutes of mixing that a sitting adds to those before it."""
    if sitting.palette is None or (window.painter, window.day, sitting.palette) in filled.mixed:
        return 0
    return set_up_min
