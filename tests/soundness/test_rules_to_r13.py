"""The bands of the rules up to R13, one side and the other.

Basis of the limits: derived or common practice, as the table of thresholds says; no measurement is compared.
"""

from dataclasses import replace

import pytest

from server.science.recipe import Addition, AdditionKind
from server.science.results import FilmState
from server.science.soundness import Action, GroundFacts, Severity, check
from tests.soundness.builders import (
    TACKY_D,
    THROUGH_D,
    TOUCH_DRY_D,
    WET_D,
    ask,
    coming,
    found,
    layer,
    mix,
    more,
    oil,
    rules_of,
    severity,
    solvent,
    there,
    times,
)

STOP, CAUTION, NOTE, SOUND = Severity.STOP, Severity.CAUTION, Severity.NOTE, Severity.SOUND
ABSORBENT, SEALED = GroundFacts("acrylic", 60.0, "absorbent"), GroundFacts("none", None, "sealed")


@pytest.mark.parametrize(
    ("ratio", "um", "parts", "age_d", "expected"),
    [
        (0.71, 40.0, 0.0, TOUCH_DRY_D, SOUND),
        (0.70, 40.0, 0.0, TOUCH_DRY_D, SOUND),
        (0.69, 40.0, 0.0, TOUCH_DRY_D, CAUTION),
        (0.40, 40.0, 0.0, TOUCH_DRY_D, CAUTION),
        (0.39, 40.0, 0.0, TOUCH_DRY_D, STOP),
        (0.69, 100.0, 0.0, TOUCH_DRY_D, CAUTION),
        (0.69, 101.0, 0.0, TOUCH_DRY_D, STOP),
        (0.69, 40.0, 2.0, TOUCH_DRY_D, CAUTION),
        (0.69, 40.0, 2.1, TOUCH_DRY_D, STOP),
        (0.10, 101.0, 3.0, THROUGH_D, SOUND),
    ],
)
def test_r02_quick_over_slow(ratio, um, parts, age_d, expected):
    lower = there(layer(mix(oil(parts)), um=um), age_d)
    assert severity(ask([lower], coming(layer(mix(oil(3))), times(4.0 * ratio))), "R02") is expected


def test_r02_sees_a_soft_layer_further_down():
    buried = there(layer(), 9.0, times(20.0, 60.0))
    thin = there(layer(um=20.0), TOUCH_DRY_D, times(2.0, 4.0))
    finding = found(check(ask([buried, thin], coming(stages=times(2.0)))), "R02")
    assert finding is not None and finding.severity is STOP and finding.remedy is not None
    # Dry through at 96 days of its own, when the layer on it is one day younger.
    assert finding.remedy.not_before_d == pytest.approx(60.0 * 1.6 - 1.0)
    assert "further down" in finding.reason


@pytest.mark.parametrize(("age_d", "state"), [(0.0, FilmState.WET), (2.8, FilmState.TACKY), (6.3, FilmState.TACKY)])
def test_r03_holds_until_touch_dry_nine_times_in_ten(age_d, state):
    verdict = check(ask([there(age_d=age_d)], coming()))
    assert verdict.state is state and verdict.verdict is STOP and rules_of(verdict) == ["R03"]
    assert check(ask([there(age_d=6.4)], coming())).state is FilmState.TOUCH_DRY


def test_r03_holds_for_any_next_layer_even_one_not_chosen_yet():
    assert severity(ask([there(age_d=TACKY_D)]), "R03") is STOP


def test_r04_one_session_in_wet_paint_counts_as_one_film():
    lower = there(layer(mix(oil(4)), um=60.0), WET_D)
    verdict = check(ask([lower], coming(layer(um=60.0), same_session=True)))
    finding = found(verdict, "R04")
    assert finding is not None and finding.severity is NOTE
    # 60 um of D 1.4 (14 parts, of them 10 paint) and 60 um of D 1.0: 60 ml of dry volume twice, paint 42.9 + 60.
    assert "120 µm" in finding.reason and f"richness {120.0 / (60.0 + 60.0 / 1.4):.2f}" in finding.reason
    assert "R03" not in rules_of(verdict) and "R01" not in rules_of(verdict)
    assert severity(ask([lower], coming(layer(um=60.0))), "R03") is STOP
    tacky = replace(lower, age_d=TACKY_D)
    assert severity(ask([tacky], coming(layer(um=60.0), same_session=True)), "R03") is STOP


