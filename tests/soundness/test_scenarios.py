"""Acceptance scenarios, named by their ids.

Each says its basis: published (a source read, the number may still be ours), common practice, or derived. The drying
model is taken out: the stages are given so that the lower layer is in the state that the scenario names.
"""

from dataclasses import replace

import pytest

from server.planning.outlook import PlannedStep, begin, outlook
from server.science.composition import compose, critical_pvc
from server.science.recipe import Addition, AdditionKind, Ground, MixRecipe, Paint, PigmentShare
from server.science.results import FilmState, StageRange
from server.science.soundness import Action, GroundFacts, Material, Severity, SwabTest, check, later, with_remedy
from server.services.hazards import kinds_of_mix
from tests.soundness.builders import (
    TACKY_D,
    THROUGH_D,
    TOUCH_DRY_D,
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
    tube,
    umber,
)

RICH = layer(mix(oil(2)))
STOP, CAUTION, NOTE, SOUND = Severity.STOP, Severity.CAUTION, Severity.NOTE, Severity.SOUND


def test_a01_lean_over_richer_touch_dry_stops_with_the_oil_worked_out():
    # Published rule (painters' handbook extracts: fat over lean); the numbers are derived: g = 0.20, x = P g = 2.0 ml.
    verdict = check(ask([there(RICH, TOUCH_DRY_D)], coming()))
    finding = found(verdict, "R01")
    assert verdict.verdict is STOP and verdict.state is FilmState.TOUCH_DRY
    assert finding is not None and finding.severity is STOP and finding.remedy is not None
    assert finding.remedy.add_oil_ml == pytest.approx(2.0, rel=1e-9)
    assert finding.remedy.add_oil_g == pytest.approx(1.86, rel=1e-9)
    assert finding.remedy.add_oil_drops == 40
    assert finding.remedy.not_before_d == pytest.approx(12.0 * 1.6)
    assert "2.0 ml of oil (1.9 g, about 40 drops)" in finding.remedy.text


def test_a02_the_same_over_dry_through_is_a_caution():
    # Derived.
    finding = found(check(ask([there(RICH, THROUGH_D)], coming())), "R01")
    assert finding is not None and finding.severity is CAUTION
    assert finding.remedy is not None and finding.remedy.not_before_d is None


def test_a03_richer_over_leaner_passes():
    # Common practice, no source.
    assert severity(ask([there(age_d=TOUCH_DRY_D)], coming(layer(mix(oil(1))))), "R01") is SOUND


def test_a05_too_much_stand_oil_and_the_paint_to_add():
    # The cap of a fifth is common practice; the amount is derived: P' = 6 (1/0.20 - 1) - 10 = 14 ml.
    verdict = check(ask((), coming(layer(mix(oil(6, "stand_linseed")), um=60.0))))
    finding = found(verdict, "R08")
    assert finding is not None and finding.severity is CAUTION and finding.remedy is not None
    assert finding.remedy.add_paint_ml == pytest.approx(14.0, rel=1e-9)


def test_a06_a_wiped_glaze_may_hold_half_medium():
    # Published: conservators say that it depends on the thickness.
    glaze = layer(mix(oil(5), paint=tube(parts=5)), um=10.0)
    assert severity(ask([there(age_d=THROUGH_D)], coming(glaze)), "R08") is NOTE
    thick = replace(glaze, wet_thickness_um=60.0)
    assert severity(ask([there(age_d=THROUGH_D)], coming(thick)), "R08") is STOP


def test_a07_white_lead_over_thin_umber_is_no_fault():
    # Derived: absolute oil contents would ask for 10 ml of oil to 10 ml of paint here, which is absurd.
    lower = there(layer(mix(paint=umber()), um=20.0), TOUCH_DRY_D, times(1.5, 6.0))
    verdict = check(ask([lower], coming(layer(mix(paint=tube("PW1"))), times(2.6))))
    assert verdict.verdict is SOUND and not verdict.findings


@pytest.mark.parametrize("age_d", [TOUCH_DRY_D, THROUGH_D])
def test_a09_slow_black_over_quick_umber_passes(age_d):
    # Published: handbooks keep slow colours for upper layers.
    lower = there(layer(mix(paint=umber()), um=20.0), age_d, times(1.5, 6.0))
    assert check(ask([lower], coming(layer(mix(paint=tube("PBk9"))), times(12.0)))).verdict is SOUND


