"""What was promised and what was pressed, layer by layer, on one axis of days.

The axis is logarithmic: half as long and twice as long are equally far from a day. A bar is what was promised eight
times in ten; marks above it are presses that found the film soft, marks below those that found it dry.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import log

WIDTH = 640.0
LEFT, RIGHT = 8.0, 8.0
ROW = 26.0
TOP = 22.0
BAR = 8.0
MARK = 5.0
TICKS = (0.25, 0.5, 1.0, 2.0, 4.0, 7.0, 14.0, 28.0, 60.0, 120.0, 240.0, 480.0)


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
class Tick:
    x: float
    words: str


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
    low, high = log(max(min(days), 0.1)) - 0.1, log(max(days)) + 0.1

    def x_of(day: float) -> float:
        share = (log(max(day, 0.1)) - low) / (high - low)
        return round(LEFT + min(1.0, max(0.0, share)) * (WIDTH - LEFT - RIGHT), 1)

    bars = tuple(_bar(layer, TOP + ROW * i + ROW / 2, x_of) for i, layer in enumerate(layers))
    ticks = tuple(Tick(x_of(day), f"{day:g}") for day in TICKS if low <= log(day) <= high)
    return PromisesPicture(WIDTH, TOP + ROW * len(layers) + 6, BAR, ticks, bars)


def _bar(layer: PromisedLayer, y: float, x_of: Callable[[float], float]) -> Bar:
    x = x_of(layer.low_d)
    marks = tuple(_mark(press, y, x_of(press[0])) for press in layer.presses)
    return Bar(x, round(y - BAR / 2, 1), round(max(2.0, x_of(layer.high_d) - x), 1), x_of(layer.middle_d), marks)


def _mark(press: tuple[float, bool, bool], y: float, x: float) -> Mark:
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
