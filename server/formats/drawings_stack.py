"""Layers to come as a drawing: one row a layer, the lowest at the bottom, and when each can go on along the days.

The bar runs from the early to the late end of the range, the upright line marks the day that is likely enough.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

WIDTH = 410.0
LEFT, RIGHT = 132.0, 396.0
ROW, TOP, FOOT = 34.0, 8.0, 26.0
BAR = 14.0
LEAST_BAR = 3.0
STEPS_D = (1, 2, 7, 14, 28, 91, 182, 365, 730)
MOST_TICKS = 4
LONGEST_LABEL = 16


@dataclass(frozen=True, slots=True)
class StackRow:
    """One layer as it is to be drawn: its range in days from ``start`` (None: not known), ``severity`` of its verdict
    ("" for none), ``is_new`` False for what was planned before."""

    label: str
    colour: str
    range_d: tuple[float, float, float] | None
    severity: str
    is_new: bool = True


@dataclass(frozen=True, slots=True)
class DrawnRow:
    label: str
    colour: str
    y: float
    bar_x: float
    bar_width: float
    mark_x: float | None
    severity: str
    is_new: bool


@dataclass(frozen=True, slots=True)
class Tick:
    x: float
    words: str
    anchor: str


@dataclass(frozen=True, slots=True)
class StackDrawing:
    """``rows`` from the top layer down; ``finish_x`` where the last layer is likely touch-dry, None when not known."""

    width: float
    height: float
    left: float
    right: float
    floor_y: float
    rows: tuple[DrawnRow, ...]
    ticks: tuple[Tick, ...]
    finish_x: float | None
    bar: float
    desc: str


def stack_drawing(rows: Sequence[StackRow], start: date, finish_d: float | None) -> StackDrawing:
    """Draw the layers, given lowest first. ``finish_d``: days until the last is likely touch-dry."""
    ends = [row.range_d[2] for row in rows if row.range_d] + ([finish_d] if finish_d is not None else [])
    last_d = max([1.0, *ends]) * 1.03
    scale = (RIGHT - LEFT) / last_d
    drawn = tuple(_row(row, TOP + ROW * (len(rows) - 1 - place) + ROW / 2, scale) for place, row in enumerate(rows))
    floor = TOP + ROW * len(rows)
    return StackDrawing(
        width=WIDTH,
        height=floor + FOOT,
        left=LEFT,
        right=RIGHT,
        floor_y=floor,
        rows=drawn[::-1],
        ticks=_ticks(start, last_d, scale),
        finish_x=None if finish_d is None else round(LEFT + finish_d * scale, 1),
        bar=BAR,
        desc=_describe(rows, start),
    )


def _row(row: StackRow, y: float, scale: float) -> DrawnRow:
    label = row.label if len(row.label) <= LONGEST_LABEL else row.label[: LONGEST_LABEL - 1] + "…"
    if row.range_d is None:
        return DrawnRow(label, row.colour, y, LEFT, 0.0, None, row.severity, row.is_new)
    low, likely, high = row.range_d
    x, width = LEFT + low * scale, max(LEAST_BAR, (high - low) * scale)
    drawn = (round(y, 1), round(x, 1), round(width, 1), round(LEFT + likely * scale, 1))
    return DrawnRow(label, row.colour, *drawn, row.severity, row.is_new)


def _ticks(start: date, last_d: float, scale: float) -> tuple[Tick, ...]:
    step = next((each for each in STEPS_D if last_d / each <= MOST_TICKS), STEPS_D[-1])
    found: list[Tick] = []
    for days in range(0, int(last_d) + 1, step):
        x = LEFT + days * scale
        day = start + timedelta(days=days)
        words = f"{day.day} {day:%b}" if last_d < STEPS_D[-2] else f"{day:%b %Y}"
        if x > RIGHT - 18.0 and found:
            break
        found.append(Tick(round(x, 1), words, "start" if days == 0 else "middle"))
    return tuple(found)


def _describe(rows: Sequence[StackRow], start: date) -> str:
    """The drawing in words, the lowest layer first."""
    said = []
    for row in rows:
        if row.range_d is None:
            said.append(f"{row.label}: not known")
            continue
        low, likely, high = (start + timedelta(days=int(d)) for d in row.range_d)
        said.append(f"{row.label}: between {low:%d %B} and {high:%d %B}, likely enough by {likely:%d %B %Y}")
    return "When each layer can go on, lowest first. " + "; ".join(said) + "."