def test_a10_paint_on_a_tacky_layer_is_stopped_with_its_date():
    # Published: conservators ask for dry to the touch; an old handbook, second-hand, not to go on until thoroughly set.
    verdict = check(ask([there(age_d=TACKY_D)], coming()))
    finding = found(verdict, "R03")
    assert verdict.state is FilmState.TACKY
    assert finding is not None and finding.severity is STOP and finding.remedy is not None
    assert finding.remedy.not_before_d == pytest.approx(4.0 * 1.6)
    assert "finger" in finding.remedy.text


def test_a12_a_glaze_over_a_skinned_impasto_is_stopped():
    # Published: a conservator excepts skinned impasto; an old author found such films soft for years.
    impasto = there(layer(um=1500.0), 21.0, times(9.0, 400.0))
    assert severity(ask([impasto], coming(layer(mix(oil(3)), um=15.0))), "R06") is STOP


def test_a14_plain_oil_over_matt_alkyd_passes_and_over_glossy_asks_for_tooth():
    # Published: advice of conservators.
    alkyd = there(material=Material.ALKYD, age_d=3.0, stages=times(1.0, 4.0), surface="matte")
    assert check(ask([alkyd], coming())).verdict is SOUND
    glossy = check(ask([replace(alkyd, surface="gloss")], coming()))
    found_14 = found(glossy, "R14")
    assert found_14 is not None and found_14.severity is CAUTION and found_14.remedy is not None
    assert "Clean" in found_14.remedy.text
    assert found(glossy, "R16") is not None


def test_a15_a_ground_coat_of_zinc_white_on_canvas_is_stopped():
    # Published: studies of zinc underlayers and grounds.
    zinc = there(layer(mix(paint=tube("PW4"))), THROUGH_D)
    assert severity(ask([zinc], coming(), support="stretched"), "R20") is STOP
    ground = GroundFacts("oil", 400.0, "matte", ("PW4",))
    assert severity(ask((), coming(), support="stretched", ground=ground), "R20") is STOP
    assert severity(ask([zinc], coming()), "R20") is CAUTION


def test_a17_zinc_paint_on_a_slick_acrylic_ground():
    # Published: samples eight and nine years old.
    upper = coming(layer(mix(paint=tube("PW4"))))
    assert severity(ask((), upper, ground=GroundFacts("acrylic", 60.0, "gloss")), "R22") is CAUTION


def test_a19_oil_waits_three_days_on_thin_matt_acrylic():
    # Published: 72 hours at least, two weeks usual, a month better.
    def at(age_d):
        acrylic = there(layer(um=30.0), age_d, {}, material=Material.ACRYLIC, surface="matte")
        return check(ask([acrylic], coming()))

    early, just, done = at(2.0), at(3.0), at(14.0)
    stopped, advised = found(early, "R24"), found(just, "R24")
    assert stopped is not None and stopped.severity is STOP and stopped.remedy is not None
    assert stopped.remedy.not_before_d == pytest.approx(3.0)
    assert early.unchanged_for_d == pytest.approx(1.0, abs=1e-6)
    assert advised is not None and advised.severity is NOTE and "14 days" in advised.reason
    assert done.verdict is SOUND


def test_a20_oil_over_thick_glossy_acrylic():
    # Published.
    acrylic = there(layer(um=200.0), 60.0, {}, material=Material.ACRYLIC, surface="gloss")
    assert severity(ask([acrylic], coming()), "R24") is CAUTION


def test_a22_a_wiped_imprimatura_half_solvent_is_no_stop():
    # Common practice, no source.
    imprimatura = coming(layer(mix(solvent(10)), um=15.0))
    verdict = check(ask((), imprimatura, ground=GroundFacts("acrylic", 60.0, "absorbent")))
    assert verdict.verdict is NOTE and rules_of(verdict) == ["R10", "R12"]


