"""What the rules say on screen: plain, hedged, with their basis, and never a word that promises too much."""

import re
import tomllib
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from server.science.estimate import estimate
from server.science.recipe import Ground, LayerRecipe, MixRecipe, Paint, PigmentShare, Room, RoomStep
from server.science.results import FilmState, Stage
from server.science.soundness import (
    RULES,
    Action,
    GroundFacts,
    Material,
    NewLayer,
    PaintedLayer,
    Severity,
    Situation,
    check,
)
from server.science.soundness import sources as source_table
from server.science.soundness.sources import SOURCES
from server.science.soundness.words import enough
from tests.soundness.builders import TACKY_D, ask, coming, found, layer, mix, oil, rules_of, solvent, there, times, tube
from tests.soundness.strategies import situations

FORBIDDEN = re.compile(r"\b(safe|safely|safer|safety|archival|guarantee\w*|will crack|won't crack)\b", re.IGNORECASE)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{rule.id} {rule.title}")
def test_a49_what_is_known_of_a_rule_promises_nothing_and_names_its_support(rule):
    # Derived: the wording the rules set themselves.
    texts = [rule.title, rule.evidence, rule.why, rule.dispute, rule.source]
    assert not [text for text in texts if FORBIDDEN.search(text)]
    assert rule.sources and rule.source and rule.evidence and rule.why.endswith(".")
    assert set(rule.sources) <= set(SOURCES)


def test_every_rule_from_r01_to_r38_is_there():
    assert {rule.id for rule in RULES} == {f"R{number:02d}" for number in range(1, 39)}
    assert len({(rule.id, rule.title) for rule in RULES}) == len(RULES)


def test_every_source_is_cited_by_some_rule():
    cited = {key for rule in RULES for key in rule.sources}
    assert set(SOURCES) == cited
    rows = tomllib.loads(source_table.TABLE.read_text(encoding="utf-8"))
    assert {row["read"] for row in rows.values()} <= {"excerpt", "second-hand", "none"}


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
@given(situations())
def test_a49_no_finding_promises_and_each_shows_its_basis(situation):
    for item in check(situation).findings:
        remedy = item.remedy.text if item.remedy else ""
        for text in (item.title, item.reason, item.source, remedy):
            assert not FORBIDDEN.search(text), text
            assert "inf" not in text.split() and "nan" not in text.split() and "  " not in text
        assert item.reason.endswith(".") and item.reason[0] == item.reason[0].upper()
        assert not remedy or (remedy.endswith(".") and not remedy.startswith("Or "))
        assert item.basis and item.source


def test_a49_a_date_from_the_model_shows_its_range():
    finding = found(check(ask([there(age_d=TACKY_D)], coming())), "R03")
    assert finding is not None
    assert "an age of 4 days, nine times in ten by 6.5 days" in finding.reason


def test_several_mixes_are_named_and_each_gets_its_oil():
    upper = layer(mix(name="sky", area=0.7), mix(oil(0.5), name="sea", area=0.3))
    finding = found(check(ask([there(layer(mix(oil(1.5))), 8.0)], coming(upper))), "R01")
    assert finding is not None and finding.remedy is not None
    assert "in “sky”" in finding.reason
    assert finding.remedy.add_oil_ml == pytest.approx(1.5)
    assert [round(change.add_oil_ml, 9) for change in finding.remedy.by_mix] == [1.5, 1.0]
    assert "in “sky”" in finding.remedy.text and "in “sea”" in finding.remedy.text


def test_finish_actions_speak_of_the_last_layer():
    finding = found(check(ask([there(age_d=20.0)], None, Action.FINAL_VARNISH)), "R35")
    assert finding is not None and finding.remedy is not None
    assert "the last layer is 180 days" in finding.remedy.text


