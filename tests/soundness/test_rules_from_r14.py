"""The bands of the rules from R14 on, one side and the other.

Basis of the limits: derived or common practice, as the table of thresholds says; no measurement is compared.
"""

from dataclasses import replace

import pytest

from server.science.recipe import Addition, AdditionKind
from server.science.results import FilmState
from server.science.soundness import Action, GroundFacts, Material, Severity, check
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
    severity,
    there,
    times,
    tube,
    umber,
)

STOP, CAUTION, NOTE, SOUND = Severity.STOP, Severity.CAUTION, Severity.NOTE, Severity.SOUND
ABSORBENT, SEALED = GroundFacts("acrylic", 60.0, "absorbent"), GroundFacts("none", None, "sealed")


def test_r14_old_rich_or_glossy():
    assert severity(ask([there(age_d=180.0)], coming()), "R14") is SOUND
    assert severity(ask([there(age_d=180.1)], coming()), "R14") is CAUTION
    assert severity(ask([there(surface="gloss", age_d=THROUGH_D)], coming()), "R14") is CAUTION
    assert severity(ask([there(layer(mix(oil(3.4)), um=10.0), THROUGH_D)], coming()), "R14") is CAUTION


def test_r15_alkyd_over_oil_unless_it_is_in_both_alike():
    medium = Addition(AdditionKind.ALKYD_MEDIUM, parts=2.0, non_volatile=0.5)
    over = coming(layer(mix(medium)), times(3.9))
    assert severity(ask([there(age_d=TOUCH_DRY_D)], over), "R15") is CAUTION
    assert severity(ask([there(age_d=THROUGH_D)], over), "R15") is SOUND
    assert severity(ask([there(layer(mix(medium)), TOUCH_DRY_D)], over), "R15") is SOUND
    assert severity(ask([there(age_d=TOUCH_DRY_D)], replace(over, stages=times(1.0))), "R15") is STOP


def test_r17_drier_on_top():
    drier = Addition(AdditionKind.DRIER, metal="Co", percent_on_oil=0.05)
    upper = coming(layer(mix(drier)), times(3.9))
    assert severity(ask([there(age_d=TOUCH_DRY_D)], upper), "R17") is CAUTION
    assert severity(ask([there(layer(um=120.0), TOUCH_DRY_D)], upper), "R17") is STOP
    assert severity(ask([there(layer(mix(drier)), TOUCH_DRY_D)], upper), "R17") is SOUND
    boiled = coming(layer(mix(oil(1, "boiled_linseed"))), times(3.9))
    assert severity(ask([there(age_d=TOUCH_DRY_D)], boiled), "R17") is CAUTION


def test_r18_a_twentieth_of_resin_in_the_medium_passes():
    def upper(resin):
        return coming(layer(mix(oil(2.0 - resin), more(AdditionKind.SOFT_RESIN, resin))))

    assert severity(ask((), upper(0.10)), "R18") is SOUND
    assert severity(ask((), upper(0.11)), "R18") is CAUTION


@pytest.mark.parametrize(
    ("share", "support", "expected"),
    [
        (0.10, "stretched", SOUND),
        (0.11, "stretched", NOTE),
        (0.21, "stretched", CAUTION),
        (0.32, "stretched", CAUTION),
        (0.33, "stretched", STOP),
        (0.33, "rigid", CAUTION),
    ],
)
def test_r19_bands(share, support, expected):
    upper = coming(layer(mix(oil(2.0 * (1.0 - share)), more(AdditionKind.WAX, 2.0 * share))))
    assert severity(ask((), upper, support=support), "R19") is expected


def test_r19_wax_below_a_layer_without():
    waxy = there(layer(mix(oil(1), more(AdditionKind.WAX, 0.5))), THROUGH_D)
    assert severity(ask([waxy], coming()), "R19") is CAUTION


