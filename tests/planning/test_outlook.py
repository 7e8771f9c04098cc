"""The chain of layers to come.

Expected values are exact properties of the definition, or a plain simulation with another generator written here;
the log-normal sums have no closed form.
"""

import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.planning.outlook import (
    SHARED_VARIANCE,
    Chain,
    PlannedStep,
    begin,
    due_risk,
    finish_of,
    finish_of_painted,
    hold,
    lay,
    outlook,
    start_of,
)
from server.science.results import StageRange

Z90 = NormalDist().inv_cdf(0.9)


def log_normal(p50: float, spread: float = 0.5) -> StageRange:
    z95 = NormalDist().inv_cdf(0.95)
    at = [p50 * math.exp(z * spread) for z in (-z95, -Z90, 0.0, Z90, z95)]
    return StageRange(*at)


CERTAIN = StageRange(3.0, 3.0, 3.0, 3.0, 3.0)


def step(recoat: StageRange, done: StageRange, not_before_d: float = 0.0) -> PlannedStep:
    return PlannedStep(lambda _start: recoat, lambda _start: done, not_before_d)


def test_one_wait_keeps_its_own_percentiles():
    """A chain of one wait is that wait."""
    start = start_of(begin(log_normal(10.0), 0.0, open_now=False), 0.9)
    assert start.p10_d == pytest.approx(log_normal(10.0).p10_d, rel=0.005)
    assert start.p50_d == pytest.approx(10.0, rel=0.005)
    assert start.p90_d == pytest.approx(log_normal(10.0).p90_d, rel=0.005)
    assert start.planned_d == start.p90_d


def test_certain_waits_add_up_exactly():
    """No spread, no simulation: 2 + 3 + 3 days and 3 to touch."""
    chain = begin(CERTAIN, 1.0, open_now=False)
    seen = outlook(chain, [step(CERTAIN, CERTAIN)] * 3, 0.9)
    assert [s.p50_d for s in seen.starts] == pytest.approx([2.0, 5.0, 8.0])
    assert [s.p90_d for s in seen.starts] == pytest.approx([2.0, 5.0, 8.0])
    assert seen.finish.p50_d == pytest.approx(11.0)


def test_bare_ground_and_an_open_layer_start_today():
    assert start_of(begin(None, 0.0, open_now=False), 0.9).p90_d == 0.0
    assert start_of(begin(log_normal(10.0), 2.0, open_now=True), 0.9).p90_d == 0.0


def test_a_film_that_has_outlived_its_median_still_waits():
    """Still ahead at its median age, the stage comes at its 75th percentile in the median."""
    wait = log_normal(10.0)
    left = start_of(begin(wait, 10.0, open_now=False), 0.9)
    expected = 10.0 * math.exp(NormalDist().inv_cdf(0.75) * 0.5) - 10.0
    assert left.p50_d == pytest.approx(expected, rel=0.01)
    assert left.p10_d > 0.0


def test_a_chain_against_a_plain_simulation():
    """A million draws of the same tied log-normals from another generator (numpy's standard_normal)."""
    rng = np.random.default_rng(7)
    n, waits = 1_000_000, (6.0, 9.0, 14.0)
    shared = rng.standard_normal(n)
    total = np.zeros(n)
    for p50 in waits:
        z = math.sqrt(SHARED_VARIANCE) * shared + math.sqrt(1 - SHARED_VARIANCE) * rng.standard_normal(n)
        total += p50 * np.exp(0.5 * z)
    chain = begin(log_normal(waits[0]), 0.0, open_now=False)
    chain = lay(chain, log_normal(waits[1]))
    finish, draws = finish_of(chain, log_normal(waits[2]), 0.8)
    assert finish.p10_d == pytest.approx(np.quantile(total, 0.1), rel=0.02)
    assert finish.p50_d == pytest.approx(np.quantile(total, 0.5), rel=0.02)
    assert finish.p90_d == pytest.approx(np.quantile(total, 0.9), rel=0.02)
    assert finish.planned_d == pytest.approx(np.quantile(total, 0.8), rel=0.02)
    assert due_risk(draws, 30.0, 0.9).odds == pytest.approx(np.mean(total <= 30.0), abs=0.01)


