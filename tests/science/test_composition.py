"""What a mix is made of, against published densities and formulas."""

import csv
from math import inf
from pathlib import Path

import pytest

from server.science.composition import (
    amounts,
    compose,
    critical_pvc,
    drying_index,
    film_thickness_um,
    ingredient_ml,
    iodine_value,
    max_mass_gain_pct,
    mix_facts,
    needed_ml,
)
from server.science.errors import InputError
from server.science.recipe import Addition, AdditionKind, Ground, MixRecipe
from server.science.reference import find_pigment, oil, oils
from tests.science import layers as make

WATER_LB_PER_US_GAL = 8.345  # at 60 F, taken for the table
OIL_DENSITY = 0.934  # g/ml, raw linseed, taken for the table

with (Path(__file__).parent / "data" / "paint_density_checks.csv").open(newline="", encoding="utf-8") as handle:
    DENSITY_ROWS = list(csv.DictReader(handle))


@pytest.mark.parametrize("row", DENSITY_ROWS, ids=lambda row: row["pigment"])
def test_measured_paint_density(row: dict[str, str]):
    """Gardner 1911: pounds of pigment ground into a US gallon of linseed oil, and the paint's measured density."""
    densities = [float(part) for part in row["pigment_sg"].split("+")]
    pounds = [float(part) for part in row["lb_pigment_per_us_gal_oil"].split("+")]
    oil_lb = OIL_DENSITY * WATER_LB_PER_US_GAL
    volumes = [lb / (density * WATER_LB_PER_US_GAL) for lb, density in zip(pounds, densities, strict=True)]
    whole_oil, share = 1.0, 1 / sum(volumes)  # a gallon of oil over pigments by their volume
    paints = []
    for density, lb, volume in zip(densities, pounds, volumes, strict=True):
        oil_gal = whole_oil * volume * share
        own = {"density_g_cm3": density, "paint_oil_g_per_100g": 100 * oil_gal * oil_lb / lb}
        paints.append(make.paint(volume + oil_gal, "PW6", own=own))
    got = compose(make.mix(*paints), 50.0, Ground.SEALED)
    assert got.density_g_cm3 == pytest.approx(float(row["measured_paint_sg"]), rel=0.06)


def test_density_table_is_whole():
    assert len(DENSITY_ROWS) == 14


def test_critical_pvc_of_the_worked_example():
    """Lewarchik 2014: rutile, oil absorption 20, density 4.2."""
    assert critical_pvc(20.0, 4.2) == pytest.approx(0.527, abs=0.0005)


def test_critical_pvc_of_a_mixture_with_one_pigment_is_the_single_formula():
    mixed = critical_pvc({"PW6": 20.0}, {"PW6": 4.2}, {"PW6": 1.0})
    assert mixed == pytest.approx(critical_pvc(20.0, 4.2), rel=1e-12)
    split = critical_pvc({"a": 20.0, "b": 20.0}, {"a": 4.2, "b": 4.2}, {"a": 0.3, "b": 0.7})
    assert split == pytest.approx(mixed, rel=1e-12)


def test_critical_pvc_wants_both_figures_alike():
    with pytest.raises(InputError):
        critical_pvc({"PW6": 20.0}, 4.2)


def test_one_pigment_in_two_paints_is_one_pigment():
    one = compose(make.mix(make.paint(3, "PB29")), 50.0, Ground.SEALED)
    two = compose(make.mix(make.paint(1, "PB29"), make.paint(2, "PB29")), 50.0, Ground.SEALED)
    assert two.critical_pvc == pytest.approx(one.critical_pvc, rel=1e-12)
    assert two.pigment_volume_concentration == pytest.approx(one.pigment_volume_concentration, rel=1e-12)
    assert two.density_g_cm3 == pytest.approx(one.density_g_cm3, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "calculated"),
    [("linseed", 187.7), ("walnut", 153.4), ("poppy", 140.3), ("sunflower", 128.3), ("perilla", 202.3)],
)
def test_iodine_value_from_fatty_acids(name: str, calculated: float):
    """AOCS Cd 1c-85, triglycerides; the compositions are the table's."""
    row = oil(name)
    acids = {"18:1": row.c18_1_pct or 0.0, "18:2": row.c18_2_pct or 0.0, "18:3": row.c18_3_pct or 0.0}
    assert iodine_value(acids) == pytest.approx(calculated, abs=0.06)


@pytest.mark.parametrize(
    ("acid", "iodine"),
    [("16:1", 95.0), ("18:1", 86.0), ("18:2", 173.2), ("18:3", 261.6), ("20:1", 78.5), ("22:1", 72.3)],
)
def test_iodine_value_of_pure_triglycerides(acid: str, iodine: float):
    """AOCS Cd 1c-85, the method's own factors for a hundred per cent of one acid."""
    assert iodine_value({acid: 100.0, "18:0": 5.0}) == pytest.approx(iodine)


