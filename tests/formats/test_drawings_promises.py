"""Promised bars with their presses, and dots that can be counted: geometry only."""

import pytest

from server.formats.drawings_promises import PromisedLayer, dots_picture, promises_picture


def test_twice_as_long_is_as_far_as_half_as_long():
    picture = promises_picture([PromisedLayer(2.0, 4.0, 8.0, ((3.0, True, False), (6.0, False, False)))])
    [bar] = picture.bars
    assert bar.middle_x - bar.x == pytest.approx(bar.x + bar.width - bar.middle_x, abs=0.2)
    assert [mark.kind for mark in bar.marks] == ["soft", "dry"]
    assert 0 < bar.x < bar.x + bar.width < picture.width


def test_marks_of_soft_presses_stand_above_and_of_dry_ones_below():
    doubtful = (5.0, False, True)
    picture = promises_picture([PromisedLayer(2.0, 4.0, 8.0, ((3.0, True, False), doubtful))])
    soft, odd = picture.bars[0].marks
    tips = [float(mark.path.split("L")[0].split()[1]) for mark in (soft, odd)]
    assert tips[0] < tips[1]
    assert odd.kind == "doubtful"


def test_rows_follow_each_other_and_ticks_lie_within():
    layer = PromisedLayer(0.5, 1.0, 40.0, ())
    picture = promises_picture([layer] * 3)
    assert [bar.y for bar in picture.bars] == sorted(bar.y for bar in picture.bars)
    assert picture.bars[-1].y + picture.bar_height < picture.height
    assert all(0 <= tick.x <= picture.width for tick in picture.ticks)
    with pytest.raises(ValueError, match="no layers"):
        promises_picture([])


def test_dots_stack_from_the_floor_up():
    picture = dots_picture([0, 0, 2])
    (x0, y0), (x1, y1), (x2, y2) = picture.dots
    assert x0 == x1 < x2
    assert y1 < y0 == y2 < picture.height
