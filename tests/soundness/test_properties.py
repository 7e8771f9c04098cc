"""What must hold of every situation, whatever is in it. Basis: derived from the rules as written."""

from dataclasses import replace

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from server.science.recipe import Addition, AdditionKind
from server.science.soundness import Action, Severity, Situation, at_date, check, later, with_remedy, with_way
from tests.soundness.builders import ORDER, severity
from tests.soundness.strategies import PAINTING, situations

MANY = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


def weight(found: Severity) -> int:
    return ORDER.index(found)


def weights(situation: Situation) -> dict[tuple[str, str], int]:
    return {(item.rule, item.title): weight(item.severity) for item in check(situation).findings}


def with_more_oil(situation: Situation, parts: float, place: int) -> Situation:
    assert situation.upper is not None
    recipe = situation.upper.recipe
    mixes = list(recipe.mixes)
    mix = mixes[place % len(mixes)]
    added = Addition(AdditionKind.OIL, parts=parts, oil="linseed")
    mixes[place % len(mixes)] = replace(mix, additions=(*mix.additions, added))
    return replace(situation, upper=replace(situation.upper, recipe=replace(recipe, mixes=tuple(mixes))))


@MANY
@given(situations(actions=PAINTING), st.floats(0.01, 10.0), st.integers(0, 3))
def test_more_oil_never_worsens_the_order_nor_mends_the_excess(situation, parts, place):
    assume(situation.upper is not None)
    more_oil_harms_no_order_and_mends_no_excess(situation, parts, place)


def more_oil_harms_no_order_and_mends_no_excess(situation: Situation, parts: float, place: int) -> None:
    oilier = with_more_oil(situation, parts, place)
    assert weight(severity(oilier, "R01")) <= weight(severity(situation, "R01"))
    assert weight(severity(oilier, "R08")) >= weight(severity(situation, "R08"))


@MANY
@given(situations(), st.floats(0.0, 400.0))
def test_waiting_never_worsens_a_verdict(situation, wait_d):
    """Except by the age of R14; wet into wet, the other exception, is left out of these situations."""
    waiting_worsens_nothing(situation, wait_d)


def waiting_worsens_nothing(situation: Situation, wait_d: float) -> None:
    def worst(at: Situation) -> int:
        return max((weight(item.severity) for item in check(at).findings if item.rule != "R14"), default=0)

    assert worst(later(situation, wait_d)) <= worst(situation)


@MANY
@given(situations(actions=PAINTING, same_session=True), st.floats(0.0, 400.0))
def test_waiting_out_of_wet_into_wet_may_worsen_it_once_only(situation, wait_d):
    now, then = check(situation), check(later(situation, wait_d))
    rules = {item.rule for item in now.findings}
    if "R04" in rules and "R04" not in {item.rule for item in then.findings}:
        return
    old = [item for item in then.findings if item.rule != "R14"]
    assert max((weight(item.severity) for item in old), default=0) <= weight(now.verdict)


@MANY
@given(situations())
def test_every_offered_way_lowers_its_finding_and_breaks_no_other(situation):
    ways_lower_and_break_nothing(situation)


def ways_lower_and_break_nothing(situation: Situation) -> None:
    before = weights(situation)
    for item in check(situation).findings:
        if item.remedy is None:
            continue
        key = (item.rule, item.title)
        for way in item.remedy.ways:
            after = weights(with_way(situation, way))
            assert after.get(key, 0) < before[key]
            assert all(value <= before.get(other, 0) for other, value in after.items())


@MANY
@given(situations())
def test_an_offered_date_lies_ahead_lowers_its_finding_and_breaks_no_other(situation):
    """No other as heavy as what is lifted by then; and but for the age of R14, which waiting alone can bring about."""
    dates_lie_ahead_lower_and_break_nothing(situation)


def dates_lie_ahead_lower_and_break_nothing(situation: Situation) -> None:
    before = weights(situation)
    for item in check(situation).findings:
        if item.remedy is None or item.remedy.not_before_d is None:
            continue
        then = at_date(situation, item.remedy.not_before_d)
        now_d = situation.stack[-1].age_d if situation.stack else situation.ground.age_d
        assert now_d is not None and item.remedy.not_before_d > now_d
        after = weights(then)
        assert after.get((item.rule, item.title), 0) < weight(item.severity)
        lifted = max(value for key, value in before.items() if after.get(key, 0) < value)
        worse = [
            key for key, value in after.items() if value >= max(lifted, before.get(key, 0) + 1) and key[0] != "R14"
        ]
        assert not worse or situation_leaves_the_wet(situation, then)


def situation_leaves_the_wet(now: Situation, then: Situation) -> bool:
    """Whether waiting until then closes the window of wet into wet, which may worsen other findings."""
    return "R04" in {item.rule for item in check(now).findings} - {item.rule for item in check(then).findings}


@MANY
@given(situations(actions=(Action.OIL_OUT,), least=1))
def test_a_thinner_couch_lowers_its_caution(situation):
    for item in check(situation).findings:
        if item.rule == "R30" and item.severity is Severity.CAUTION:
            assert item.remedy is not None
            assert severity(with_remedy(situation, item.remedy), "R30") is Severity.NOTE


@MANY
@given(situations(), st.floats(0.0, 0.999))
def test_a_verdict_stands_as_long_as_it_says(situation, share):
    now = check(situation)
    wait_d = min(now.unchanged_for_d, 5000.0) * share
    then = check(later(situation, wait_d))
    assert (then.verdict, then.state) == (now.verdict, now.state)
    assert [(i.rule, i.severity, i.reason) for i in then.findings] == [
        (i.rule, i.severity, i.reason) for i in now.findings
    ]
    for old, new in zip(now.findings, then.findings, strict=True):
        assert (old.remedy is None) == (new.remedy is None)
        if old.remedy is not None and new.remedy is not None:
            assert new.remedy.text == old.remedy.text
            assert new.remedy.by_mix == old.remedy.by_mix


@MANY
@given(situations())
def test_findings_come_worst_first_and_the_verdict_is_the_worst(situation):
    verdict = check(situation)
    order = [weight(item.severity) for item in verdict.findings]
    assert order == sorted(order, reverse=True)
    assert weight(verdict.verdict) == max(order, default=0)
    assert verdict.unchanged_for_d > 0.0


@MANY
@given(situations())
def test_amounts_agree_with_each_other(situation):
    for item in check(situation).findings:
        remedy = item.remedy
        if remedy is None or remedy.add_oil_ml is None:
            continue
        assert remedy.add_oil_g == remedy.add_oil_ml * 0.93
        assert remedy.add_oil_drops is not None
        assert 0 <= remedy.add_oil_drops - remedy.add_oil_ml * situation.drops_per_ml + 1e-6 < 1