def test_the_chain_is_shorter_than_the_sum_of_its_p90s():
    wait = log_normal(8.0)
    seen = outlook(begin(wait, 0.0, open_now=False), [step(wait, wait)] * 4, 0.9)
    assert seen.finish.p90_d < 5 * wait.p90_d
    assert seen.finish.p50_d > 5 * wait.p50_d


def test_due_dates():
    chain = begin(None, 0.0, open_now=False)
    wait = log_normal(10.0)

    def odds(due_d: float):
        seen = outlook(chain, [step(wait, wait)], 0.9, due_d)
        assert seen.due is not None
        return seen.due

    assert odds(10.0).odds == pytest.approx(0.5, abs=0.01)
    assert odds(10.0).at_risk
    assert not odds(wait.p95_d).at_risk
    assert odds(-1.0).odds == 0.0
    assert odds(-1.0).at_risk


def test_no_due_date_no_risk_and_no_steps_no_outlook():
    chain = begin(None, 0.0, open_now=False)
    assert outlook(chain, [step(CERTAIN, CERTAIN)], 0.9).due is None
    with pytest.raises(ValueError, match="layer to come"):
        outlook(chain, [], 0.9)


def test_a_planned_day_holds_the_chain():
    seen = outlook(begin(None, 0.0, open_now=False), [step(CERTAIN, CERTAIN, 20.0), step(CERTAIN, CERTAIN)], 0.9)
    assert [s.p10_d for s in seen.starts] == [20.0, 23.0]
    assert start_of(hold(begin(None, 0.0, open_now=False), 4.0), 0.9).p50_d == 4.0


def test_the_season_of_a_start_counts():
    """Each wait is asked for at the median day of its own start."""
    asked = []

    def recoat(start_d: float) -> StageRange:
        asked.append(start_d)
        return CERTAIN if start_d < 1.0 else StageRange(5.0, 5.0, 5.0, 5.0, 5.0)

    seen = outlook(begin(None, 0.0, open_now=False), [PlannedStep(recoat, recoat), PlannedStep(recoat, recoat)], 0.9)
    assert asked == [0.0, 3.0]
    assert seen.finish.p50_d == 8.0


def test_a_painted_last_layer():
    wait = log_normal(10.0)
    finish, draws = finish_of_painted(wait, 4.0, 0.9)
    assert finish.p50_d == pytest.approx(6.0, rel=0.01)
    assert due_risk(draws, 6.0, 0.9).odds == pytest.approx(0.5, abs=0.01)
    assert finish_of_painted(wait, 400.0, 0.9)[0].p90_d == 0.0


@given(
    p50=st.floats(0.1, 500.0),
    spread=st.floats(0.0, 1.2),
    age=st.floats(0.0, 2.0),
    steps=st.integers(1, 6),
    due=st.floats(-10.0, 4000.0),
)
def test_order_and_bounds(p50, spread, age, steps, due):
    """Starts follow each other, percentiles are ordered, odds grow with the due date, and nothing depends on chance."""
    wait = log_normal(p50, spread)
    chain = begin(wait, age * p50, open_now=False)
    seen = outlook(chain, [step(wait, wait)] * steps, 0.9, due)
    for start in (*seen.starts, seen.finish):
        assert 0.0 <= start.p10_d <= start.p50_d <= start.p90_d
    medians = [s.p50_d for s in seen.starts] + [seen.finish.p50_d]
    assert medians == sorted(medians)
    assert seen.due is not None
    assert 0.0 <= seen.due.odds <= 1.0
    later = outlook(chain, [step(wait, wait)] * steps, 0.9, due + 50.0)
    assert later.due is not None
    assert later.due.odds >= seen.due.odds
    assert outlook(chain, [step(wait, wait)] * steps, 0.9, due) == seen


@given(draws=st.lists(st.floats(0.0, 4000.0), min_size=2, max_size=40), confidence=st.floats(0.0, 1.0))
def test_percentiles_are_the_usual_ones(draws, confidence):
    days = np.array(draws)
    found = start_of(Chain(days), confidence)
    expected = np.quantile(days, (0.1, 0.5, 0.9, confidence))
    assert (found.p10_d, found.p50_d, found.p90_d, found.planned_d) == pytest.approx(tuple(expected), rel=1e-12)
