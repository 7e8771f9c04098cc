"""The tables themselves: whole, in range, sourced, and in agreement with outside tables."""

import csv
import re

import pytest
from chemicals import MW, identifiers
from chemicals import volume as molar_volume

from server.science import reference
from server.science.errors import InputError
from server.science.recipe import Ground

LABELS = {"R", "2", "M", "D", "A"}
WORDS = {"published", "common practice", "from memory"}

# Pigments that are one chemical of the CRC Handbook's table of inorganic compounds, as the library `chemicals` keeps
# it: (pigment, CAS number, allowed difference). Wide where the pigment is a mixture of salts or not fully dense.
CRC_DENSITIES = [
    ("PW1", "1319-46-6", 0.05),
    ("PW4", "1314-13-2", 0.02),
    ("PW6", "1317-80-2", 0.02),
    ("PW18", "471-34-1", 0.03),
    ("PW22", "7727-43-7", 0.02),
    ("PW21", "7727-43-7", 0.05),
    ("PY31", "10294-40-3", 0.02),
    ("PY32", "7789-06-2", 0.02),
    ("PY34", "7758-97-6", 0.05),
    ("PY37", "1306-23-6", 0.02),
    ("PR101", "1309-37-1", 0.02),
    ("PR105", "1314-41-6", 0.03),
    ("PR106", "1344-48-5", 0.02),
    ("PG17", "1308-38-9", 0.02),
    ("PBk11", "1317-61-9", 0.05),
    ("PBk14", "1313-13-9", 0.02),
]


def test_every_pigment_is_whole():
    rows = reference.pigments()
    assert len(rows) == 96
    assert len({row.key for row in rows}) == len(rows)
    for row in rows:
        assert re.fullmatch(r"(P[WYORVBG]|PBr|PBk|NR|NBr)\d+(:\d)?", row.ci_name), row.key
        assert 1.0 < row.density_g_cm3 < 9.0, row.key
        assert 0.3 <= row.touch_multiplier <= 2.5, row.key
        assert row.oil_absorption_low_g_per_100g <= row.oil_absorption_high_g_per_100g, row.key
        assert row.rub_out_oa_g_per_100g <= row.paint_oil_g_per_100g, row.key
        assert row.paint_oil_g_per_100g <= row.oil_absorption_high_g_per_100g * 1.11, row.key
        for text in (row.density_source, row.oil_absorption_source, row.drying_source, row.hazard, row.hazard_source):
            assert text, row.key
        confidences = (row.density_confidence, row.oil_absorption_confidence, row.drying_confidence)
        assert {*confidences, row.hazard_confidence} <= WORDS, row.key


def test_drying_class_agrees_with_multiplier():
    spans = {
        "strong_accelerator": (0.0, 0.45),
        "accelerator": (0.45, 0.6),
        "neutral": (1.0, 1.0),
        "retarder": (1.2, 1.5),
        "strong_retarder": (1.7, 2.5),
    }
    for row in reference.pigments():
        low, high = spans[row.drying_class]
        assert low <= row.touch_multiplier <= high, row.key


@pytest.mark.parametrize(("ci_name", "cas", "tolerance"), CRC_DENSITIES, ids=[row[0] for row in CRC_DENSITIES])
def test_density_against_the_crc_handbook(ci_name: str, cas: str, tolerance: float):
    """CRC Handbook, physical constants of inorganic compounds, through the library `chemicals`."""
    molar_cm3 = molar_volume.rho_data_CRC_inorg_s_const.at[cas, "Vm"] * 1e6
    handbook = MW(cas) / molar_cm3
    assert reference.find_pigment(ci_name).density_g_cm3 == pytest.approx(handbook, rel=tolerance)


def test_a_remark_in_brackets_is_no_part_of_a_variant():
    assert reference.find_pigment("PW6", "rutile (anatase 3.9)") is reference.find_pigment("PW6")
    assert reference.find_pigment("PW6", "Rutile") is reference.find_pigment("PW6")
    with pytest.raises(InputError):
        reference.find_pigment("PW6", "(anatase 3.9)x")


def test_keys_of_variants():
    assert reference.find_pigment("PBr7", "raw umber").key == "PBr7/raw umber"
    assert reference.find_pigment("PW6").key == "PW6"
    assert reference.find_pigment(" pw6 ").key == "PW6"
    assert reference.find_pigment("PW6", "rutile").key == "PW6"
    assert reference.find_pigment("pbr7", "Burnt Sienna").label == "burnt sienna"