def test_iodine_factors_follow_from_molar_masses():
    """Two iodine atoms for each double bond of the triglyceride: 3 n x 253.81 / M; molar masses of C, H, O and I."""
    for carbons, bonds, factor in [(16, 1, 0.950), (18, 1, 0.860), (18, 2, 1.732), (18, 3, 2.616), (20, 1, 0.785)]:
        acid = carbons * 12.011 + (2 * carbons - 2 * bonds) * 1.008 + 2 * 15.999
        triglyceride = 3 * acid + 92.094 - 3 * 18.015
        assert 3 * bonds * 253.81 / triglyceride == pytest.approx(factor, rel=0.002)


def test_drying_index_of_the_table_follows_from_its_fatty_acids():
    for row in oils():
        if row.c18_2_pct is not None and row.c18_3_pct is not None:
            assert drying_index({"18:2": row.c18_2_pct, "18:3": row.c18_3_pct}) == pytest.approx(
                row.drying_index, abs=0.3
            )


def test_mass_gain_of_raw_linseed():
    """Gardner 1911, tables I to XV: 12.4 to 14.5 per cent."""
    assert 12.4 <= max_mass_gain_pct(180.0) <= 14.5


@pytest.mark.parametrize(
    ("key", "oil_g", "binder_pct", "density"),
    [
        ("PW1", 16.0, 54, 3.61),
        ("PW1", 15.0, 52, 3.70),
        ("PW4", 23.0, 58, 2.90),
        ("PB29", 34.0, 46, 1.69),
        ("PG18", 56.0, 67, 1.73),
        ("PBk9", 88.0, 68, 1.36),
        ("PBr7/raw umber", 97.0, 77, 1.45),
        ("PBr7/burnt sienna", 138.0, 84, 1.35),
    ],
)
def test_binder_volume_from_a_colour_grinders_figures(key: str, oil_g: float, binder_pct: float, density: float):
    """Oil per 100 g: Church 1901, two colour grinders; density of pigment: Gettens & Stout; oil taken as 0.93 there."""
    gravity = {"PW1": 6.70, "PW4": 5.65, "PB29": 2.34, "PG18": 3.32, "PBk9": 2.29}
    own = {"paint_oil_g_per_100g": oil_g, "density_g_cm3": gravity.get(key, find_pigment(*_named(key)).density_g_cm3)}
    got = compose(make.mix(make.paint(10, key, own=own)), 50.0, Ground.SEALED)
    assert 100 * got.binder_volume_fraction == pytest.approx(binder_pct, abs=1.0)
    assert got.density_g_cm3 == pytest.approx(density, rel=0.01)


def _named(key: str) -> tuple[str, str | None]:
    name, _, variant = key.partition("/")
    return name, variant or None


def test_weight_to_volume_of_white_lead():
    """25 g of white lead paint by the grinders' figures of Church 1901 take 6.8 to 6.9 ml."""
    volumes = []
    for oil_g in (15.0, 16.0):
        own = {"paint_oil_g_per_100g": oil_g, "density_g_cm3": 6.70}
        volumes.append(25 / compose(make.mix(make.paint(1, "PW1", own=own)), 50.0, Ground.SEALED).density_g_cm3)
    assert volumes == pytest.approx([6.8, 6.9], abs=0.1)


@pytest.mark.parametrize(
    ("additions", "richness", "added", "solvent"),
    [
        ((), 1.0, 0.0, 0.0),
        ((make.oil(2),), 1.2, 1 / 6, 0.0),
        ((make.oil(1), make.solvent(1)), 1.1, 1 / 11, 1 / 12),
        ((make.alkyd(2, 0.5),), 1.1, 1 / 11, 1 / 12),
        ((make.oil(6, "stand_linseed"),), 1.6, 0.375, 0.0),
        ((Addition(AdditionKind.INERT, 1.0),), 11 * 0.35 / 4.5, 0.0, 0.0),
    ],
)
def test_richness_of_ten_parts_of_tube_paint(
    additions: tuple[Addition, ...], richness: float, added: float, solvent: float
):
    """Worked by hand from the definitions of richness D, added binder share M and solvent share S. Derived."""
    got = compose(make.mix(make.paint(10, "PB29"), *additions), 50.0, Ground.SEALED)
    assert got.richness == pytest.approx(richness)
    assert got.added_binder_share == pytest.approx(added)
    assert got.solvent_share == pytest.approx(solvent)


def test_clear_oil_has_no_pigment_and_no_finite_richness():
    got = compose(make.mix(make.oil(1)), 30.0, Ground.SEALED)
    assert got.richness == inf
    assert got.pigment_volume_concentration == 0
    assert got.reduced_pvc == 0
    assert got.critical_pvc == 1
    assert got.density_g_cm3 == pytest.approx(OIL_DENSITY)
    assert got.film_thickness_um == pytest.approx(30.0)


