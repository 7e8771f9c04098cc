"""What was promised and what was pressed, layer by layer, on one axis of days.

The axis is logarithmic: half as long and twice as long are equally far from a day. A bar is what was promised eight
times in ten; marks above it are presses that found the film soft, marks below those that found it dry.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from server.formats.days_axis import DaysAxis, Tick

WIDTH = 640.0
LEFT, RIGHT = 8.0, 8.0
ROW = 26.0
TOP = 22.0
BAR = 8.0
MARK = 5.0


@dataclass(frozen=True, slots=True)
class PromisedLayer:
    """Days after painting: the promised range with its middle, and presses as (day, soft, doubtful)."""

    low_d: float
    middle_d: float
    high_d: float
    presses: tuple[tuple[float, bool, bool], ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """A press: a small triangle; ``kind`` is soft, dry or doubtful."""

    path: str
    kind: str


@dataclass(frozen=True, slots=True)
class Bar:
    """One layer: its bar as x, y and width, and where its middle is."""

    x: float
    y: float
    width: float
    middle_x: float
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class PromisesPicture:
    width: float
    height: float
    bar_height: float
    ticks: tuple[Tick, ...]
    bars: tuple[Bar, ...]


def promises_picture(layers: Sequence[PromisedLayer]) -> PromisesPicture:
    """The picture of these layers, from the first down. Raises ValueError for none."""
    if not layers:
        raise ValueError("no layers")
    days = [day for layer in layers for day in (layer.low_d, layer.high_d, *(p[0] for p in layer.presses))]
    axis = DaysAxis.over(days, LEFT, WIDTH - RIGHT)
    bars = tuple(_bar(layer, TOP + ROW * i + ROW / 2, axis) for i, layer in enumerate(layers))
    return PromisesPicture(WIDTH, TOP + ROW * len(layers) + 6, BAR, axis.ticks(), bars)


def _bar(layer: PromisedLayer, y: float, axis: DaysAxis) -> Bar:
    x = axis.x_of(layer.low_d)
    marks = tuple(press_mark(press, y, axis.x_of(press[0])) for press in layer.presses)
    width = round(max(2.0, axis.x_of(layer.high_d) - x), 1)
    return Bar(x, round(y - BAR / 2, 1), width, axis.x_of(layer.middle_d), marks)


def press_mark(press: tuple[float, bool, bool], y: float, x: float) -> Mark:
    """A press, as (day, soft, doubtful), above or below the bar whose middle is ``y``."""
    _, soft, doubtful = press
    tip, base = (y - BAR / 2, y - BAR / 2 - MARK * 1.4) if soft else (y + BAR / 2, y + BAR / 2 + MARK * 1.4)
    path = f"M{x:g} {tip:g}L{x - MARK:g} {base:g}H{x + MARK:g}z"
    return Mark(path, "doubtful" if doubtful else "soft" if soft else "dry")


DOT = 6.0
COLUMN = 16.0


@dataclass(frozen=True, slots=True)
class DotsPicture:
    """Equally likely dots, one column a day."""

    width: float
    height: float
    radius: float
    dots: tuple[tuple[float, float], ...]


def dots_picture(columns: list[int]) -> DotsPicture:
    """Dots in columns from 0 on, stacked from the floor up."""
    tallest = max((columns.count(column) for column in set(columns)), default=1)
    height = DOT * 2 * tallest + 2
    placed: list[tuple[float, float]] = []
    for place, column in enumerate(columns):
        below = columns[:place].count(column)
        placed.append((COLUMN * column + COLUMN / 2, height - DOT - 1 - 2 * DOT * below))
    return DotsPicture(COLUMN * (max(columns, default=0) + 1), height, DOT - 1, tuple(placed))
