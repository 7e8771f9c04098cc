"""Against survival analysis without priors: the same likelihoods, so the same coefficients where priors say nothing.

Printed values: log-normal accelerated failure times with interval censoring, fitted by lifelines (MIT) to its data set
of the lag phase of C. botulinum by salt and acidity, as printed with the method's description (tolerances likewise).
The data are lifelines' `load_c_botulinum_lag_phase`. Probit regression is checked against scipy's minimiser.
"""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import log_ndtr

from server.science.learning.propagation import Fit, Model, fit, laplace
from server.science.learning.sites import Sites

# days from and to, per cent of salt, pH; equal days were seen exactly
BOTULINUM = (
    *((0, 1, 0, 7.0), (0, 1, 0, 6.5), (0, 1, 0, 6.0), (0, 1, 0, 5.5), (2, 2, 0, 5.0), (0, 1, 2, 7.0)),
    *((0, 1, 2, 6.5), (0, 1, 2, 6.0), (0, 1, 2, 5.5), (85, np.inf, 2, 5.0), (0, 1, 3, 7.0), (0, 1, 3, 6.5)),
    *((0, 1, 3, 6.0), (2, 2, 3, 5.5), (85, np.inf, 3, 5.0), (2, 2, 4, 7.0), (2, 2, 4, 6.5), (3, 3, 4, 6.0)),
    *((7, 7, 4, 5.5), (85, np.inf, 4, 5.0), (85, np.inf, 6, 7.0), (85, np.inf, 6, 6.5), (85, np.inf, 6, 6.0)),
    *((85, np.inf, 6, 5.5), (85, np.inf, 6, 5.0)),
)
SIGMA = 2.36301
EXACT = 1e-5  # an exact moment as an interval so wide on the logarithm


def sites_of(low: np.ndarray, high: np.ndarray) -> Sites:
    count = len(low)
    return Sites(np.arange(3) * 0.08, np.zeros((count, 3)), np.ones(count, dtype=bool), low, high)


def without_priors(design: np.ndarray, sites: Sites, sigma: float) -> Fit:
    return laplace(Model(design, np.full(design.shape[1], 1e5), sites, sigma**2))


def test_interval_censored_times_by_two_covariates_are_lifelines():
    rows = np.array(BOTULINUM, dtype=float)
    exact = rows[:, 0] == rows[:, 1]
    with np.errstate(divide="ignore"):
        low, high = np.log(rows[:, 0]), np.log(rows[:, 1]) + EXACT * exact
    design = np.column_stack([np.ones(len(rows)), rows[:, 2:]])
    sites = sites_of(low, high)
    found = without_priors(design, sites, SIGMA)
    assert found.mean == pytest.approx([20.3525, 2.51327, -4.55601], abs=1e-3)
    height = sites.at(design @ found.mean, np.full(len(rows), SIGMA**2)).log_z.sum()
    assert height - exact.sum() * np.log(EXACT) == pytest.approx(-19.6318, abs=2e-4)


def test_one_look_at_each_layer_is_probit_regression():
    """Coefficients are the probit's over that of time, sigma is one over it, and the likelihood is the same."""
    rng = np.random.default_rng(7)
    count = 400
    x, looked = rng.normal(size=count), rng.normal(1.2, 0.5, count)
    dry = 1.2 + 0.4 * x + 0.23 * rng.normal(size=count) <= looked
    columns = np.column_stack([np.ones(count), x, looked])
    sign = np.where(dry, 1.0, -1.0)
    probit = minimize(
        lambda b: -log_ndtr(sign * (columns @ b)).sum(), np.array([0.0, 0.0, 1.0]), options={"gtol": 1e-9}
    )
    sigma = 1 / probit.x[2]
    sites = sites_of(np.where(dry, -np.inf, looked), np.where(dry, looked, np.inf))
    design = columns[:, :2]
    found = without_priors(design, sites, sigma)
    assert found.mean == pytest.approx(-probit.x[:2] * sigma, abs=1e-5)
    height = sites.at(design @ found.mean, np.full(count, sigma**2)).log_z.sum()
    assert height == pytest.approx(-probit.fun, abs=1e-6)


def test_with_many_looks_and_wide_priors_mean_and_mode_agree():
    rng = np.random.default_rng(8)
    count = 600
    x = rng.normal(size=count)
    moment = 1.0 + 0.3 * x + 0.3 * rng.normal(size=count)
    low = np.floor(moment * 4) / 4
    design = np.column_stack([np.ones(count), x])
    model = Model(design, np.full(2, 100.0), sites_of(low, low + 0.25), 0.09)
    mean, mode = fit(model), laplace(model)
    assert mean.mean == pytest.approx(mode.mean, abs=1e-4)
    assert np.sqrt(np.diagonal(mean.cov)) == pytest.approx(np.sqrt(np.diagonal(mode.cov)), rel=0.01)
