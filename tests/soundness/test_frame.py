"""The frame around the rules: thresholds, precedence, ages, observed states, and agreement with the composition."""

import math
import tomllib
from dataclasses import replace
from math import inf

import pytest
from hypothesis import given, settings

from server.science.composition import compose
from server.science.recipe import Ground
from server.science.results import FilmState
from server.science.soundness import DEFAULT, ROWS, Action, Material, Severity, check, later, with_remedy
from server.science.soundness import thresholds as threshold_table
from server.science.soundness.compare import Ages, above, below
from server.science.soundness.mixes import mix_facts
from server.science.soundness.remedies import drops
from server.science.soundness.types import Basis
from server.science.soundness.words import amount, days
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
    oil,
    rules_of,
    severity,
    solvent,
    there,
    times,
    tube,
)
from tests.soundness.strategies import recipes


def test_the_table_of_thresholds_is_complete_and_in_bounds():
    rows = tomllib.loads(threshold_table.TABLE.read_text(encoding="utf-8"))["threshold"]
    assert [row["name"] for row in rows] == [row.name for row in ROWS]
    assert len({row.name for row in ROWS}) == len(ROWS)
    for row in ROWS:
        assert row.low <= row.value <= row.high, row.name
        assert row.meaning and row.unit and isinstance(row.basis, Basis)
        assert getattr(DEFAULT, row.name) == row.value


def test_a_studio_may_edit_a_threshold():
    situation = ask([there(layer(mix(oil(1))), TOUCH_DRY_D)], coming())
    assert found(check(situation), "R01") is not None
    bolder = DEFAULT.edited({"fat_gap_pass": 0.12})
    assert found(check(situation, bolder), "R01") is None
    assert bolder.edits() == {"fat_gap_pass": 0.12} and DEFAULT.edits() == {}


@pytest.mark.parametrize(
    ("edit", "message"),
    [
        ({"fat_gap": 0.1}, "no such threshold"),
        ({"fat_gap_pass": -0.1}, "not between"),
        ({"fat_gap_pass": math.nan}, "not between"),
        ({"varnish_thin_d": 1e9}, "not between"),
    ],
)
def test_an_edit_out_of_bounds_is_refused_by_name(edit, message):
    with pytest.raises(ValueError, match=message) as error:
        DEFAULT.edited(edit)
    assert next(iter(edit)) in str(error.value)


def test_bounds_are_inclusive_within_the_tolerance():
    assert not above(0.15000000000000002, 0.15) and not above(0.15 + 9e-10, 0.15)
    assert above(0.15 + 2e-9, 0.15)
    assert not below(0.7 - 9e-10, 0.7) and below(0.7 - 2e-9, 0.7)


def test_the_book_of_ages_keeps_the_nearest_boundary():
    ages = Ages()
    assert ages.next_d == math.inf
    assert ages.reached(5.0, 5.0) and ages.reached(5.0, 5.0 + 1e-10) and ages.next_d == math.inf
    assert not ages.reached(5.0, 9.0) and not ages.past(5.0, 7.0)
    assert ages.next_d == pytest.approx(2.0)
    assert not ages.past(7.0, 7.0) and ages.past(7.1, 7.0)


def test_a_verdict_changes_just_when_it_says():
    situation = ask([there(age_d=TACKY_D)], coming())
    now = check(situation)
    assert now.unchanged_for_d == pytest.approx(6.4 - TACKY_D, abs=1e-6)
    assert check(later(situation, now.unchanged_for_d * (1 - 1e-9))).state is FilmState.TACKY
    assert check(later(situation, now.unchanged_for_d + 1e-8)).state is FilmState.TOUCH_DRY


def test_a_dry_panel_stands_until_it_counts_as_old():
    assert check(ask([there(age_d=100.0)], coming())).unchanged_for_d == pytest.approx(80.0, abs=1e-6)
    assert check(ask([there(age_d=300.0)], coming())).unchanged_for_d == math.inf


def test_bare_ground_has_no_state():
    verdict = check(ask((), coming()))
    assert verdict.state is FilmState.NONE and verdict.verdict is Severity.SOUND


@pytest.mark.parametrize(
    ("observed", "age_d", "expected"),
    [
        (FilmState.WET, THROUGH_D, FilmState.WET),
        (FilmState.TACKY, THROUGH_D, FilmState.TACKY),
        (FilmState.TOUCH_DRY, THROUGH_D, FilmState.TOUCH_DRY),
        (FilmState.FIRM, WET_D, FilmState.FIRM),
        (FilmState.TOUCH_DRY, WET_D, FilmState.TOUCH_DRY),
        (FilmState.TACKY, WET_D, FilmState.TACKY),
    ],
)
@pytest.mark.parametrize("pressed", ["now", "said so"])
def test_the_painters_own_press_wins(observed, age_d, expected, pressed):
    pressed_d = None if pressed == "now" else age_d
    lower = there(age_d=age_d, observed=observed, observed_age_d=pressed_d)
    assert check(ask([lower], coming())).state is expected