@pytest.mark.parametrize(
    ("ci_name", "variant", "path", "says"),
    [
        ("PX1", None, "ci_name", "not in the table"),
        ("", None, "ci_name", "not in the table"),
        ("PBr7", None, "variant", "raw umber, burnt umber, raw sienna, burnt sienna"),
        ("PBr7", "green umber", "variant", "raw umber, burnt umber, raw sienna, burnt sienna"),
        ("PW1", "flake", "variant", "no variant"),
    ],
)
def test_unknown_pigment_is_refused(ci_name: str, variant: str | None, path: str, says: str):
    with pytest.raises(InputError) as caught:
        reference.find_pigment(ci_name, variant)
    assert caught.value.path == path
    assert says in caught.value.message


def test_every_parameter_is_labelled():
    for row in reference.parameters():
        assert row.confidence in LABELS, row.name
        assert row.source, row.name
        assert row.meaning, row.name
        assert row.spread_kind in {"ln", "absolute", "none"}, row.name
        assert (row.spread > 0) == (row.spread_kind != "none"), row.name
    names = [row.name for row in reference.parameters()]
    assert len(set(names)) == len(names)


def test_every_oil_is_labelled():
    assert {row.name for row in reference.oils()} == {
        "linseed",
        "walnut",
        "poppy",
        "safflower",
        "sunflower",
        "perilla",
        "hemp",
        "soya",
        "stand_linseed",
        "sun_thickened_linseed",
        "boiled_linseed",
    }
    for row in reference.oils():
        assert row.iodine_value_low <= row.iodine_value <= row.iodine_value_high, row.name
        assert {row.iodine_value_confidence, row.drying_index_confidence, row.speed_multiplier_confidence} <= LABELS
        assert row.composition_confidence in LABELS
        assert row.iodine_value_source and row.drying_index_source and row.speed_multiplier_source
        assert bool(row.drier_source) == (row.lead_pct > 0 or row.manganese_pct > 0)
        acids = [row.c16_1_pct, row.c18_1_pct, row.c18_2_pct, row.c18_3_pct]
        assert sum(acid or 0.0 for acid in acids) <= 100


def test_every_solvent_is_in_its_own_range():
    for row in reference.solvents():
        assert row.density_low_g_cm3 <= row.density_g_cm3 <= row.density_high_g_cm3
        assert row.evaporation_low <= row.evaporation_high
        assert {row.density_confidence, row.evaporation_confidence} <= LABELS
    assert reference.solvent("turpentine").name == "gum_turpentine"


def test_grounds_light_and_presets():
    assert {row.name for row in reference.grounds()} == {ground.value for ground in Ground}
    assert reference.LIGHT_FACTORS == {"dark": 0.25, "dim": 0.6, "room": 1.0, "bright": 1.5, "sun_glass": 3.0}
    presets = {row.name: row.wet_thickness_um for row in reference.thickness_presets()}
    assert presets == {
        "glaze_wiped": 10,
        "scumble": 20,
        "thin_wash": 30,
        "thin_opaque": 30,
        "normal_brush": 50,
        "loaded_brush": 150,
        "impasto": 500,
    }
    labels = [row.label for row in reference.grounds()] + [row.label for row in reference.lights()]
    assert all(labels + [row.label for row in reference.thickness_presets()])


def test_confidence_labels_are_explained():
    told = reference.sources()
    assert set(told["confidence"]) == LABELS
    assert set(told["words"]) == WORDS
    assert set(told["words"].values()) <= LABELS


def test_unknown_names_are_refused():
    for find, name in ((reference.oil, "olive"), (reference.solvent, "water")):
        with pytest.raises(InputError) as caught:
            find(name)
        assert "linseed" in caught.value.message or "spirits" in caught.value.message
    with pytest.raises(KeyError):
        reference.parameter("no such parameter")


def test_tables_hold_no_blank_rows_and_no_stray_spaces():
    for file in reference.DATA.glob("*.csv"):
        with file.open(newline="", encoding="utf-8") as handle:
            for row in csv.DictReader(handle):
                assert None not in row, file.name
                for text in row.values():
                    assert text == text.strip(), (file.name, row)


def test_cas_numbers_are_the_chemicals_meant():
    """Guards the list above against a slip in a number."""
    formulas = {"1314-13-2": "OZn", "1317-80-2": "O2Ti", "471-34-1": "CCaO3", "1306-23-6": "CdS", "1344-48-5": "HgS"}
    for cas, formula in formulas.items():
        assert identifiers.search_chemical(cas).formula == formula
    assert set(formulas) <= {cas for _, cas, _ in CRC_DENSITIES}
