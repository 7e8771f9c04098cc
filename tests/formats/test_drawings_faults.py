"""The small drawings of what goes wrong: within the picture, told in words, one for every fault."""

import re

import pytest

from server.formats.drawings_faults import FaultDrawing, fault_drawing
from server.science.soundness import RULES, Fault

COLOUR = re.compile(r"#[0-9a-f]{6}")
LETTER = 6.7  # about the width of a letter of the labels' 14 px type: our measure, no source


def corners(path: str) -> list[tuple[float, float]]:
    """The corners of an absolute path of M, L, H and V; of a circle the point that it starts from."""
    found: list[tuple[float, float]] = []
    for letter, first, second in re.findall(r"([MLHV])(-?[\d.]+)(?: (-?[\d.]+))?", path):
        value = float(first)
        found.append(
            (value, float(second)) if second else (value, found[-1][1]) if letter == "H" else (found[-1][0], value)
        )
    return found


@pytest.fixture(params=list(Fault), ids=lambda fault: fault.value)
def drawing(request: pytest.FixtureRequest) -> FaultDrawing:
    return fault_drawing(request.param)


def test_everything_is_within_the_picture(drawing: FaultDrawing) -> None:
    for shape in drawing.shapes:
        points = corners(shape.path)
        assert points and shape.path.startswith("M"), shape
        for x, y in points:
            assert 0 <= x <= drawing.width and 0 <= y <= drawing.height, shape
        assert "nan" not in shape.path and "inf" not in shape.path


def test_it_says_what_it_shows(drawing: FaultDrawing) -> None:
    assert drawing.title[0].isupper() and drawing.desc.endswith(".")
    assert len(drawing.labels) >= 3
    for label in drawing.labels:
        assert label.x + len(label.text) * LETTER <= drawing.width + 0.01, label.text
        assert 14 <= label.y <= drawing.height - 4
        assert len(corners(label.leader)) == 3


def test_films_and_grains_have_colours_of_their_own_and_lines_have_the_page_s(drawing: FaultDrawing) -> None:
    for shape in drawing.shapes:
        assert shape.kind in {"film", "line", "crack", "arrow", "grain", "tool"}
        assert bool(COLOUR.fullmatch(shape.colour)) == (shape.kind in {"film", "grain"}), shape


def test_no_two_look_alike() -> None:
    drawings = [fault_drawing(fault) for fault in Fault]
    for name in ("title", "desc", "shapes", "labels"):
        assert len({getattr(drawing, name) for drawing in drawings}) == len(Fault), name


def test_the_same_fault_always_looks_the_same_and_every_rule_has_one() -> None:
    for rule in RULES:
        assert fault_drawing(rule.fault) == fault_drawing(rule.fault)
