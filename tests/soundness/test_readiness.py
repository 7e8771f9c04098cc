"""What the film is now and whether it may be painted on. Basis: derived from the definition of "ready"."""

import math
from dataclasses import fields, replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.science.readiness import ReadyStatus, readiness
from server.science.results import FilmState, Stage, StageRange
from server.science.soundness import Severity, check
from server.science.stages import HARDNESS, after_test, odds_at, odds_reached, state_odds, still_ahead
from tests.soundness.builders import about, ask, coming, there, times
from tests.soundness.strategies import stage_times

PRESSED = [FilmState.WET, FilmState.TACKY, FilmState.TOUCH_DRY, FilmState.FIRM]
MANY = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
FOUR = times(4.0)


def of(age_d, observed=None, observed_age_d=None, verdict=Severity.SOUND, stages=None):
    return readiness(FOUR if stages is None else stages, age_d, observed, observed_age_d, verdict)


@pytest.mark.parametrize(("percentile", "odds"), [("p10_d", 0.1), ("p50_d", 0.5), ("p90_d", 0.9)])
@pytest.mark.parametrize("stage", [about(4.0), StageRange(1.0, 1.5, 4.0, 6.0, 7.0)])
def test_the_odds_go_through_the_percentiles(stage, percentile, odds):
    assert odds_reached(stage, getattr(stage, percentile)) == pytest.approx(odds, abs=1e-12)


def test_the_odds_are_a_step_where_there_is_no_spread():
    sure = StageRange(4.0, 4.0, 4.0, 4.0, 4.0)
    assert [odds_reached(sure, 3.999), odds_reached(sure, 4.0), odds_reached(sure, 9.0)] == [0.0, 1.0, 1.0]
    assert odds_reached(about(4.0), 0.0) == 0.0
    ages_d = [-1.0, 0.0, 1e-9, 0.4, 3.9, 4.0, 4.1, 11.0, 1e6]
    for stage in (about(4.0), sure, StageRange(1.0, 1.5, 4.0, 4.0, 4.0)):
        assert odds_at(stage, ages_d) == [odds_reached(stage, age_d) for age_d in ages_d]
    assert odds_reached(StageRange(0.0, 0.0, 0.0, 0.0, 0.0), 1.0) == 1.0


def test_a_stage_still_ahead_keeps_its_shape_beyond_what_was_seen():
    later = still_ahead(about(4.0), 5.0)
    # P(T > t | T > 5) = 0.1, worked out apart with the normal tail of the range's upper spread.
    spread = math.log(1.6) / 1.2815515655446004
    tail = 0.5 * math.erfc(math.log(5.0 / 4.0) / spread / math.sqrt(2.0))
    reached = 0.5 * math.erfc(math.log(later.p90_d / 4.0) / spread / math.sqrt(2.0))
    assert reached == pytest.approx(0.1 * tail, rel=1e-9)
    assert later.p05_d > 5.0


@MANY
@given(st.floats(0.1, 50.0), st.sampled_from([1.0, 1.2, 2.0]), st.floats(0.001, 500.0))
def test_a_stage_still_ahead_is_ordered_and_no_earlier(middle, spread, seen_d):
    given_range = about(middle, spread)
    later = still_ahead(given_range, seen_d)
    values = [getattr(later, item.name) for item in fields(StageRange)]
    assert values == sorted(values)
    assert all(value >= seen_d for value in values)
    assert all(
        new >= getattr(given_range, item.name) - 1e-12 for new, item in zip(values, fields(StageRange), strict=True)
    )
    assert all(math.isfinite(value) for value in values)


@pytest.mark.parametrize(
    ("age_d", "status", "state"),
    [
        (0.0, ReadyStatus.RESTS, FilmState.WET),
        (2.49, ReadyStatus.RESTS, FilmState.WET),
        (2.5, ReadyStatus.TEST_FIRST, FilmState.WET),  # p10 of dry-to-touch
        (2.8, ReadyStatus.TEST_FIRST, FilmState.TACKY),
        (4.0, ReadyStatus.TEST_FIRST, FilmState.TOUCH_DRY),
        (6.39, ReadyStatus.TEST_FIRST, FilmState.TOUCH_DRY),
        (6.4, ReadyStatus.READY, FilmState.TOUCH_DRY),  # p90 of dry-to-touch
        (12.0, ReadyStatus.READY, FilmState.FIRM),
    ],
)
def test_the_four_answers_by_age(age_d, status, state):
    found = of(age_d)
    assert (found.status, found.state) == (status, state)
    assert (found.test_from_d, found.ready_from_d) == (FOUR[Stage.DRY_TO_TOUCH].p10_d, FOUR[Stage.DRY_TO_TOUCH].p90_d)
    assert found.best_from_d == FOUR[Stage.DRY_TO_RECOAT].p50_d
    assert not found.tested