def test_r04_checks_the_film_against_the_layer_below_both():
    bottom = there(layer(mix(oil(3))), 20.0, times(10.0))
    wet = there(layer(), WET_D)
    assert severity(ask([bottom, wet], coming(same_session=True)), "R01") is STOP


@pytest.mark.parametrize(
    ("upper", "expected"),
    [
        (coming(), CAUTION),
        (coming(layer(um=60.0)), CAUTION),
        (coming(layer(um=61.0)), SOUND),
        (coming(layer(mix(solvent(10 / 9)))), CAUTION),
        (coming(layer(mix(solvent(1.2)))), SOUND),
        (coming(layer(mix(more(AdditionKind.INERT, 0.5)))), SOUND),
        (coming(layer(mix(oil(1)))), CAUTION),
        (coming(stages=times(3.9)), SOUND),
    ],
)
def test_r05_takes_the_place_of_r03_only_for_what_may_go_on_lightly(upper, expected):
    situation = ask([there(age_d=TACKY_D)], upper, Action.WORK_LIGHTLY)
    assert severity(situation, "R05") is expected
    assert severity(situation, "R03") is (STOP if expected is SOUND else SOUND)
    assert severity(replace(situation, action=Action.NEXT_LAYER), "R03") is STOP


@pytest.mark.parametrize("age_d", [TACKY_D, 6.0, 12.0, 20.0])
def test_a_film_found_tacky_late_does_not_make_its_own_mix_quick_over_slow(age_d):
    # Derived: the room that kept one film back dries the next one too, so speeds are compared as the model has them.
    late = there(age_d=age_d, observed=FilmState.TACKY, observed_age_d=age_d)
    lightly = check(ask([late], coming(), Action.WORK_LIGHTLY))
    assert lightly.state is FilmState.TACKY
    assert rules_of(lightly) == ["R05"]
    assert rules_of(check(ask([late], coming()))) == ["R03"]
    assert severity(ask([late], coming(stages=times(2.7))), "R02") is CAUTION


def test_r05_is_not_for_wet_paint():
    assert severity(ask([there(age_d=WET_D)], coming(), Action.WORK_LIGHTLY), "R03") is STOP


def test_r03_says_why_working_lightly_is_not_for_this_layer():
    finding = found(check(ask([there(age_d=TACKY_D)], coming(layer(mix(solvent(5)))), Action.WORK_LIGHTLY)), "R03")
    assert finding is not None and "33 % solvent" in finding.reason


def test_r06_touches_on_a_skinned_impasto_are_a_note():
    impasto = there(layer(um=501.0), TOUCH_DRY_D, times(4.0, 60.0))
    assert severity(ask([impasto], coming(layer(mix(area=0.2)))), "R06") is NOTE
    assert severity(ask([impasto], coming()), "R06") is STOP
    assert severity(ask([there(layer(um=500.0), TOUCH_DRY_D)], coming()), "R06") is SOUND


def test_r06_sees_an_impasto_below_a_thin_layer():
    impasto = there(layer(um=900.0), 20.0, times(9.0, 300.0))
    assert severity(ask([impasto, there(age_d=TOUCH_DRY_D)], coming()), "R06") is STOP


@pytest.mark.parametrize(
    ("below_um", "above_um", "expected"),
    [(151.0, 50.0, CAUTION), (150.0, 40.0, SOUND), (180.0, 60.0, SOUND), (181.0, 60.0, CAUTION)],
)
def test_r07_thin_over_thick(below_um, above_um, expected):
    lower = there(layer(um=below_um), TOUCH_DRY_D)
    assert severity(ask([lower], coming(layer(um=above_um))), "R07") is expected
    assert severity(ask([replace(lower, age_d=THROUGH_D)], coming(layer(um=above_um))), "R07") is SOUND


@pytest.mark.parametrize(
    ("share", "um", "expected"),
    [
        (0.20, 60.0, SOUND),
        (0.21, 60.0, NOTE),
        (0.25, 60.0, NOTE),
        (0.26, 60.0, CAUTION),
        (0.40, 60.0, CAUTION),
        (0.41, 60.0, STOP),
        (0.90, 15.0, NOTE),
        (0.41, 16.0, STOP),
        (0.20, 15.0, SOUND),
    ],
)
def test_r08_bands(share, um, expected):
    parts = 10.0 * share / (1.0 - share)
    assert severity(ask((), coming(layer(mix(oil(parts)), um=um))), "R08") is expected


def test_r08_counts_what_stays_of_an_alkyd_medium():
    medium = Addition(AdditionKind.ALKYD_MEDIUM, parts=6.0, non_volatile=0.5)
    assert severity(ask((), coming(layer(mix(medium)))), "R08") is NOTE  # 3 of 13 parts