@pytest.mark.parametrize(
    ("paint", "support", "expected_20", "expected_21"),
    [
        ("PW6", "stretched", SOUND, SOUND),
        ("PW4", "rigid", CAUTION, NOTE),
        ("PW4", "stretched", STOP, CAUTION),
    ],
)
def test_r20_and_r21(paint, support, expected_20, expected_21):
    zinc = there(layer(mix(paint=tube(paint))), THROUGH_D)
    situation = ask([zinc], coming(), support=support)
    assert severity(situation, "R20") is expected_20
    assert severity(situation, "R21") is expected_21


def test_r20_a_little_zinc_on_canvas_is_a_caution_and_zinc_in_acrylic_is_none():
    mixed = tube()
    mixed = replace(
        mixed, pigments=(replace(mixed.pigments[0], share=0.8), replace(mixed.pigments[0], ci_name="PW4", share=0.2))
    )
    assert severity(ask([there(layer(mix(paint=mixed)), THROUGH_D)], coming(), support="stretched"), "R20") is CAUTION
    acrylic = GroundFacts("acrylic", 60.0, "matte", ("PW4",))
    assert severity(ask((), coming(), ground=acrylic, support="stretched"), "R20") is SOUND


def test_r21_zinc_only_in_the_new_layer():
    upper = coming(layer(mix(paint=tube("PW4"))))
    assert severity(ask([there(age_d=THROUGH_D)], upper), "R21") is NOTE
    assert severity(ask([there(age_d=THROUGH_D)], upper), "R20") is SOUND


@pytest.mark.parametrize("age_d", [WET_D, THROUGH_D, 5000.0])
def test_r23_acrylic_over_oil_is_always_stopped(age_d):
    acrylic = coming(material=Material.ACRYLIC, stages={})
    finding = found(check(ask([there(age_d=age_d)], acrylic)), "R23")
    assert finding is not None and finding.severity is STOP
    assert finding.remedy is not None and finding.remedy.not_before_d is None
    assert severity(ask((), acrylic, ground=GroundFacts("oil", 400.0, "matte")), "R23") is STOP
    assert severity(ask((), acrylic), "R23") is SOUND
    # What lies on such acrylic hangs on the same bond: a caution, where the layer itself was a stop.
    primed = there(None, 30.0, {}, material=Material.ACRYLIC, surface="matte")
    assert severity(ask([there(age_d=400.0), primed], coming()), "R23") is CAUTION
    assert severity(ask([primed], coming(), ground=GroundFacts("oil", 400.0, "matte")), "R23") is CAUTION
    assert severity(ask([primed, there(age_d=20.0)], coming()), "R23") is SOUND


def test_r24_on_the_ground_itself():
    def at(age_d, surface="matte"):
        return severity(ask((), coming(), ground=GroundFacts("acrylic", age_d, surface)), "R24")

    assert [at(2.9), at(3.0), at(13.9), at(14.0), at(None)] == [STOP, NOTE, NOTE, SOUND, SOUND]
    assert [at(1.0, "gloss"), at(100.0, "gloss"), at(None, "gloss")] == [STOP, CAUTION, CAUTION]


def test_r25_young_oil_ground():
    def at(age_d):
        return severity(ask((), coming(), ground=GroundFacts("oil", age_d, "matte")), "R25")

    assert [at(13.0), at(14.0), at(179.0), at(180.0), at(None)] == [CAUTION, NOTE, NOTE, SOUND, SOUND]


def test_r26_slow_colour_below():
    black = there(layer(mix(paint=tube("PBk9")), um=50.0), 25.0, times(12.0, 25.0))
    finding = found(check(ask([black], coming(layer(mix(paint=umber())), times(2.0)))), "R26")
    assert finding is not None and finding.severity is NOTE
    assert severity(ask([black], coming(layer(mix(paint=umber())), times(2.0))), "R02") is STOP
    thin = replace(black, recipe=layer(mix(paint=tube("PBk9")), um=40.0))
    assert severity(ask([thin], coming(stages=times(12.0))), "R26") is SOUND
    assert severity(ask([replace(black, age_d=60.0)], coming(stages=times(12.0))), "R26") is SOUND


