"""One layer's stages by the book and by the studio's own learning: two bars a stage on one axis of days.

The bars are what holds eight times in ten, the thin line in each its middle. The book's bar is hollow, the studio's
full, and each has its word beside it. Presses stand at the studio's bar of dry-to-touch, soft ones above, dry ones
below.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from server.formats.days_axis import DaysAxis, Tick
from server.formats.drawings_promises import Mark, press_mark
from server.science.results import Stage, StageRange

WIDTH = 344.0
LEFT, RIGHT = 44.0, 8.0
TOP = 22.0
TITLE, ROW, GAP = 16.0, 16.0, 10.0
BAR = 8.0
SHOWN = (Stage.SET_TO_TOUCH, Stage.DRY_TO_TOUCH, Stage.DRY_TO_RECOAT, Stage.DRY_THROUGH)


@dataclass(frozen=True, slots=True)
class BesideBar:
    """``is_book``: whose it is; ``text_y`` where its word stands; ``middle_x`` is its middle."""

    is_book: bool
    x: float
    y: float
    width: float
    middle_x: float
    text_y: float


@dataclass(frozen=True, slots=True)
class BesideStage:
    """One stage: where its name stands, its bars and the presses."""

    stage: Stage
    text_y: float
    bars: tuple[BesideBar, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class BesidePicture:
    width: float
    height: float
    bar_height: float
    ticks: tuple[Tick, ...]
    stages: tuple[BesideStage, ...]


def beside_picture(
    book: Mapping[Stage, StageRange], yours: Mapping[Stage, StageRange], presses: Sequence[tuple[float, bool]]
) -> BesidePicture | None:
    """Ranges in days after painting, presses as (day, soft); None where neither has a range."""
    shown = [stage for stage in SHOWN if stage in book and stage in yours]
    if not shown:
        return None
    ranges = [found[stage] for stage in shown for found in (book, yours)]
    days = [day for found in ranges for day in (found.p10_d, found.p90_d)]
    axis = DaysAxis.over([*days, *(day for day, _ in presses)], LEFT, WIDTH - RIGHT)
    stages, y = [], TOP
    for stage in shown:
        middles = y + TITLE + ROW / 2, y + TITLE + ROW * 1.5
        bars = (_bar(book[stage], middles[0], axis, True), _bar(yours[stage], middles[1], axis, False))
        marks: tuple[Mark, ...] = ()
        if stage is Stage.DRY_TO_TOUCH:
            marks = tuple(press_mark((day, soft, False), middles[1], axis.x_of(day)) for day, soft in presses)
        stages.append(BesideStage(stage, y + TITLE - 4, bars, marks))
        y += TITLE + 2 * ROW + GAP
    return BesidePicture(WIDTH, y, BAR, axis.ticks(), tuple(stages))


def _bar(found: StageRange, middle: float, axis: DaysAxis, is_book: bool) -> BesideBar:
    x = axis.x_of(found.p10_d)
    width = round(max(2.0, axis.x_of(found.p90_d) - x), 1)
    return BesideBar(is_book, x, middle - BAR / 2, width, axis.x_of(found.p50_d), middle + 4)