def test_a23_far_too_much_thinner_on_a_sealed_panel():
    # The mechanism is published (conservators on sinking and under-binding); the limit is derived.
    wash = coming(layer(mix(solvent(70), paint=tube(parts=30))))
    verdict = check(ask((), wash, ground=GroundFacts("none", None, "sealed")))
    finding = found(verdict, "R10")
    assert finding is not None and finding.severity is STOP


def test_a26_oil_as_the_last_thing_is_stopped():
    # Published: conservators on oiling out.
    finding = found(check(ask([there(age_d=THROUGH_D)], None, Action.OIL_OUT, area_cm2=2000.0)), "R30")
    assert finding is not None and finding.severity is STOP and finding.remedy is not None
    assert "temporary varnish" in finding.remedy.text


def test_a27_paint_over_soluble_varnish():
    # Published.
    varnish = there(None, 2.0, {}, material=Material.RETOUCH_VARNISH)
    assert severity(ask([there(age_d=THROUGH_D), varnish], coming()), "R31") is CAUTION


def test_a28_dammar_in_the_glaze_medium():
    # Published.
    resinous = layer(mix(oil(2.1), more(AdditionKind.SOFT_RESIN, 0.9)), um=15.0)
    assert severity(ask([there(age_d=THROUGH_D)], coming(resinous)), "R18") is CAUTION
    assert severity(ask([there(resinous, THROUGH_D)], coming()), "R18") is STOP


def test_a29_a_medium_with_a_third_of_wax():
    # Published: a third of wax medium gave a film that stayed sensitive to solvents.
    waxy = coming(layer(mix(oil(2), more(AdditionKind.WAX, 1))))
    assert severity(ask([there(age_d=THROUGH_D)], waxy, support="stretched"), "R19") is STOP
    assert severity(ask([there(age_d=THROUGH_D)], waxy), "R19") is CAUTION


def test_a30_bitumen_under_paint():
    # Published: long documented.
    assert severity(ask([there(layer(mix(paint=tube("NBr6"))), 200.0)], coming()), "R27") is STOP


def test_a32_a_final_varnish_after_45_days_is_stopped_until_180():
    # Published: an old handbook thinks six months not too long.
    finding = found(check(ask([there(layer(um=60.0), 45.0)], None, Action.FINAL_VARNISH)), "R35")
    assert finding is not None and finding.severity is STOP and finding.remedy is not None
    assert finding.remedy.not_before_d == pytest.approx(180.0)
    assert "temporary varnish" in finding.remedy.text and "unvarnished" in finding.remedy.text


def test_a33_at_the_date_the_test_decides():
    # Common practice, no source: a film that the painter finds not firm is not ready, whatever the date.
    soft = there(layer(um=60.0), 185.0, observed=FilmState.TOUCH_DRY, observed_age_d=185.0)
    finding = found(check(ask([soft], None, Action.FINAL_VARNISH)), "R35")
    assert finding is not None and finding.severity is STOP and finding.remedy is not None
    assert finding.remedy.not_before_d is not None and finding.remedy.not_before_d > 185.0
    passed = found(check(ask([there(layer(um=60.0), 185.0)], None, Action.FINAL_VARNISH)), "R35")
    assert passed is not None and passed.severity is CAUTION and passed.remedy is not None
    assert "swab" in passed.remedy.text


def test_a33_colour_on_the_swab_is_not_ready_whatever_the_day():
    # Common practice, no source.
    asked = ask([there(layer(um=60.0), 185.0)], None, Action.FINAL_VARNISH)
    coloured = found(check(replace(asked, swab=SwabTest(clean=False, age_d=185.0))), "R35")
    assert coloured is not None and coloured.severity is STOP


def test_a34_wrapping_ten_days_after_a_thick_layer():
    # Common practice; prints and sticking are published for acrylic varnish in heat.
    finding = found(check(ask([there(layer(um=300.0), 10.0, times(14.0, 240.0))], None, Action.WRAP)), "R36")
    assert finding is not None and finding.severity is STOP and finding.remedy is not None
    assert "edges" in finding.remedy.text


def exactly(days: float) -> StageRange:
    return StageRange(days, days, days, days, days)


def waits(*days: float) -> list[PlannedStep]:
    """Layers to come that may be covered after so many days; the last is done after as many."""
    return [PlannedStep(lambda _day, d=d: exactly(d), lambda _day, d=d: exactly(d)) for d in days]  # type: ignore[misc]