def test_r09_rich_and_thick_is_split_into_coats():
    rich = ask((), coming(layer(mix(oil(2)), um=150.0)))
    finding = found(check(rich), "R09")
    assert finding is not None and finding.severity is CAUTION and finding.remedy is not None
    assert finding.remedy.coats == 3
    assert severity(ask((), coming(layer(mix(oil(2)), um=301.0))), "R09") is STOP
    assert severity(ask((), coming(layer(mix(oil(1)), um=301.0))), "R09") is SOUND
    drier = Addition(AdditionKind.DRIER, metal="Pb", percent_on_oil=0.3)
    assert severity(ask((), coming(layer(mix(drier), um=101.0))), "R09") is CAUTION


@pytest.mark.parametrize(
    ("share", "ground", "expected"),
    [
        (0.30, ABSORBENT, SOUND),
        (0.31, ABSORBENT, NOTE),
        (0.60, ABSORBENT, NOTE),
        (0.61, ABSORBENT, CAUTION),
        (0.30, SEALED, SOUND),
        (0.31, SEALED, CAUTION),
        (0.60, SEALED, CAUTION),
        (0.61, SEALED, STOP),
        (0.31, GroundFacts("acrylic", 60.0, "matte"), NOTE),
    ],
)
def test_r10_bands(share, ground, expected):
    upper = coming(layer(mix(solvent(10.0 * share / (1.0 - share)))))
    assert severity(ask((), upper, ground=ground), "R10") is expected


def test_r10_works_out_the_solvent_to_leave_out():
    # Derived: y = V (S - 0.30) / 0.70; 10 ml of paint and 10 ml of solvent: 20 x 0.20 / 0.70.
    finding = found(check(ask((), coming(layer(mix(solvent(10)))), ground=SEALED)), "R10")
    assert finding is not None and finding.remedy is not None
    assert finding.remedy.reduce_solvent_ml == pytest.approx(20.0 * 0.2 / 0.7, rel=1e-9)


def test_r10_cannot_take_solvent_out_of_a_medium():
    medium = Addition(AdditionKind.ALKYD_MEDIUM, parts=30.0, non_volatile=0.4)
    finding = found(check(ask((), coming(layer(mix(medium))), ground=SEALED)), "R10")
    assert finding is not None and finding.remedy is not None and finding.remedy.reduce_solvent_ml is None


def test_r10_paint_takes_nothing_up():
    assert severity(ask([there(age_d=THROUGH_D)], coming(layer(mix(solvent(5))))), "R10") is CAUTION


@pytest.mark.parametrize(
    ("share", "age_d", "expected"),
    [
        (0.20, TOUCH_DRY_D, SOUND),
        (0.21, TOUCH_DRY_D, CAUTION),
        (0.40, TOUCH_DRY_D, CAUTION),
        (0.41, TOUCH_DRY_D, STOP),
        (0.41, THROUGH_D, SOUND),
    ],
)
def test_r11_bands(share, age_d, expected):
    upper = coming(layer(mix(solvent(10.0 * share / (1.0 - share)))))
    finding = found(check(ask([there(age_d=age_d)], upper)), "R11")
    assert (finding.severity if finding else SOUND) is expected
    if finding is not None and finding.remedy is not None:
        assert finding.remedy.not_before_d == pytest.approx(19.2)
        volume = 10.0 / (1.0 - share)
        assert finding.remedy.reduce_solvent_ml == pytest.approx(volume * (share - 0.1) / 0.9, rel=1e-9)


def test_r12_asks_for_a_little_oil_on_an_absorbent_ground():
    # Common practice: half a millilitre to one in ten.
    finding = found(check(ask((), coming(), ground=ABSORBENT)), "R12")
    assert finding is not None and finding.severity is NOTE and finding.remedy is not None
    assert finding.remedy.add_oil_ml == pytest.approx(0.5, rel=1e-9)
    assert severity(ask((), coming(layer(mix(oil(0.5)))), ground=ABSORBENT), "R12") is SOUND
    assert severity(ask([there(age_d=THROUGH_D)], coming(), ground=ABSORBENT), "R12") is SOUND


def test_r13_slick_ground():
    assert severity(ask((), coming(), ground=SEALED), "R13") is CAUTION
    assert severity(ask((), coming()), "R13") is SOUND
    assert severity(ask([there(age_d=THROUGH_D)], coming(), ground=SEALED), "R13") is SOUND
