"""Colours of mixes, for display only. No measured mixture stands behind the figures: these are checks of sense, and of
the mixing formula against its own limits (Kubelka and Munk, from memory)."""

import csv
import re
from importlib import resources

import pytest

from server.formats.swatch import OIL_ONLY, blend, mix_swatch, pigment_colour, pigments_swatch, to_hex, to_linear
from server.science.recipe import Addition, AdditionKind, MixRecipe, Paint, PigmentShare

WHITE, BLUE, YELLOW = PigmentShare("PW6", "rutile"), PigmentShare("PB29"), PigmentShare("PY37")


def data(name: str) -> list[dict[str, str]]:
    text = resources.files("server.science").joinpath(f"data/{name}").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def test_every_pigment_of_the_reference_has_a_colour():
    for row in data("pigments.csv"):
        assert pigment_colour(row["ci_name"], row["variant"] or None) is not None, row["ci_name"]


def test_the_table_is_well_formed():
    rows = data("pigment_colours.csv")
    assert len({(row["ci_name"], row["variant"]) for row in rows}) == len(rows)
    for row in rows:
        assert re.fullmatch("#[0-9a-f]{6}", row["masstone"])
        assert 0 < float(row["scatter"]) <= 1
        assert row["tint"]


@pytest.mark.parametrize("row", data("pigment_colours.csv"), ids=lambda row: row["ci_name"] + row["variant"])
def test_a_pigment_alone_looks_like_its_masstone(row):
    seen = to_linear(pigments_swatch([(PigmentShare(row["ci_name"], row["variant"] or None), 1)]))
    assert seen == pytest.approx(to_linear(row["masstone"]), abs=0.01)


def test_more_white_is_lighter_and_the_hue_stays():
    tints = [to_linear(pigments_swatch([(BLUE, 1), (WHITE, parts)])) for parts in (0, 0.5, 2, 8, 50)]
    assert [sum(tint) for tint in tints] == sorted(sum(tint) for tint in tints)
    assert all(blue > red for red, _, blue in tints)


def test_yellow_and_blue_make_a_green():
    red, green, blue = to_linear(pigments_swatch([(YELLOW, 1), (BLUE, 1)]))
    assert green > red
    assert green > blue


def test_a_mix_counts_its_parts_and_not_its_oil():
    umber = (PigmentShare("PBr7", "raw umber"),)
    paints = (Paint(2, "linseed", umber), Paint(1, "linseed", (WHITE,)))
    plain = mix_swatch(MixRecipe("grey", 1.0, paints))
    oiled = mix_swatch(MixRecipe("grey", 1.0, paints, (Addition(AdditionKind.OIL, 1.0, oil="linseed"),)))
    assert plain == oiled == pigments_swatch([(umber[0], 2), (WHITE, 1)])


def test_no_paint_and_unknown_paint():
    assert mix_swatch(MixRecipe("medium", 1.0, ())) == OIL_ONLY
    assert re.fullmatch("#[0-9a-f]{6}", pigments_swatch([(PigmentShare("PX999"), 1)]))
    assert pigment_colour("PX999") is None


def test_blending_has_its_ends():
    assert blend("#123456", "#fedcba", 0) == "#123456"
    assert blend("#123456", "#fedcba", 1) == "#fedcba"
    assert to_hex((2, -1, 0)) == "#ff0000"
