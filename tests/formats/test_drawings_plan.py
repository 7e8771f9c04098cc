"""The picture of a plan: what moves is drawn where it stood and where it goes, and nothing leaves the drawing.

Days and places are derived by hand from the width of the drawing.
"""

import re
from datetime import date
from itertools import pairwise

import pytest

from server.formats.drawings_plan import LEAST_DAYS, LEFT, RIGHT, PlanDrawing, PlannedRow, PlannedStroke, draw_plan

TODAY = date(2026, 11, 2)  # invented


def drawn(*strokes: PlannedStroke, **ends: int | None) -> PlanDrawing:
    return draw_plan([PlannedRow("Quince and jug", strokes, **ends)], TODAY)  # type: ignore[arg-type]


def numbers(path: str) -> list[float]:
    return [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", path)]


def middle_x(path: str) -> float:
    xs = [float(n) for n in re.findall(r"[MLH](-?\d+(?:\.\d+)?)", path)]
    return (min(xs) + max(xs)) / 2


def test_what_moves_stands_at_both_days_with_an_arrow_that_points_its_way() -> None:
    for day, was in ((12, 3), (3, 12)):
        [row] = drawn(PlannedStroke("moves", day, "glaze", was), finish=18).rows
        at = {mark.kind: middle_x(mark.path) for mark in row.marks}
        assert (at["moves"] > at["was"]) == (day > was)
        line, head = row.arrows.split("M")[1:]
        start, _, tip = numbers(line)
        assert (tip > start) == (day > was)
        assert numbers(head)[2] == tip


def test_days_are_even_from_today_to_the_last_that_is_told() -> None:
    [row] = drawn(PlannedStroke("stays", 0, "glaze"), PlannedStroke("stays", 10, "detail"), finish=20, due=18).rows
    xs = sorted(middle_x(mark.path) for mark in row.marks)
    a_day = (RIGHT - LEFT) / 22
    assert xs == pytest.approx([LEFT, LEFT + 10 * a_day, LEFT + 20 * a_day], abs=0.1)
    assert row.due_x == pytest.approx(LEFT + 18 * a_day, abs=0.1) and row.due_kind == "at_risk"


def test_a_day_before_today_stands_at_the_edge_and_a_short_plan_still_has_room() -> None:
    drawing = drawn(PlannedStroke("gone", -30, "glaze"), finish_was=1, finish=2, due=2)
    [row] = drawing.rows
    assert middle_x(row.marks[0].path) == pytest.approx(LEFT, abs=0.1)
    assert middle_x(row.marks[-1].path) == pytest.approx(LEFT + 2 * (RIGHT - LEFT) / LEAST_DAYS, abs=0.1)
    assert drawing.kinds == {"gone", "finish", "finish_was", "due"}


def test_what_can_be_delivered_on_the_same_day_is_drawn_once() -> None:
    assert {mark.kind for mark in drawn(PlannedStroke("stays", 1, "glaze"), finish=9, finish_was=9).rows[0].marks} == {
        "stays",
        "finish",
    }


@pytest.mark.parametrize("last", [5, 40, 200, 900])
def test_names_of_months_do_not_run_into_each_other(last: int) -> None:
    named = [tick.x for tick in drawn(PlannedStroke("stays", last, "glaze")).months if tick.words]
    assert named and all(b - a >= 40 for a, b in pairwise(named)) and named[-1] <= RIGHT - 40


def test_nothing_to_draw_is_an_error() -> None:
    with pytest.raises(ValueError, match="no rows"):
        draw_plan([], TODAY)