class TestTheThinnedWhiteOnGesso:
    """A trade fact, common practice without a source.

    A first layer of white with a touch of black, well thinned with mineral spirits, on gesso-primed hardboard in an
    ordinary room is not yet fully dry to the touch after three days, but can be worked on with light pressure and a
    brush wiped free of thinner.
    """

    pigments = (PigmentShare("PW6", None, 0.95), PigmentShare("PBk9", None, 0.05))
    plain = MixRecipe("white with a touch of black", 1.0, (Paint(1.0, "linseed", pigments),))
    thinned = replace(plain, additions=(solvent(1.0),))
    first = LayerRecipe(40.0, Ground.ACRYLIC, (thinned,))
    room = Room((RoomStep(0.0, 20.0, 50.0),))

    def on_day_three(self, action: Action, upper: MixRecipe | None = None) -> Situation:
        recipe = LayerRecipe(40.0, Ground.PAINT, (upper or self.plain,))
        below = PaintedLayer(Material.OIL, 3.0, estimate(self.first, self.room).stages, self.first)
        new = NewLayer(Material.OIL, estimate(recipe, self.room).stages, recipe)
        return Situation("rigid", GroundFacts("acrylic", 30.0, "absorbent"), (below,), new, action)

    def test_it_is_not_yet_fully_dry_to_the_touch_after_three_days(self):
        touch = estimate(self.first, self.room).stages[Stage.DRY_TO_TOUCH]
        assert 3.5 <= touch.p50_d <= 4.5
        assert check(self.on_day_three(Action.NEXT_LAYER)).state is FilmState.TACKY

    def test_an_ordinary_next_layer_is_stopped_with_its_date(self):
        verdict = check(self.on_day_three(Action.NEXT_LAYER))
        finding = found(verdict, "R03")
        assert verdict.verdict is Severity.STOP and rules_of(verdict) == ["R03"]
        assert finding is not None and finding.remedy is not None
        assert finding.remedy.not_before_d == estimate(self.first, self.room).stages[Stage.DRY_TO_TOUCH].p90_d
        assert "not yet fully dry to the touch" in finding.reason
        assert "can be worked on with light pressure and a brush wiped free of thinner" in finding.reason

    def test_working_lightly_unthinned_is_a_caution_that_says_how(self):
        verdict = check(self.on_day_three(Action.WORK_LIGHTLY))
        finding = found(verdict, "R05")
        assert verdict.verdict is Severity.CAUTION and rules_of(verdict) == ["R05"]
        assert finding is not None and finding.remedy is not None
        assert "not yet fully dry to the touch" in finding.reason
        assert "can be worked on with light pressure and a brush wiped free of thinner" in finding.reason
        assert "light pressure, a soft clean brush wiped free of thinner" in finding.remedy.text

    def test_working_lightly_with_the_thinned_mix_is_not_for_it(self):
        verdict = check(self.on_day_three(Action.WORK_LIGHTLY, self.thinned))
        assert verdict.verdict is Severity.STOP and "R03" in rules_of(verdict)


@pytest.mark.parametrize(
    ("exact", "told"),
    [(2.0, "2.0"), (0.465, "0.47"), (2.236, "2.3"), (0.991, "1.0"), (9.91, "10"), (14.0, "14"), (12.03, "12.1")],
)
def test_an_amount_that_less_would_not_do_for_is_rounded_up(exact, told):
    # Derived: 10 ml of tube paint with 8 ml of solvent is back at S 0.30 without 3.7 ml of it; 0.3 ml is not 0.27 ml.
    assert enough(exact) == told


def test_what_a_remedy_says_is_enough_when_it_is_done_as_said():
    # Published: S = solvent over the wet volume, at most 0.30. 23 parts of tube, 15 of solvent, told for 10 ml.
    situation = ask((), coming(layer(mix(solvent(15), paint=tube(parts=23.0)))))
    finding = found(check(situation), "R10")
    assert finding is not None and finding.remedy is not None
    told = re.match(r"Leave out ([\d.]+) ml of solvent per 10 ml", finding.remedy.text)
    assert told is not None
    left = 15.0 * 10.0 / 23.0 - float(told[1])
    assert left / (10.0 + left) <= 0.30


def test_a_layer_further_down_is_named_without_a_stray_comma():
    # Derived: plain English; what is put in after a name ends with its own comma.
    deep = there(layer(mix(oil(8))), 12.0, times(3.0, 30.0))
    finding = found(check(ask([deep, there(age_d=8.0)], coming())), "R01")
    assert finding is not None and "further down" in finding.reason
    assert not re.search(r",[:,.;]", finding.reason)