def test_a_press_that_finds_it_dry_makes_it_ready_at_once():
    found = of(2.0, FilmState.TOUCH_DRY, 1.5)
    assert found.status is ReadyStatus.READY and found.state is FilmState.TOUCH_DRY and found.tested
    assert found.ready_from_d == 1.5 and found.test_from_d <= 1.5
    assert found.odds[FilmState.WET] == found.odds[FilmState.TACKY] == 0.0


def test_a_press_that_finds_it_tacky_makes_it_rest_and_moves_the_dates():
    found = of(7.0, FilmState.TACKY, 7.0)
    assert found.status is ReadyStatus.RESTS and found.state is FilmState.TACKY
    assert 7.0 < found.test_from_d < found.ready_from_d
    assert found.best_from_d > FOUR[Stage.DRY_TO_RECOAT].p50_d
    assert of(found.test_from_d, FilmState.TACKY, 7.0).status is ReadyStatus.TEST_FIRST
    assert of(found.ready_from_d, FilmState.TACKY, 7.0).status is ReadyStatus.READY


def test_a_stop_holds_a_dry_film_and_says_nothing_of_a_soft_one():
    assert of(10.0, verdict=Severity.STOP).status is ReadyStatus.STOPPED
    assert of(10.0, verdict=Severity.CAUTION).status is ReadyStatus.READY
    assert of(1.0, verdict=Severity.STOP).status is ReadyStatus.RESTS
    assert of(1.0, FilmState.FIRM, 1.0, Severity.STOP).status is ReadyStatus.STOPPED


def test_a_press_from_later_is_not_known_yet():
    assert of(1.0, FilmState.FIRM, 5.0) == of(1.0)


def test_a_press_without_its_time_was_made_just_now():
    assert of(5.0, FilmState.TACKY) == of(5.0, FilmState.TACKY, 5.0)


@MANY
@given(stage_times(), st.floats(0.0, 200.0), st.sampled_from([None, *PRESSED]), st.floats(0.0, 1.0))
def test_the_odds_sum_to_one_and_leave_out_what_was_seen(stages, age_d, observed, share):
    odds = state_odds(stages, age_d, observed, age_d * share)
    assert sum(odds.values()) == pytest.approx(1.0)
    assert all(value >= -1e-12 for value in odds.values())
    if observed is not None:
        assert all(value == 0.0 for state, value in odds.items() if HARDNESS[state] < HARDNESS[observed])


@MANY
@given(
    stage_times(), st.floats(0.1, 200.0), st.sampled_from([None, *PRESSED]), st.floats(0.01, 1.0), st.floats(0.0, 99.0)
)
def test_waiting_never_takes_readiness_back(stages, age_d, observed, share, wait_d):
    order = [ReadyStatus.RESTS, ReadyStatus.TEST_FIRST, ReadyStatus.READY]
    pressed_d = None if observed is None else age_d * share
    now, then = (readiness(stages, at, observed, pressed_d, Severity.SOUND) for at in (age_d, age_d + wait_d))
    assert order.index(then.status) >= order.index(now.status)
    assert HARDNESS[then.state] >= HARDNESS[now.state]
    assert then.odds[FilmState.FIRM] >= now.odds[FilmState.FIRM] - 1e-9


@MANY
@given(stage_times(), st.floats(0.1, 60.0), st.sampled_from([None, *PRESSED]), st.floats(0.01, 1.0))
def test_readiness_and_the_rules_agree_on_touch_dry(stages, age_d, observed, share):
    pressed_d = None if observed is None else age_d * share
    lower = replace(there(age_d=age_d, stages=stages), observed=observed, observed_age_d=pressed_d)
    rested = HARDNESS[check(ask([lower], coming(stages=stages))).state] >= HARDNESS[FilmState.TOUCH_DRY]
    assert (readiness(stages, age_d, observed, pressed_d, Severity.SOUND).status is ReadyStatus.READY) == rested


@MANY
@given(stage_times(), st.sampled_from(PRESSED), st.floats(0.01, 100.0))
def test_a_press_leaves_the_stages_in_order_and_none_earlier(stages, observed, seen_d):
    changed = after_test(stages, observed, seen_d)
    middles = [changed[stage].p50_d for stage in Stage]
    assert middles == sorted(middles)
    assert all(changed[stage].p50_d >= stages[stage].p50_d - 1e-9 for stage in Stage)
