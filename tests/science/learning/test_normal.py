"""The normal distribution by array, against scipy's log_ndtr and erfcx (Cephes and the Faddeeva package)."""

import numpy as np
import pytest
from scipy.special import erfcx as scipy_erfcx
from scipy.special import log_ndtr

from server.science.learning import normal

Z = np.concatenate([np.linspace(-60, 12, 20_001), [-1e3, -1e8]])


def test_the_share_is_scipys_far_into_both_tails():
    assert normal.log_share(Z) == pytest.approx(log_ndtr(Z), rel=1e-13, abs=0)
    assert normal.log_share(np.array([-np.inf, np.inf])).tolist() == [-np.inf, 0.0]


def test_the_scaled_error_function_is_scipys():
    x = np.linspace(0, 200, 20_001)
    assert normal.erfcx(x) == pytest.approx(scipy_erfcx(x), rel=2e-14)


def test_the_quick_share_is_within_its_promise():
    assert np.abs(normal.quick_share(Z) - np.exp(log_ndtr(Z))).max() < 1e-8


@pytest.mark.parametrize(("low", "high"), [(-np.inf, 1.0), (2.0, np.inf), (8.0, 9.0), (-9.0, -8.0), (-1.0, 3.0)])
def test_between_two_points_in_either_tail(low, high):
    # By symmetry the upper tail is the lower one turned round, where scipy's logarithms are exact.
    a, b = (low, high) if low + high < 0 else (-high, -low)
    log_b, log_a = float(log_ndtr(b)), float(log_ndtr(a))
    expected = log_b + np.log1p(-np.exp(log_a - log_b)) if np.isfinite(log_a) else log_b
    assert normal.log_between(np.array([low]), np.array([high]))[0] == pytest.approx(expected, rel=1e-12)


def test_ends_that_all_but_meet_are_a_density():
    found = normal.log_between(np.array([0.3]), np.array([0.3 + 1e-8]))[0]
    assert found == pytest.approx(np.log(1e-8) - 0.5 * 0.09 - 0.5 * np.log(2 * np.pi), abs=1e-6)
