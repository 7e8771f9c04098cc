"""A plan before it is taken: a row a panel, a brush stroke for each sitting on its day, and what moves from where.

Days are whole days from today; what lies before today stands at the left edge. Lengths are units of the viewbox.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from server.formats.drawings import number, polygon

WIDTH = 344.0
LEFT, RIGHT = 10.0, 334.0
HEAD, ROW = 22.0, 52.0
TITLE, LANE = 14.0, 38.0  # of a row: where its title stands, and the middle of its lane
STROKE, HALF = 8.0, 3.5  # of a brush stroke: half its height, half its width
DIAMOND = 5.5  # half its width
MONTH_ROOM = 44.0  # for the name of a month
LEAST_DAYS, SPARE_DAYS = 14, 2  # shown at least, and after the last that is told
LONGEST_TITLE = 40  # letters

Kind = Literal["stays", "moves", "new", "gone"]


@dataclass(frozen=True, slots=True)
class PlannedStroke:
    """A sitting: the day it is to be on; ``was``: the one it stands on. ``gone``: it stands on ``day``, and no more."""

    kind: Kind
    day: int
    words: str
    was: int | None = None


@dataclass(frozen=True, slots=True)
class PlannedRow:
    """A panel: its sittings, the day from which it can be delivered then and now, and its date."""

    title: str
    strokes: tuple[PlannedStroke, ...]
    finish: int | None = None
    finish_was: int | None = None
    due: int | None = None
    words: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A shape; ``kind``: stays, moves, new, was, gone, finish, finish_was."""

    kind: str
    path: str
    words: str = ""


@dataclass(frozen=True, slots=True)
class DrawnRow:
    """A row laid out: ``words`` read it out, ``due_kind`` is due, at_risk, or "" without a date."""

    title: str
    words: str
    title_y: float
    lane_y: float
    marks: tuple[Mark, ...]
    arrows: str
    due_x: float | None
    due_kind: str


@dataclass(frozen=True, slots=True)
class MonthTick:
    """Where a month begins; ``words`` "" where its name has no room."""

    x: float
    words: str


@dataclass(frozen=True, slots=True)
class PlanDrawing:
    """``today_x``: the left end. ``kinds``: those of its marks, and "due" or "at_risk" for the dates."""

    width: float
    height: float
    today_x: float
    foot_y: float
    months: tuple[MonthTick, ...]
    rows: tuple[DrawnRow, ...]
    kinds: frozenset[str]


def draw_plan(rows: Sequence[PlannedRow], today: date) -> PlanDrawing:
    """The picture of these panels, the first at the top. Raises ValueError for none."""
    if not rows:
        raise ValueError("no rows")
    days = max(LEAST_DAYS, max((day for row in rows for day in _days(row)), default=0) + SPARE_DAYS)
    scale = (RIGHT - LEFT) / days
    drawn = tuple(_row(row, HEAD + n * ROW, scale) for n, row in enumerate(rows))
    kinds = {mark.kind for row in drawn for mark in row.marks} | {row.due_kind for row in drawn if row.due_kind}
    height = HEAD + ROW * len(rows) + 4
    return PlanDrawing(WIDTH, height, LEFT, height - 4, _months(today, days, scale), drawn, frozenset(kinds))


def _days(row: PlannedRow) -> Iterable[int]:
    ends = (row.finish, row.finish_was, row.due)
    return [*(day for one in row.strokes for day in (one.day, one.was or 0)), *(day for day in ends if day is not None)]


def _row(row: PlannedRow, top: float, scale: float) -> DrawnRow:
    middle = top + LANE

    def x_of(day: int) -> float:
        return round(LEFT + max(0, day) * scale, 1)

    marks: list[Mark] = []
    arrows = []
    for one in sorted(row.strokes, key=lambda stroke: stroke.kind != "stays"):
        x = x_of(one.day)
        if one.was is not None and one.kind == "moves":
            was = x_of(one.was)
            marks.append(Mark("was", stroke_path(was, middle)))
            arrows.append(arrow_path(was, x, middle))
        marks.append(Mark(one.kind, stroke_path(x, middle), one.words))
        if one.kind == "gone":
            arrows.append(f"M{number(x - 5)} {number(middle - 5)}l10 10m0-10l-10 10")
    if row.finish_was is not None and row.finish_was != row.finish:
        marks.append(Mark("finish_was", diamond_path(x_of(row.finish_was), middle)))
    if row.finish is not None:
        marks.append(Mark("finish", diamond_path(x_of(row.finish), middle)))
    due_x = None if row.due is None else x_of(row.due)
    title = row.title if len(row.title) <= LONGEST_TITLE else f"{row.title[: LONGEST_TITLE - 1]}…"
    due_kind = "" if row.due is None else "at_risk" if row.finish is not None and row.finish > row.due else "due"
    return DrawnRow(title, row.words, top + TITLE, middle, tuple(marks), "".join(arrows), due_x, due_kind)


def stroke_path(x: float, middle: float) -> str:
    """A flat brush's stroke, a little aslant."""
    return polygon(
        [
            (x - HALF + 0.8, middle - STROKE),
            (x + HALF + 0.8, middle - STROKE),
            (x + HALF - 0.8, middle + STROKE),
            (x - HALF - 0.8, middle + STROKE),
        ]
    )


def diamond_path(x: float, middle: float) -> str:
    return polygon([(x, middle - DIAMOND), (x + DIAMOND, middle), (x, middle + DIAMOND), (x - DIAMOND, middle)])


def arrow_path(start: float, end: float, middle: float) -> str:
    """From one stroke over the lane to another; nothing where they touch."""
    if abs(end - start) <= 4 * HALF:
        return ""
    way, y = (1 if end > start else -1), middle - STROKE - 3
    tip = end - way * HALF
    barb = number(tip - way * 3.5)
    line = f"M{number(start)} {number(y)}H{number(tip)}"
    return f"{line}M{barb} {number(y - 3)}L{number(tip)} {number(y)}L{barb} {number(y + 3)}"


def _months(today: date, days: int, scale: float) -> tuple[MonthTick, ...]:
    """Where months begin, named as far as there is room for names; the first name is that of today's own month."""
    firsts = [0, *(n for n in range(1, days + 1) if (today + timedelta(n)).day == 1)]
    ends = [*firsts[1:], days]
    ticks: list[MonthTick] = []
    free_from = LEFT
    for day, end in zip(firsts, ends, strict=True):
        x = round(LEFT + day * scale, 1)
        has_room = x >= free_from and (day > 0 or (end - day) * scale >= MONTH_ROOM) and x <= RIGHT - MONTH_ROOM
        if has_room:
            free_from = x + MONTH_ROOM
        ticks.append(MonthTick(x, f"{today + timedelta(day):%b}" if has_room else ""))
    return tuple(ticks)
