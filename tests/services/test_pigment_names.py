"""Pigments read as painters write them. Colour Index names are those of the Colour Index; no other source is needed."""

import pytest

from server.science.reference import pigments
from server.services import pigment_names
from server.services.pigment_names import Unclear


@pytest.mark.parametrize(
    ("written", "key"),
    [
        ("PW6", "PW6"),
        ("pw 6", "PW6"),
        ("PBK9", "PBk9"),
        ("PW18:1", "PW18:1"),
        ("PW6 titanium white", "PW6"),
        ("titanium white", "PW6"),
        ("Flake White", "PW1"),
        ("ultramarine blue", "PB29"),
        ("PB29 ultramarine blue (artificial)", "PB29"),
        ("PBr7 raw umber", "PBr7/raw umber"),
        ("pbr7/Burnt Sienna", "PBr7/burnt sienna"),
        ("burnt umber", "PBr7/burnt umber"),
        ("NR9", "NR9"),
    ],
)
def test_a_pigment_is_found_by_what_stands_on_a_tube(written: str, key: str) -> None:
    assert pigment_names.read(written).key == key


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("PBr7", "PBr7 raw umber, PBr7 burnt umber, PBr7 raw sienna or PBr7 burnt sienna"),
        ("PBr7 umber", "PBr7 is several pigments"),
        ("PW99", "PW99 is not in the table"),
        ("cadmium yellow", "PY35 cadmium yellow or PY37"),
        ("ochre", "Did you mean"),
        ("mud", "not in the table"),
        ("", "not in the table"),
        ("PW", "not in the table"),
        ("'; drop table paint", "not in the table"),
    ],
)
def test_what_is_unclear_is_said_with_what_would_do(written: str, told: str) -> None:
    with pytest.raises(Unclear, match=told):
        pigment_names.read(written)


def test_every_suggestion_is_read_back_as_a_pigment_of_its_name() -> None:
    for text in pigment_names.suggestions():
        assert text.startswith(pigment_names.read(text).ci_name)


def test_every_pigment_can_be_chosen_and_is_written_as_it_is_read() -> None:
    keys = {pigment_names.read(choice.text).key for choice in pigment_names.choices()}
    assert keys == {pigment.key for pigment in pigments()}
    for choice in pigment_names.choices():
        assert pigment_names.text_of(choice.ci_name, choice.variant) == choice.text


def test_a_pigment_that_left_the_table_is_still_named() -> None:
    assert pigment_names.text_of("PX1", "old") == "PX1 old"