def test_a36_four_layers_miss_the_date_by_two_days_and_keep_it_without_the_glaze():
    # Derived: 7 + 10 + 14 + 7 days, 14 more before the frame and 3 with the courier, against 53 days.
    bare = begin(None, 0.0, open_now=True)
    whole = outlook(bare, waits(7.0, 10.0, 14.0, 7.0 + 14.0 + 3.0), 0.9, due_d=53.0)
    assert whole.finish.planned_d == pytest.approx(55.0) and whole.due is not None and whole.due.at_risk
    without = outlook(bare, waits(7.0, 10.0, 14.0 + 14.0 + 3.0), 0.9, due_d=53.0)
    assert without.finish.planned_d == pytest.approx(48.0) and without.due is not None and not without.due.at_risk


def test_a40_weight_to_volume_of_white_lead_paint():
    # Published oil figures of two colour-grinders (Church 1901: 16 and 15 g to 100 g) and density (Gettens and Stout:
    # 6.70); the volume is arithmetic. Printed: 3.61 and 3.70 g/ml, 6.8 to 6.9 ml.
    for grams, printed in ((16.0, 3.61), (15.0, 3.70)):
        paint = Paint(1.0, "linseed", (PigmentShare("PW1"),), paint_oil_g_per_100g=grams, density_g_cm3=6.70)
        made = compose(MixRecipe("white lead", 1.0, (paint,)), 50.0, Ground.SEALED)
        assert made.density_g_cm3 == pytest.approx(printed, abs=0.02)
        assert 6.7 < 25.0 / made.density_g_cm3 < 7.0


def test_a41_critical_pigment_volume_concentration():
    # Published: a coatings article, worked example of oil absorption 20 and density 4.2.
    assert critical_pvc(20.0, 4.2) == pytest.approx(0.527, abs=0.0005)


@pytest.mark.parametrize("addition", [None, oil(1), Addition(AdditionKind.ALKYD_MEDIUM, parts=1.0, non_volatile=0.5)])
def test_a43_every_mix_with_a_drying_oil_brings_up_the_rags(addition):
    # Published: a fire protection association on rags with drying oil.
    assert "rags" in kinds_of_mix(mix(*([addition] if addition else [])))


def test_a46_painting_over_a_finished_picture():
    # Published.
    old = there(None, 9000.0, {}, material=Material.OLD_PAINTING)
    finding = found(check(ask([old], coming())), "R33")
    assert finding is not None and finding.severity is CAUTION


def test_a48_a_press_that_finds_it_dry_early_wins_but_keeps_the_order_rules():
    # Derived.
    early = there(layer(mix(oil(2))), 2.0, times(6.0), observed=FilmState.TOUCH_DRY, observed_age_d=2.0)
    verdict = check(ask([early], coming(stages=times(1.0))))
    assert verdict.state is FilmState.TOUCH_DRY
    assert "R03" not in rules_of(verdict)
    assert severity(ask([early], coming(stages=times(1.0))), "R01") is STOP
    assert severity(ask([early], coming(stages=times(1.0))), "R02") is STOP


@pytest.mark.parametrize(
    ("gap", "state_age_d", "expected"),
    [
        (0.05, TOUCH_DRY_D, SOUND),
        (0.05, THROUGH_D, SOUND),
        (0.0501, TOUCH_DRY_D, CAUTION),
        (0.0501, THROUGH_D, NOTE),
        (0.15, TOUCH_DRY_D, CAUTION),
        (0.15, THROUGH_D, NOTE),
        (0.1501, TOUCH_DRY_D, STOP),
        (0.1501, THROUGH_D, CAUTION),
        (0.15 + 0.9e-9, TOUCH_DRY_D, CAUTION),
        (0.05 + 0.9e-9, TOUCH_DRY_D, SOUND),
    ],
)
def test_a50_the_upper_bound_of_each_band_belongs_to_it(gap, state_age_d, expected):
    # Derived.
    assert severity(ask([there(layer(mix(oil(10 * gap))), state_age_d)], coming()), "R01") is expected