def test_r28_clove_oil():
    def drops(count):
        return coming(layer(mix(Addition(AdditionKind.CLOVE_OIL, drops_per_10_ml=count))))

    assert severity(ask((), drops(1.0)), "R28") is SOUND
    assert severity(ask((), drops(1.5)), "R28") is CAUTION


def test_r29_slow_oil_below():
    poppy = there(layer(mix(paint=tube(binder="poppy"))), TOUCH_DRY_D)
    assert severity(ask([poppy], coming(stages=times(4.0))), "R29") is NOTE
    assert severity(ask([poppy], coming(layer(mix(paint=tube(binder="poppy"))))), "R29") is SOUND
    assert severity(ask([replace(poppy, age_d=THROUGH_D)], coming()), "R29") is SOUND


def test_r30_counts_and_limits_the_couch():
    # Derived: 40 x 50 cm at 2 um is 0.40 ml.
    def oil_out(couch_ml, age_d=THROUGH_D):
        return check(
            ask([there(age_d=age_d)], coming(layer(um=30.0)), Action.OIL_OUT, area_cm2=2000.0, couch_ml=couch_ml)
        )

    for couch_ml, expected in ((0.4, NOTE), (1.0, NOTE), (1.01, CAUTION)):
        finding = found(oil_out(couch_ml), "R30")
        assert finding is not None and finding.severity is expected and finding.remedy is not None
        assert finding.remedy.max_couch_ml == pytest.approx(0.40)
    wet = found(oil_out(0.4, TACKY_D), "R30")
    assert wet is not None and wet.severity is STOP
    assert wet.remedy is not None and wet.remedy.not_before_d == pytest.approx(6.4)


def test_r30_the_oil_counts_as_richness_of_the_new_layer():
    below = there(layer(mix(oil(1.2))), TOUCH_DRY_D)
    upper = coming(layer(mix(oil(0.6)), um=30.0))
    assert severity(ask([below], upper), "R01") is CAUTION
    couched = ask([below], upper, Action.OIL_OUT, area_cm2=1000.0, couch_ml=0.2)  # 2 um on 30 um
    assert severity(couched, "R01") is SOUND


def test_r31_two_coats_of_varnish_between_stop():
    coat = there(None, 5.0, {}, material=Material.RETOUCH_VARNISH)
    assert severity(ask([there(age_d=THROUGH_D), coat, replace(coat, age_d=4.0)], coming()), "R31") is STOP


def test_r32_stiff_on_canvas():
    glue = GroundFacts("glue_chalk", 60.0, "absorbent")
    assert severity(ask((), coming(), ground=glue, support="stretched"), "R32") is CAUTION
    assert severity(ask((), coming(), ground=glue), "R32") is SOUND


def test_r34_dust():
    cadmium = there(layer(mix(paint=tube("PR108"))), THROUGH_D)
    finding = found(check(ask([cadmium], None, Action.ABRADE)), "R34")
    assert finding is not None and finding.severity is STOP and "PR108" in finding.reason
    assert check(ask([there(age_d=THROUGH_D)], None, Action.ABRADE)).verdict is SOUND
    unknown = there(None, 9000.0, {}, material=Material.OLD_PAINTING)
    assert severity(ask([unknown], None, Action.ABRADE), "R34") is STOP


@pytest.mark.parametrize(
    ("um", "parts", "wait_d"),
    [(100.0, 0.0, 180.0), (200.0, 0.0, 272.5), (300.0, 0.0, 365.0), (900.0, 0.0, 365.0), (40.0, 3.1, 365.0)],
)
def test_r35_wait_by_thickness_and_richness(um, parts, wait_d):
    # Derived: between 100 and 300 um in proportion; the later of the rule's wait and the model's.
    last = there(layer(mix(oil(parts)), um=um), 50.0)
    finding = found(check(ask([last], None, Action.FINAL_VARNISH)), "R35")
    assert finding is not None and finding.severity is STOP and finding.remedy is not None
    assert finding.remedy.not_before_d == pytest.approx(wait_d)