def test_an_old_tacky_pushes_the_date_out_but_does_not_hold_for_ever():
    pressed = there(age_d=7.0, observed=FilmState.TACKY, observed_age_d=7.0)  # the model said touch-dry by 6.4
    verdict = check(ask([pressed], coming()))
    finding = found(verdict, "R03")
    assert finding is not None and finding.remedy is not None and finding.remedy.not_before_d is not None
    assert 7.0 < finding.remedy.not_before_d < 20.0
    assert check(ask([replace(pressed, age_d=finding.remedy.not_before_d)], coming())).state is FilmState.TOUCH_DRY
    early = there(age_d=6.5, observed=FilmState.TACKY, observed_age_d=1.0)
    assert check(ask([early], coming())).state is FilmState.TOUCH_DRY


def test_a_touch_dry_is_never_taken_back_and_firm_comes_by_the_model():
    pressed = there(age_d=5.0, observed=FilmState.TOUCH_DRY, observed_age_d=2.0)
    assert check(ask([pressed], coming())).state is FilmState.TOUCH_DRY
    assert check(ask([replace(pressed, age_d=19.1)], coming())).state is FilmState.TOUCH_DRY
    assert check(ask([replace(pressed, age_d=21.0)], coming())).state is FilmState.FIRM


def test_a_press_from_later_is_not_known_yet():
    lower = there(age_d=TACKY_D, observed=FilmState.FIRM, observed_age_d=20.0)
    assert check(ask([lower], coming())).state is FilmState.TACKY


@pytest.mark.parametrize("material", [Material.ACRYLIC, Material.RETOUCH_VARNISH, Material.OLD_PAINTING])
def test_films_that_do_not_dry_like_oil_have_no_use_for_oils_times(material):
    lower = there(None, 0.1, times(50.0), material=material)
    assert check(ask([lower], coming())).state is FilmState.FIRM
    soft = replace(lower, age_d=1.0, observed=FilmState.TACKY, observed_age_d=1.0)
    assert severity(ask([soft], coming()), "R03") is Severity.STOP
    assert check(later(ask([soft], coming()), 30.0)).state is FilmState.FIRM


def test_findings_are_worst_first_then_what_stops_the_longest_then_by_number():
    """R20: a layer of zinc white below stays one, however old; no waiting cures it."""
    zinc = there(layer(mix(oil(3), paint=tube("PW4"))), TACKY_D)
    verdict = check(ask([zinc], coming(layer(mix(solvent(5)))), support="stretched"))
    assert rules_of(verdict) == ["R20", "R01", "R03", "R10", "R21", "R22", "R32"]
    holds = [finding.holds_d for finding in verdict.findings if finding.severity is Severity.STOP]
    assert holds[0] == inf and inf > holds[1] > holds[2]


def test_a_remedy_applied_changes_only_what_it_names():
    situation = ask([there(layer(mix(oil(2))), TOUCH_DRY_D)], coming(layer(mix(solvent(1)))))
    finding = found(check(situation), "R01")
    assert finding is not None and finding.remedy is not None
    changed = with_remedy(situation, finding.remedy)
    assert changed.upper is not None and situation.upper is not None
    assert changed.stack == situation.stack
    before, after = situation.upper.recipe.mixes[0], changed.upper.recipe.mixes[0]
    assert after.paints == before.paints
    assert [(item.kind, item.parts) for item in after.additions] == [
        ("solvent", 1.0),
        ("oil", pytest.approx(2.0)),
    ]


def test_drops_hold_at_least_the_oil_asked_for():
    assert [drops(2.0, 20.0), drops(2.0000000000000004, 20.0), drops(0.47, 20.0)] == [40, 40, 10]


def test_numbers_have_the_precision_they_have():
    assert [days(0.01), days(1.0), days(1.5), days(4.1), days(6.4), days(19.2), days(180.0), days(2407.6)] == [
        "1 hour",
        "24 hours",
        "36 hours",
        "4 days",
        "6.5 days",
        "19 days",
        "180 days (about 6 months)",
        "about 6.6 years",
    ]
    assert [amount(0.47), amount(1.86), amount(14.04)] == ["0.47", "1.9", "14"]
    assert [amount(0.99999999), amount(9.96)] == ["1.0", "10"]


@settings(max_examples=100, deadline=None)
@given(recipes())
def test_richness_medium_and_solvent_agree_with_the_composition(recipe):
    """Clove oil is left out: the rules count it by drops, the composition by its trace of volume."""
    for facts, made in zip(mix_facts(recipe, DEFAULT), recipe.mixes, strict=True):
        if facts.clove_drops > 0.0 or any(a.parts == 0.0 and a.kind != "drier" for a in made.additions):
            continue
        composed = compose(made, recipe.wet_thickness_um, Ground.PAINT)
        assert facts.richness == pytest.approx(composed.richness, rel=1e-9)
        assert facts.added_share == pytest.approx(composed.added_binder_share, rel=1e-9, abs=1e-12)
        assert facts.solvent_share == pytest.approx(composed.solvent_share, rel=1e-9, abs=1e-12)


def test_actions_without_paint_below_have_nothing_to_say():
    for action in (Action.FINAL_VARNISH, Action.TEMPORARY_VARNISH, Action.FRAME, Action.WRAP, Action.OIL_OUT):
        assert check(ask((), None, action)).verdict is Severity.SOUND
