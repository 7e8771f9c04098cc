"""Kinds of hazards. What each pigment holds is in its Colour Index constitution; the words are common practice."""

import pytest

from server.science.recipe import Addition, AdditionKind, MixRecipe, Paint, PigmentShare
from server.science.reference import pigments
from server.services import hazards


@pytest.mark.parametrize(
    ("ci_name", "variant", "kinds"),
    [
        ("PW1", None, ("lead",)),  # basic lead carbonate
        ("PY34", None, ("lead", "chromate")),  # lead chromate
        ("PY31", None, ("chromate",)),  # barium chromate
        ("PR108", None, ("cadmium",)),
        ("PR106", None, ("mercury",)),  # mercuric sulphide
        ("PB28", None, ("cobalt",)),  # cobalt aluminate
        ("PG50", None, ("cobalt", "nickel")),
        ("PBr7", "raw umber", ("manganese",)),
        ("PBr7", "burnt sienna", ()),
        ("PG18", None, ("dust",)),  # chromium III, which is no chromate
        ("PB29", None, ()),
        ("PX1", None, ()),
        ("PBr7", None, ()),
    ],
)
def test_a_pigment_names_its_kinds(ci_name: str, variant: str | None, kinds: tuple[str, ...]) -> None:
    assert hazards.kinds_of_pigment(ci_name, variant) == kinds


def test_every_note_of_the_table_that_names_something_is_told() -> None:
    for pigment in pigments():
        note = pigment.hazard.casefold()
        kinds = hazards.kinds_of_note(pigment.hazard)
        for kind in ("lead", "cadmium", "cobalt", "mercury", "manganese", "nickel"):
            assert (kind in note) == (kind in kinds), pigment.key
        assert kinds or note.startswith("none notable"), pigment.key


def test_a_mix_calls_for_every_caution_in_it() -> None:
    mix = MixRecipe(
        "all",
        1.0,
        (Paint(1.0, "linseed", (PigmentShare("PW1", None, 0.5), PigmentShare("PR108", None, 0.5))),),
        (
            Addition(AdditionKind.SOLVENT, 1.0, solvent="gum_turpentine"),
            Addition(AdditionKind.DRIER, metal="Co", percent_on_oil=0.05),
        ),
    )
    assert hazards.kinds_of_mix(mix) == ("lead", "cadmium", "cobalt", "rags", "solvent")


@pytest.mark.parametrize(
    ("addition", "kinds"),
    [
        (Addition(AdditionKind.OIL, 1.0, oil="walnut"), ("rags",)),
        (Addition(AdditionKind.OIL, 1.0, oil="boiled_linseed"), ("lead", "rags")),  # boiled on lead
        (Addition(AdditionKind.ALKYD_MEDIUM, 1.0, non_volatile=0.5), ("rags", "solvent")),
        (Addition(AdditionKind.DRIER, metal="Pb", percent_on_oil=0.3), ("lead", "rags")),
        (Addition(AdditionKind.DRIER, metal="Mn", percent_on_oil=0.1), ("rags",)),
        (Addition(AdditionKind.WAX, 1.0), ()),
    ],
)
def test_an_addition_calls_for_its_cautions(addition: Addition, kinds: tuple[str, ...]) -> None:
    assert hazards.kinds_of_mix(MixRecipe("one", 1.0, (), (addition,))) == kinds


def test_every_kind_has_its_word_and_its_place() -> None:
    for found in hazards.HAZARDS:
        assert hazards.hazard(found.kind) == found
        assert found.word
        assert found.anchor