def test_r35_the_models_later_date_counts():
    slow = there(layer(), 50.0, times(20.0, 60.0))  # model: 60 + 4 x 60 = 300 d
    finding = found(check(ask([slow], None, Action.FINAL_VARNISH)), "R35")
    assert finding is not None and finding.remedy is not None
    assert finding.remedy.not_before_d == pytest.approx(300.0)


def test_r35_alkyd_throughout_is_a_note_from_60_days():
    alkyd = there(layer(), 61.0, {**times(1.0, 2.0)}, material=Material.ALKYD)
    finding = found(check(ask([replace(alkyd, age_d=70.0)], None, Action.FINAL_VARNISH)), "R35")
    assert finding is not None and finding.severity is NOTE
    early = found(check(ask([replace(alkyd, age_d=59.0)], None, Action.FINAL_VARNISH)), "R35")
    assert early is not None and early.severity is STOP


@pytest.mark.parametrize(
    ("age_d", "expected"), [(5.0, STOP), (13.9, STOP), (14.0, CAUTION), (29.9, CAUTION), (30.0, NOTE)]
)
def test_r35_temporary_varnish(age_d, expected):
    assert severity(ask([there(age_d=age_d)], None, Action.TEMPORARY_VARNISH), "R35") is expected


@pytest.mark.parametrize(
    ("action", "age_d", "expected"),
    [
        (Action.FRAME, 5.0, STOP),
        (Action.FRAME, 20.3, CAUTION),
        (Action.FRAME, 20.5, NOTE),
        (Action.FRAME, 34.5, SOUND),
        (Action.FRAME_GLAZED, 5.0, STOP),
        (Action.FRAME_GLAZED, 10.0, CAUTION),
        (Action.FRAME_GLAZED, 19.3, SOUND),
        (Action.WRAP, 49.0, STOP),
        (Action.WRAP, 49.3, SOUND),
        (Action.STACK, 5.0, STOP),
        (Action.STACK, 10.0, CAUTION),
        (Action.STACK, 19.3, SOUND),
        (Action.SHIP, 5.0, CAUTION),
        (Action.SHIP, 10.0, SOUND),
    ],
)
def test_r36_gates(action, age_d, expected):
    # Touch-dry 6.4, dry through 19.2 days.
    assert severity(ask([there(age_d=age_d)], None, action), "R36") is expected


@pytest.mark.parametrize(
    ("cold_c", "support", "expected"),
    [
        (10.0, "rigid", SOUND),
        (9.0, "rigid", NOTE),
        (5.0, "rigid", NOTE),
        (4.0, "rigid", CAUTION),
        (-1.0, "rigid", CAUTION),
        (-1.0, "stretched", STOP),
        (30.0, "rigid", SOUND),
        (31.0, "rigid", NOTE),
    ],
)
def test_r36_on_the_way(cold_c, support, expected):
    situation = ask([there(age_d=THROUGH_D)], None, Action.SHIP, transit_c=cold_c, support=support)
    assert severity(situation, "R36") is expected


def test_r37_a_glaze_wants_a_bed_well_dried():
    glaze = coming(layer(mix(oil(3)), um=15.0))
    assert severity(ask([there(age_d=8.0)], glaze), "R37") is CAUTION
    assert severity(ask([there(age_d=11.0)], glaze), "R37") is SOUND  # ready for the next layer at 10.9
    assert severity(ask([there(age_d=11.0, surface="gloss")], glaze), "R37") is CAUTION
    assert severity(ask([there(age_d=8.0)], coming(layer(mix(oil(3)), um=21.0))), "R37") is SOUND


def test_r38_three_layers_over_one_that_still_dries():
    first = there(layer(), 12.0, times(3.0, 30.0))
    second = there(layer(), 4.5, times(3.0, 30.0), observed=FilmState.TOUCH_DRY, observed_age_d=4.0)
    situation = ask([first, second], coming(stages=times(3.0)))
    finding = found(check(situation), "R38")
    assert finding is not None and finding.severity is NOTE and finding.remedy is not None
    assert finding.remedy.not_before_d == pytest.approx(4.8)
    assert severity(ask([second], coming(stages=times(3.0))), "R38") is SOUND
