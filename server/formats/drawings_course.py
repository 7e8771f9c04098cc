"""The air of a place through time as plain geometry: temperature, humidity, and the drying speed they mean."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

WIDTH = 344.0
LEFT, RIGHT = 40.0, 334.0
BAND, GAP, TOP = 84.0, 30.0, 22.0
HEIGHT = TOP + 3 * BAND + 2 * GAP + 30.0
LEAST_SPAN = (4.0, 20.0, 0.5)  # so that a calm room is not drawn as a storm
DASHED = "4 4"


@dataclass(frozen=True, slots=True)
class Band:
    """One of the three drawings. ``read`` are lines through what was read, ``other`` dashed ones through the rest,
    ``usual`` what the place is said to be. ``low`` and ``high`` are the figures at its foot and its head."""

    name: str
    unit: str
    top: float
    floor: float
    read: str
    other: str
    usual: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class DayMark:
    """Where a day begins; ``label`` is its number, "" for most."""

    x: float
    label: str


@dataclass(frozen=True, slots=True)
class CourseDrawing:
    """``now_x``: where the present is; ``reference_y``: a speed of 1, None when that is off the drawing."""

    width: float
    height: float
    bands: tuple[Band, ...]
    days: tuple[DayMark, ...]
    now_x: float
    reference_y: float | None
    foot_y: float
    desc: str


@dataclass(frozen=True, slots=True)
class Lines:
    """One quantity by the hour, what the place is said to be (None: nothing to compare with), and which were read."""

    name: str
    unit: str
    values: np.ndarray
    usual: np.ndarray | None


def course_drawing(lines: Sequence[Lines], is_read: np.ndarray, first_at: datetime, now: int) -> CourseDrawing:
    """Three quantities one below the other; ``first_at`` in the studio's zone, ``now`` the hour that runs."""
    count = len(is_read)
    bands = tuple(_band(n, each, is_read, count) for n, each in enumerate(lines))
    days = tuple(_days(first_at, count))
    speed = bands[-1]
    share = (1 - speed.low) / (speed.high - speed.low)
    reference = round(speed.floor - BAND * share, 1) if 0 <= share <= 1 else None
    read = int(is_read.sum())
    desc = f"From {first_at:%-d %B} over {count // 24} days, {read} hours of which were read. " + " ".join(
        f"{each.name} {_figure(each.values[:now].min())} to {_figure(each.values[:now].max())} {each.unit} so far."
        for each in lines
    )
    return CourseDrawing(WIDTH, HEIGHT, bands, days, _x(now, count), reference, bands[-1].floor, desc)


def _figure(value: float) -> str:
    return f"{value:.2g}"


def _band(n: int, lines: Lines, is_read: np.ndarray, count: int) -> Band:
    top = TOP + n * (BAND + GAP)
    drawn = lines.values if lines.usual is None else np.concatenate((lines.values, lines.usual))
    middle, half = (drawn.max() + drawn.min()) / 2, max(drawn.max() - drawn.min(), LEAST_SPAN[n]) / 2 * 1.06
    low = max(0.0, float(middle - half)) if drawn.min() >= 0 else float(middle - half)
    high = float(middle + half)
    heights = top + BAND - (lines.values - low) / (high - low) * BAND
    usual = ""
    if lines.usual is not None:
        usual = _steps(top + BAND - (lines.usual - low) / (high - low) * BAND, count)
    return Band(
        lines.name,
        lines.unit,
        top,
        top + BAND,
        _pieces(heights, is_read, count),
        _pieces(heights, ~is_read, count),
        usual,
        low,
        high,
    )


def _pieces(heights: np.ndarray, chosen: np.ndarray, count: int) -> str:
    """A line through each run of chosen hours; it goes on to the hour after, so that no gap is drawn where none is."""
    path = []
    edges = np.flatnonzero(np.diff(np.concatenate(([0], chosen.astype(int), [0]))))
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        points = [(_x(n, count), float(heights[n])) for n in range(start, min(end + 1, count))]
        path.append("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points))
    return "".join(path)


def _steps(heights: np.ndarray, count: int) -> str:
    changes = [0, *(np.flatnonzero(np.diff(heights)) + 1).tolist()]
    return f"M{LEFT:g} {heights[0]:.1f}" + "".join(f"H{_x(n, count):.1f}V{heights[n]:.1f}" for n in changes) + "H334"


def _days(first_at: datetime, count: int) -> list[DayMark]:
    marks: list[DayMark] = []
    for hour in range(count):
        at = first_at + timedelta(hours=hour)
        if at.hour == 0:
            marks.append(DayMark(_x(hour, count), str(at.day) if len(marks) % 3 == 0 else ""))
    return marks


def _x(hour: float, count: int) -> float:
    return round(LEFT + (RIGHT - LEFT) * hour / count, 1)
