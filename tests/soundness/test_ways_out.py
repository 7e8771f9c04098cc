"""Ways out that can be carried out at once, and layers that leave others bare.

Basis of every test here: derived from the rules as written, unless it says otherwise.
"""

from dataclasses import replace

import pytest

from server.science.recipe import Addition, AdditionKind
from server.science.results import FilmState, Stage
from server.science.soundness import DEFAULT, Material, Severity, Way, at_date, changed_layer, check, with_way
from server.science.soundness.mixes import mix_facts
from tests.soundness.builders import (
    SPREAD,
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
    severity,
    solvent,
    there,
    times,
)

DRIER = Addition(AdditionKind.DRIER, metal="Co", percent_on_oil=0.1)


def remedy_of(situation, rule):
    finding = found(check(situation), rule)
    assert finding is not None and finding.remedy is not None
    return finding.remedy


def test_the_oil_to_add_is_the_one_there_is_most_of_by_the_studio_s_own_binder_share():
    for share, name in ((0.65, "linseed"), (0.5, "walnut")):
        limits = DEFAULT.edited({"base_binder_fraction": share})
        [facts] = mix_facts(layer(mix(oil(5.5, "walnut"))), limits)
        assert facts.prevailing_oil == name


def test_oil_is_poured_to_the_oil_that_is_there():
    situation = ask([there(layer(mix(oil(2))), TOUCH_DRY_D)], coming(layer(mix(oil(0.5)))))
    way = remedy_of(situation, "R01").ways[0]
    changed = with_way(situation, way)
    assert changed.upper is not None
    [only] = changed.upper.recipe.mixes[0].additions
    assert only.kind is AdditionKind.OIL and only.parts == pytest.approx(2.0)


def test_a_film_without_tube_paint_is_thinned_by_its_own_parts():
    clear = replace(mix(), paints=(), additions=(oil(4), solvent(6)))
    situation = ask((), coming(layer(clear, um=10.0)), paint_ml=8.0)
    remedy = remedy_of(situation, "R10")
    # S 0.6 down to 0.3: y = V (S - 0.3) / 0.7 parts, and four parts of oil are the 8 ml.
    assert remedy.reduce_solvent_ml == pytest.approx(10.0 * 0.3 / 0.7 * 2.0)
    changed = with_way(situation, remedy.ways[0])
    assert changed.upper is not None
    [facts] = mix_facts(changed.upper.recipe, DEFAULT)
    assert facts.solvent_share == pytest.approx(0.3)


def test_solvent_may_be_swapped_for_a_tenth_of_oil():
    situation = ask((), coming(layer(mix(solvent(10)))), ground=replace(ask().ground, surface="sealed"))
    plain, swapped = remedy_of(situation, "R10").ways
    assert plain.by_mix[0].add_oil_ml == 0.0
    change = swapped.by_mix[0]
    assert change.add_oil_ml == pytest.approx(1.0)
    # Twenty parts with one of oil for one of solvent, then (9 - 0.3 * 20) / 0.7 left out.
    assert change.reduce_solvent_ml == pytest.approx(1.0 + 3.0 / 0.7)
    assert severity(with_way(situation, swapped), "R10") is Severity.SOUND


def test_wiping_down_is_not_offered_where_the_bed_would_crack_the_glaze():
    rich = coming(layer(mix(oil(6)), um=60.0))
    over_young = remedy_of(ask([there(age_d=6.5, stages=times(4.0, 12.0))], rich), "R08")
    assert over_young.wet_thickness_um is None and "wipe" not in over_young.text
    over_dry = remedy_of(ask([there(age_d=THROUGH_D)], rich), "R08")
    assert over_dry.wet_thickness_um == 15.0 and "wipe the film down to 15 µm" in over_dry.text


def test_thin_over_thick_may_go_on_thicker():
    thick = there(layer(um=240.0), TOUCH_DRY_D)
    situation = ask([thick], coming(layer(um=40.0)))
    remedy = remedy_of(situation, "R07")
    assert remedy.wet_thickness_um == pytest.approx(80.0)
    assert remedy.text.startswith("Lay the new paint on at 80 µm or more, or wait")


@pytest.mark.parametrize(
    ("rule", "addition"),
    [
        ("R15", Addition(AdditionKind.ALKYD_MEDIUM, parts=2.0, non_volatile=0.5)),
        ("R17", DRIER),
        ("R18", more(AdditionKind.SOFT_RESIN, 1.0)),
        ("R19", more(AdditionKind.WAX, 1.0)),
        ("R28", Addition(AdditionKind.CLOVE_OIL, drops_per_10_ml=2.0)),
    ],
)
def test_what_makes_the_trouble_may_be_left_out(rule, addition):
    situation = ask([there(age_d=TOUCH_DRY_D)], coming(layer(mix(oil(1), addition))))
    remedy = remedy_of(situation, rule)
    assert remedy.text.startswith("Leave out the ")
    changed = with_way(situation, remedy.ways[0])
    assert changed.upper is not None
    assert addition.kind not in {item.kind for item in changed.upper.recipe.mixes[0].additions}
    assert severity(changed, rule) is Severity.SOUND


