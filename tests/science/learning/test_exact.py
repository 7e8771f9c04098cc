"""Expectation propagation against the exact posterior (Gibbs sampling on the grid), and on hostile data.

All twenty studios of each size are in the bench; here a few, so that a slip is seen at once.
"""

from dataclasses import replace

import numpy as np
import pytest

from bench.learning_studios import Painter, gibbs, make
from server.science.learning import STANDARD, Ask, Evidence, Felt, Press, learn


@pytest.mark.parametrize(("seed", "tests", "sweeps"), [(1, 10, 16_000), (2, 50, 12_000), (3, 120, 8_000)])
def test_means_and_sds_are_those_of_the_exact_posterior(seed, tests, sweeps):
    studio = make(seed, 1000, Painter(wrong=0.03), until=tests)
    exact = gibbs(studio.layers, STANDARD, sweeps, seed)
    found = learn(studio.layers, Ask()).parts[0].fit
    assert found.method == "ep"
    assert np.abs((found.mean - exact.mean) / exact.sd).max() < 0.05
    ratio = np.sqrt(np.diagonal(found.cov)) / exact.sd
    assert ratio.min() > 0.97 and ratio.max() < 1.03


def hostile(seed: int) -> list[Evidence]:
    """Tests without rhyme or reason: any stage at any time, a book that is far off, layers that contradict."""
    rng = np.random.default_rng((seed, 9001))
    layers = []
    for _ in range(int(rng.integers(1, 30))):
        presses = tuple(
            Press(float(np.exp(rng.normal(1.5, 1.5))), Felt(int(rng.integers(4)))) for _ in range(rng.integers(0, 9))
        )
        effects = (("studio", 1.0), *((f"pigment:P{p}", float(rng.uniform(-1, 3))) for p in rng.choice(30, 2)))
        layers.append(Evidence(float(np.exp(rng.normal(1, 2.5))), effects, presses))
    return layers


@pytest.mark.parametrize("lapse", [0.02, 0.0])
def test_hostile_data_gives_a_posterior_all_the_same(lapse):
    for seed in range(60):
        found = learn(hostile(seed), Ask(replace(STANDARD, lapse=lapse)))
        fit = found.parts[0].fit
        assert np.isfinite(fit.mean).all() and np.isfinite(fit.log_evidence)
        assert np.linalg.eigvalsh(fit.cov).min() > 0


def test_clean_studios_settle_at_once():
    for seed in range(20):
        fit = learn(make(seed, 40).layers, Ask()).parts[0].fit
        assert (fit.rung, fit.method) == (0, "ep") and fit.sweeps <= 15


def test_a_layer_in_progress_is_as_the_exact_sampler_has_it():
    """Its own tests tilt what the others say: against draws weighed by the chance of what was pressed."""
    studio = make(5, 30)
    at = 7
    found = learn(studio.layers, Ask())
    prediction = found.predict(studio.layers[at], at)
    part = found.parts[0]
    rng = np.random.default_rng(1)
    # The effects given all other layers, then the layer's own moment, weighed by its own presses.
    cavity_mean, cavity_sd = part.fit.cavity_mean[at], np.sqrt(part.fit.cavity_variance[at] + 0.25**2)
    x = rng.normal(cavity_mean, cavity_sd, 200_000)
    weights = np.ones(len(x))
    from scipy.stats import norm

    cuts = np.array([-np.inf, -0.6, 0.0, 0.6, np.inf])
    for press in studio.layers[at].presses:
        d = np.log(press.day / studio.layers[at].book_d) - x
        chance = norm.cdf((d - cuts[press.felt]) / 0.12) - norm.cdf((d - cuts[press.felt + 1]) / 0.12)
        weights *= 0.98 * chance + 0.02 / 4
    order = np.argsort(x)
    below = np.cumsum(weights[order]) / weights.sum()
    for chance in (0.1, 0.5, 0.9):
        exact = np.log(studio.layers[at].book_d) + np.interp(chance, below, x[order])
        assert prediction.log_quantile(chance) == pytest.approx(exact, abs=0.013)
