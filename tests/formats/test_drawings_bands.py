"""The small section of a stack. Basis: derived."""

import pytest

from server.formats.drawings_bands import THICKEST, THINNEST, BandLayer, bands_drawing

GLAZE = BandLayer("glaze", "#804000", 10.0)
LOW = BandLayer("underpainting", "#888888", 40.0)
THICK = BandLayer("impasto", "#ffffff", 1500.0)


def test_the_lowest_layer_lies_at_the_bottom_and_bands_do_not_overlap():
    drawn = bands_drawing([LOW, THICK, GLAZE])
    assert [band.colour for band in drawn.bands] == ["#804000", "#ffffff", "#888888"]
    for upper, lower in zip(drawn.bands, drawn.bands[1:], strict=False):
        assert upper.y + upper.height < lower.y
    last = drawn.bands[-1]
    assert last.y + last.height == pytest.approx(drawn.height, abs=0.11)


def test_thicker_is_drawn_thicker_within_bounds():
    heights = [bands_drawing([BandLayer("x", "#000000", um)]).bands[0].height for um in (1, 5, 20, 100, 900, 9000)]
    assert heights == sorted(heights)
    assert (heights[0], heights[-1]) == (THINNEST, THICKEST)


def test_it_is_told_in_words_from_the_ground_up():
    assert bands_drawing([LOW, GLAZE]).desc == "From the ground up: underpainting 40 µm wet, glaze 10 µm wet."
    assert bands_drawing([]).bands == ()
