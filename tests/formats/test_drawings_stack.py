"""The drawing of when each layer can go on. Basis: derived, the geometry against its own numbers."""

from datetime import date
from itertools import pairwise

from server.formats.drawings_stack import LEFT, RIGHT, StackRow, stack_drawing

START = date(2026, 11, 25)
ROWS = [
    StackRow("underpainting", "#aaaaaa", (0.0, 0.0, 0.0), "sound"),
    StackRow("second painting of the whole", "#bbbbbb", (6.0, 10.0, 14.0), "caution"),
    StackRow("glaze", "#cccccc", None, "", is_new=False),
]


def test_bars_run_along_the_days_and_the_lowest_layer_lies_lowest():
    drawn = stack_drawing(ROWS, START, 20.0)
    top, middle, bottom = drawn.rows
    assert top.y < middle.y < bottom.y < drawn.floor_y
    scale = (RIGHT - LEFT) / (20.0 * 1.03)
    assert abs(middle.bar_x - (LEFT + 6.0 * scale)) < 0.1 and abs(middle.bar_width - 8.0 * scale) < 0.1
    assert middle.mark_x is not None and abs(middle.mark_x - (LEFT + 10.0 * scale)) < 0.1
    assert bottom.bar_width > 0.0 and bottom.bar_x == LEFT
    assert top.mark_x is None and not top.is_new
    assert middle.label.endswith("…") and len(middle.label) == 16
    assert drawn.finish_x is not None and drawn.finish_x < RIGHT


def test_days_are_marked_from_today_on_without_crowding():
    for finish in (0.2, 3.0, 20.0, 90.0, 400.0, 3000.0):
        ticks = stack_drawing(ROWS[:1], START, finish).ticks
        assert 1 <= len(ticks) <= 6
        assert ticks[0].x == LEFT and ticks[0].words.startswith(("25 Nov", "Nov"))
        assert all(later.x - earlier.x > 40.0 for earlier, later in pairwise(ticks))


def test_it_is_told_in_words_as_well():
    told = stack_drawing(ROWS, START, None).desc
    assert "underpainting: between 25 November and 25 November" in told
    assert "between 01 December and 09 December, likely enough by 05 December 2026" in told
    assert told.endswith("glaze: not known.")
    assert stack_drawing((), START, None).rows == ()
