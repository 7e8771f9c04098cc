"""The drying year of a place as plain geometry: twelve bars as high as its speed, and the reference as a line."""

from collections.abc import Sequence
from dataclasses import dataclass

WIDTH, HEIGHT = 312, 132
TOP, FLOOR = 14.0, 108.0
STEP, BAR = 26.0, 18.0
INITIALS = "JFMAMJJASOND"
LEAST_TOP = 1.25  # so that the reference line is always inside


@dataclass(frozen=True, slots=True)
class YearBar:
    """One month: ``path`` of its bar, ``label_x`` of its initial; ``mark`` over the month of the day shown, else ""."""

    path: str
    label: str
    label_x: float
    is_now: bool
    mark: str


@dataclass(frozen=True, slots=True)
class YearDrawing:
    """``reference_y``: where a speed of 1 lies. ``desc`` says the year in words."""

    width: int
    height: int
    bars: tuple[YearBar, ...]
    reference_y: float
    floor_y: float
    desc: str


def year_drawing(speeds: Sequence[float], this_month: int) -> YearDrawing:
    """A drawing of twelve monthly speeds (1 is the reference room); ``this_month`` 1 to 12."""
    most = max(LEAST_TOP, *speeds)
    scale = (FLOOR - TOP) / most
    bars = tuple(_bar(number, speed * scale, number == this_month - 1) for number, speed in enumerate(speeds))
    slowest, fastest = min(speeds), max(speeds)
    desc = f"Drying speed by month, from {slowest:.2g} to {fastest:.2g} of the reference room."
    return YearDrawing(WIDTH, HEIGHT, bars, round(FLOOR - scale, 1), FLOOR, desc)


def _bar(number: int, height: float, is_now: bool) -> YearBar:
    x = number * STEP + (STEP - BAR) / 2
    path = f"M{x:g} {FLOOR:g}V{FLOOR - height:.1f}h{BAR:g}V{FLOOR:g}z"
    mark = f"M{x + BAR / 2:g} {FLOOR - height - 3:.1f}l5-8h-10z" if is_now else ""
    return YearBar(path, INITIALS[number], x + BAR / 2, is_now, mark)
