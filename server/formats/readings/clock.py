"""Times of a wall clock turned into instants, many at once, with the hour that comes twice and the one that is missing.

In autumn an hour comes twice. A file that runs on tells which is which: once its times step back, the second hour has
begun. In spring an hour is missing; a clock that was not set goes on in winter time, and so its times are taken.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np

HOUR_S = 3600
WALL_EPOCH = datetime(1970, 1, 1, tzinfo=timezone.utc).replace(tzinfo=None)  # where a wall clock counts from


@dataclass(frozen=True, slots=True)
class Turn:
    """A change of the clocks that a file has times in. ``on``: the local day; ``first`` and ``second``: how many times
    were taken in summer and in winter time. ``missing``: the hour that the clocks leave out in spring."""

    on: str
    missing: bool
    first: int
    second: int


def to_utc(wall_s: np.ndarray, zone: ZoneInfo) -> tuple[np.ndarray, list[Turn]]:
    """Seconds of the wall clock after 1970, in the order of the file, as seconds of UTC; and what had to be decided."""
    hours, place = np.unique(wall_s // HOUR_S, return_inverse=True)
    offset = _offsets(hours, zone)[place]
    turning = np.flatnonzero(np.isnan(offset))
    turns: list[Turn] = []
    if len(turning):
        backwards = len(wall_s) > 1 and wall_s[-1] < wall_s[0]
        offset[turning], turns = _decide(wall_s, turning, zone, backwards)
    return wall_s - offset.astype(np.int64), turns


def _offsets(hours: np.ndarray, zone: ZoneInfo) -> np.ndarray:
    """The offset of every hour of the wall clock in seconds; nan where the clocks are changed within it."""
    found = np.empty(len(hours))
    for place, hour in enumerate(hours.tolist()):
        start = WALL_EPOCH + timedelta(hours=hour)
        ends = (start, start + timedelta(minutes=59, seconds=59))
        told = {_offset_s(end, zone, fold) for end in ends for fold in (0, 1)}
        found[place] = told.pop() if len(told) == 1 else np.nan
    return found


def _offset_s(wall: datetime, zone: ZoneInfo, fold: int) -> float:
    offset = zone.utcoffset(wall.replace(fold=fold))
    assert offset is not None
    return offset.total_seconds()


def _decide(wall_s: np.ndarray, turning: np.ndarray, zone: ZoneInfo, backwards: bool) -> tuple[np.ndarray, list[Turn]]:
    """The offsets of the times around a change of the clocks, going through the file as time goes."""
    order = turning[::-1] if backwards else turning
    found: dict[int, float] = {}
    counts: dict[tuple[str, bool], list[int]] = {}
    before, is_second = -1, False
    for row in order.tolist():
        seconds = int(wall_s[row])
        wall = WALL_EPOCH + timedelta(seconds=seconds)
        early, late = _offset_s(wall, zone, 0), _offset_s(wall, zone, 1)
        if early == late:
            found[row], is_second = early, False
            before = seconds
            continue
        if abs(seconds - before) > 2 * HOUR_S:
            is_second = False
        elif early > late and seconds <= before:
            is_second = True
        before = seconds
        found[row] = late if is_second and early > late else early
        count = counts.setdefault((f"{wall.day} {wall:%B %Y}", early < late), [0, 0])
        count[is_second] += 1
    turns = [Turn(day, missing, *count) for (day, missing), count in counts.items()]
    return np.array([found[row] for row in turning.tolist()]), turns