def test_a_drier_inside_the_oil_cannot_be_left_out():
    boiled = coming(layer(mix(oil(1, "boiled_linseed"))))
    remedy = remedy_of(ask([there(age_d=TOUCH_DRY_D)], boiled), "R17")
    assert remedy.ways == () and remedy.not_before_d is not None


def test_several_coats_are_a_way_to_change_the_layer():
    thick = layer(mix(oil(2)), um=150.0)
    assert changed_layer(thick, Way(coats=3)).wet_thickness_um == pytest.approx(50.0)


def test_splitting_is_not_offered_where_a_thin_coat_would_be_quick_over_slow():
    """A coat of a quarter is touch-dry in half the time: root of the thickness (drying model, equation 6)."""
    thick, below = layer(mix(oil(3)), um=240.0), there(age_d=TOUCH_DRY_D)
    quick = remedy_of(ask([below], coming(thick, times(5.0))), "R09")  # 2.5 d over 4 d: below 0.7
    assert quick.coats is None and quick.text.startswith("Splitting it into thin coats would break R02")
    slow = ask([below], coming(thick, times(6.0)))
    assert remedy_of(slow, "R09").coats == 4
    split = with_way(slow, Way(coats=4)).upper
    assert split is not None and split.stages[Stage.DRY_TO_TOUCH].p50_d == pytest.approx(3.0)


def test_the_rest_between_many_layers_lasts_until_the_note_is_gone():
    """The first is dry through by then, and the next fattest asks for a longer rest of its own."""
    first = there(layer(mix(oil(8))), 8.0, times(3.0, 6.0))
    second, third = there(layer(mix(oil(4))), 3.0, times(8.0, 30.0)), there(age_d=1.0, stages=times(3.0))
    situation = ask([first, second, third], coming())
    date_d = remedy_of(situation, "R38").not_before_d
    assert date_d == pytest.approx(8.0 * SPREAD)
    assert severity(at_date(situation, date_d), "R38") is Severity.SOUND


TOUCHES = layer(mix(area=0.05, name="lights"))


def test_a_dry_touch_on_top_does_not_hide_the_soft_layer_round_it():
    soft, dry = there(age_d=TACKY_D), there(TOUCHES, 3.0, times(1.0))
    verdict = check(ask([soft, dry], coming()))
    finding = found(verdict, "R03")
    assert verdict.state is FilmState.TOUCH_DRY
    assert finding is not None and finding.severity is Severity.STOP and finding.remedy is not None
    # Touch-dry nine times in ten at 6.4 days of its own age, when the touches are a day and a half younger.
    assert finding.remedy.not_before_d == pytest.approx(6.4 - (TACKY_D - 3.0))
    covered = there(layer(mix(area=1.0)), 3.0, times(1.0))
    assert found(check(ask([soft, covered], coming())), "R03") is None


def test_a_soft_touch_on_a_dry_panel_leaves_the_rest_free():
    situation = ask([there(age_d=THROUGH_D), there(TOUCHES, 1.0)], coming())
    remedy = remedy_of(situation, "R03")
    assert "Only about 5 % of the area is soft" in remedy.text
    assert "Only about" not in remedy_of(ask([there(age_d=1.0)], coming()), "R03").text


def test_what_a_touch_leaves_bare_is_old_acrylic_or_glossy_still():
    dry = there(TOUCHES, 30.0, times(1.0))
    assert severity(ask([there(age_d=200.0), dry], coming()), "R14") is Severity.CAUTION
    glossy = there(age_d=100.0, surface="gloss")
    assert severity(ask([glossy, dry], coming(layer(mix(oil(3)), um=15.0))), "R37") is Severity.CAUTION
    acrylic = there(None, 31.0, {}, material=Material.ACRYLIC, surface="gloss")
    assert severity(ask([acrylic, dry], coming()), "R24") is Severity.CAUTION
    young = there(age_d=TOUCH_DRY_D + 3.0, stages=times(4.0, 60.0))
    thinned = coming(layer(mix(solvent(4))))
    assert severity(ask([young, replace(dry, age_d=TOUCH_DRY_D)], thinned), "R11") is Severity.CAUTION


def test_a_rich_layer_left_bare_counts_although_it_is_dry_through():
    rich, dry = there(layer(mix(oil(2))), 60.0), there(TOUCHES, 30.0, times(1.0))
    assert severity(ask([rich, dry], coming()), "R01") is Severity.CAUTION
    covered = replace(dry, recipe=layer())
    assert severity(ask([rich, covered], coming()), "R01") is Severity.SOUND


def test_another_layer_on_a_finished_picture_is_a_caution():
    # Published: handbooks and conservators on painting over finished pictures.
    situation = ask([there(age_d=THROUGH_D)], coming())
    assert severity(situation, "R33") is Severity.SOUND
    assert severity(replace(situation, finished=True), "R33") is Severity.CAUTION
    assert severity(replace(situation, finished=True, upper=None), "R33") is Severity.SOUND