def test_the_worked_example_of_a_medium_half_solvent():
    # Derived: B = 1, D = 1.10, S = 1/12, gap 0.10 is a caution and one more millilitre of oil clears it.
    medium = Addition(AdditionKind.ALKYD_MEDIUM, parts=2.0, non_volatile=0.5)
    for additions in ((oil(1), solvent(1)), (medium,)):
        situation = ask([there(RICH, TOUCH_DRY_D)], coming(layer(mix(*additions))))
        finding = found(check(situation), "R01")
        assert finding is not None and finding.severity is CAUTION and finding.remedy is not None
        assert finding.remedy.add_oil_ml == pytest.approx(1.0, rel=1e-9)
        assert finding.remedy.add_oil_drops == 20
        assert severity(with_remedy(situation, finding.remedy), "R01") is SOUND


@pytest.mark.parametrize(
    ("gap", "ml", "grams", "drops"),
    [(0.10, 1.0, 0.93, 20), (0.15, 1.5, 1.40, 30), (0.20, 2.0, 1.86, 40), (0.25, 2.5, 2.33, 50)],
)
def test_oil_for_ten_millilitres_of_plain_paint(gap, ml, grams, drops):
    # Derived: the printed table of oil by gap, at 0.93 g/ml and 20 drops per ml.
    finding = found(check(ask([there(layer(mix(oil(10 * gap))), TOUCH_DRY_D)], coming())), "R01")
    assert finding is not None and finding.remedy is not None
    assert finding.remedy.add_oil_ml == pytest.approx(ml, rel=1e-9)
    assert finding.remedy.add_oil_g == pytest.approx(grams, abs=0.006)
    assert finding.remedy.add_oil_drops == drops


def test_the_painters_own_drops_are_counted():
    # Derived.
    finding = found(check(ask([there(RICH, TOUCH_DRY_D)], coming(), drops_per_ml=27.0)), "R01")
    assert finding is not None and finding.remedy is not None and finding.remedy.add_oil_drops == 54


def test_oil_that_would_be_too_much_medium_is_not_offered_but_the_date_is():
    # Derived: a gap of 0.40 asks for 4 ml of oil, which is M 0.29, beyond the custom of a fifth.
    finding = found(check(ask([there(layer(mix(oil(4))), TOUCH_DRY_D)], coming())), "R01")
    assert finding is not None and finding.remedy is not None
    assert finding.remedy.add_oil_ml is None and not finding.remedy.by_mix
    assert finding.remedy.not_before_d == pytest.approx(19.2)
    assert "R08" in finding.remedy.text


def test_inert_solids_lean_the_mix_and_ask_for_more_oil():
    # Derived: D = (P + K)(1 - f0) / (P (1 - f0) + K); x = g (P (1 - f0) + K) / (1 - f0).
    chalk = coming(layer(mix(more(AdditionKind.INERT, 1.0))))
    finding = found(check(ask([there(age_d=TOUCH_DRY_D)], chalk)), "R01")
    gap = 1.0 - 11.0 * 0.35 / (10.0 * 0.35 + 1.0)
    assert finding is not None and finding.remedy is not None
    assert finding.remedy.add_oil_ml == pytest.approx(gap * (10.0 * 0.35 + 1.0) / 0.35, rel=1e-9)
    assert severity(with_remedy(ask([there(age_d=TOUCH_DRY_D)], chalk), finding.remedy), "R01") is SOUND


def test_a_scumble_over_a_thin_wiped_glaze_weighs_a_step_less():
    # Common practice, no source.
    glaze = layer(mix(oil(4)), um=15.0)
    assert severity(ask([there(glaze, TOUCH_DRY_D)], coming()), "R01") is CAUTION
    assert severity(ask([there(glaze, THROUGH_D)], coming()), "R01") is NOTE
    assert severity(ask([there(glaze, TACKY_D)], coming()), "R01") is STOP


def test_waiting_until_dry_through_lowers_lean_over_rich():
    # Derived: the date remedies lower R01 to a caution or a note.
    situation = ask([there(RICH, TOUCH_DRY_D)], coming())
    finding = found(check(situation), "R01")
    assert finding is not None and finding.remedy is not None and finding.remedy.not_before_d is not None
    assert severity(later(situation, finding.remedy.not_before_d - TOUCH_DRY_D), "R01") is CAUTION