def test_shares_of_volume_and_mass_add_up():
    recipe = make.mix(make.paint(5, "PW6", "PB29"), make.oil(1), make.solvent(2), make.alkyd(1))
    got = compose(recipe, 50.0, Ground.ACRYLIC)
    assert got.binder_volume_share + got.pigment_volume_share + got.solvent_share == pytest.approx(1)
    assert got.oil_mass_share + got.pigment_mass_share + got.solvent_mass_share == pytest.approx(1)
    held = amounts(got, 12.0)
    assert held.binder_ml + held.pigment_ml + held.solvent_ml == pytest.approx(12.0)
    mass = held.binder_g + held.pigment_g + held.solvent_g
    assert mass == pytest.approx(12.0 * got.density_g_cm3)


def test_amounts_of_ingredients():
    recipe = make.mix(
        make.paint(9, "PW6"), make.oil(1), make.drier("Pb", 0.3), Addition(AdditionKind.CLOVE_OIL, drops_per_10_ml=2)
    )
    paints, additions = ingredient_ml(recipe, 20.2)
    assert paints == pytest.approx((18.0,))
    assert additions == pytest.approx((2.0, 0.0, 0.2))  # two drops of a twentieth of a millilitre for each 10 ml


def test_millilitres_for_a_panel():
    """40 x 50 cm at 60 um: 12 ml net. Derived."""
    assert needed_ml(2000.0, 60.0, loss_factor=1.0) == pytest.approx(12.0)
    assert needed_ml(2000.0, 60.0, 0.5, 1.2) == pytest.approx(12.0 * 0.5 * 1.2 * 1.3)


def test_solvent_leaves_and_the_ground_drinks():
    assert film_thickness_um(30.0, 0.5, 0.1, 0.6) == pytest.approx(14.1)


def test_boiled_oil_brings_its_driers():
    facts = mix_facts(make.mix(make.oil(1), make.oil(1, "boiled_linseed")))
    assert dict(facts.metals) == pytest.approx({"Pb": 0.15, "Mn": 0.025})


def test_oils_are_weighted_by_volume():
    facts = mix_facts(make.mix(make.oil(3), make.oil(1, "stand_linseed")))
    assert facts.iodine_value == pytest.approx(0.75 * 180 + 0.25 * 102)
    assert facts.drying_index == pytest.approx(125.0)


def test_alkyd_counts_as_linseed_and_wax_as_nothing():
    wax = Addition(AdditionKind.WAX, 0.5)
    facts = mix_facts(make.mix(make.oil(1, "safflower"), make.alkyd(1, 1.0), wax))
    assert facts.iodine_value == pytest.approx((142 + 180) / 2)
    assert facts.wax_share == pytest.approx(0.48 / (2 * 0.934 + 0.48))


def test_chalk_counts_as_pigment():
    got = mix_facts(make.mix(make.paint(1, "PBk9"), Addition(AdditionKind.INERT, 1.0)))
    assert {key for key, _, _ in got.pigments} == {"PBk9", "PW18"}
    assert sum(share for _, share, _ in got.pigments) == pytest.approx(1)


@pytest.mark.parametrize(
    ("recipe", "path"),
    [
        (make.mix(), "paints"),
        (make.mix(make.solvent(1)), "paints"),
        (make.mix(make.paint(0, "PW6")), "paints.0.parts"),
        (make.mix(make.paint(1, "PW6"), make.paint(1, "PX99")), "paints.1.pigments.0.ci_name"),
        (make.mix(make.paint(1, "PBr7")), "paints.0.pigments.0.variant"),
        (make.mix(make.paint(1, "PW6", oil="olive")), "paints.0.oil"),
        (make.mix(make.paint(1)), "paints.0.pigments"),
        (make.mix(make.oil(1), make.solvent(1, "water")), "additions.1.solvent"),
        (make.mix(make.oil(-1)), "additions.0.parts"),
        (make.mix(make.oil(1), make.drier("Zn", 0.1)), "additions.1.metal"),
        (make.mix(make.oil(1), make.drier("Pb", 0.0)), "additions.1.percent_on_oil"),
        (make.mix(make.alkyd(1, 0.0)), "additions.0.non_volatile"),
        (make.mix(make.oil(1), Addition(AdditionKind.CLOVE_OIL)), "additions.1.drops_per_10_ml"),
        (make.mix(make.paint(float("nan"), "PW6")), "paints.0.parts"),
    ],
)
def test_bad_mix_names_its_field(recipe: MixRecipe, path: str):
    with pytest.raises(InputError) as caught:
        compose(recipe, 50.0, Ground.SEALED)
    assert caught.value.path == path
    assert caught.value.message
