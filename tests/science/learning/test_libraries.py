"""Against general-purpose statistics without priors: the same likelihoods, so the same numbers where priors are silent.

Run here: lifelines' log-normal accelerated failure times with interval censoring on three of its own data sets, and
statsmodels' probit and ordered probit. Printed: R's survreg (survival 3.5-8, R 4.3.3) on sixty synthetic intervals,
both as surpyval 0.25 ships them with its tests (MIT).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from lifelines import LogNormalAFTFitter
from lifelines.datasets import load_c_botulinum_lag_phase, load_diabetes, load_mice
from pandas import DataFrame
from scipy.optimize import minimize
from scipy.special import log_ndtr
from statsmodels.discrete.discrete_model import Probit
from statsmodels.miscmodels.ordinal_model import OrderedModel

from server.science.learning import Evidence, Felt, Offsets, Press, Priors, Settings
from server.science.learning.likelihood import cases, grid_for, tabulate
from server.science.learning.propagation import Fit, Model, fit, laplace
from server.science.learning.sites import Sites

EXACT = 1e-5  # an exact moment as an interval so wide on the logarithm
NEVER = 1e-12  # lifelines takes no lower bound of nought
INF = np.inf
# left, right, z
SURVREG = (
    *((5.9, 7.6, 1), (4.5, 5.8, 0), (6.1, 8.2, 0), (9.6, 12.5, 0), (6.2, 8.1, 1), (2.3, 3.9, 1), (13.8, 16.5, 0)),
    *((3.9, 6.2, 0), (8.13, 8.13, 1), (11.9, 14.3, 0), (6.0, 8.2, 0), (2.0, 4.3, 1), (0.0, 1.9, 0), (8.1, 9.5, 0)),
    *((8.4, 9.7, 1), (13.8, 16.3, 0), (7.6, 9.8, 0), (2.0, 3.8, 1), (0.0, 1.7, 0), (11.7, 13.6, 0), (7.6, 10.4, 0)),
    *((11.9, 13.7, 0), (3.7, 6.4, 1), (4.1, 6.4, 0), (1.5, 3.7, 1), (9.7, 11.6, 0), (8.3, 9.9, 1), (16.2, INF, 0)),
    *((15.9, INF, 0), (5.7, 8.1, 1), (5.6, 8.2, 1), (8.2, 10.1, 1), (1.8, 3.8, 1), (8.0, 10.1, 1), (7.8, 10.3, 0)),
    *((9.5, 11.8, 1), (5.41, 5.41, 1), (8.04, 8.04, 0), (9.5, 11.9, 1), (6.1, 8.2, 1), (4.4, 5.8, 0), (10.3, 12.3, 0)),
    *((5.8, 8.1, 1), (0.0, 2.3, 1), (5.65, 5.65, 1), (8.4, 9.9, 1), (3.7, 6.5, 1), (6.4, 8.4, 0), (8.2, 9.9, 0)),
    *((3.6, 5.9, 1), (11.5, 14.2, 0), (13.7, 13.7, 0), (6.0, 8.3, 0), (16.2, INF, 0), (8.1, 10.4, 0), (3.6, 5.7, 1)),
    *((9.7, 12.2, 0), (6.42, 6.42, 0), (5.7, 7.7, 1), (11.99, 11.99, 1)),
)


@dataclass(frozen=True)
class Times:
    """Moments known to lie within [low, high], equal ones exactly; ``design`` with its constant."""

    low: np.ndarray
    high: np.ndarray
    design: np.ndarray

    @property
    def exact(self) -> np.ndarray:
        return self.low == self.high

    @property
    def sites(self) -> Sites:
        with np.errstate(divide="ignore"):
            low, high = np.log(self.low), np.log(self.high)
        return sites_of(low - EXACT / 2 * self.exact, high + EXACT / 2 * self.exact)


@dataclass(frozen=True)
class Likeliest:
    """Coefficients and log of sigma at the top, their covariance, the height on the logarithm of time."""

    coefficients: np.ndarray
    sigma: float
    cov: np.ndarray
    height: float


def sites_of(low: np.ndarray, high: np.ndarray) -> Sites:
    count = len(low)
    return Sites(np.arange(3) * 0.08, np.zeros((count, 3)), np.ones(count, dtype=bool), low, high)


def without_priors(design: np.ndarray, sites: Sites, sigma: float) -> Fit:
    return laplace(Model(design, np.full(design.shape[1], 1e5), sites, sigma**2))


def slope_of(times: Times) -> Callable[[np.ndarray], tuple[float, np.ndarray]]:
    """Minus the log-likelihood of (coefficients, log sigma) and its slope, both from the sites alone."""
    sites, design = times.sites, times.design

    def look(point: np.ndarray) -> tuple[float, np.ndarray]:
        variance = np.full(len(design), np.exp(2 * point[-1]))
        answer = sites.at(design @ point[:-1], variance)
        by_sigma = float(((answer.curvature + answer.slope**2) * variance).sum())
        return -float(answer.log_z.sum()), -np.append(design.T @ answer.slope, by_sigma)

    return look


def likeliest(times: Times) -> Likeliest:
    look = slope_of(times)
    middle = np.log(np.where(np.isinf(times.high), times.low, times.high))
    point = np.append(np.linalg.lstsq(times.design, middle, rcond=None)[0], 0.0)
    point = minimize(look, point, jac=True, method="BFGS", options={"gtol": 1e-3}).x
    for _ in range(4):  # Newton's last steps, down to rounding
        bend = np.array([(look(point + step)[1] - look(point - step)[1]) / 2e-4 for step in 1e-4 * np.eye(len(point))])
        point = point - np.linalg.solve(bend, look(point)[1])
    height = -look(point)[0] - float(times.exact.sum()) * np.log(EXACT)
    return Likeliest(point[:-1], float(np.exp(point[-1])), np.linalg.inv(0.5 * (bend + bend.T)), height)


def times_of(frame: DataFrame, bounds: tuple[str, str], columns: dict[str, np.ndarray]) -> Times:
    low, high = (frame[name].to_numpy(dtype=float) for name in bounds)
    return Times(low, high, np.column_stack([np.ones(len(frame)), *columns.values()]))


def lifelines_of(times: Times, names: list[str]) -> LogNormalAFTFitter:
    frame = DataFrame(times.design[:, 1:], columns=names)
    frame["low"], frame["high"] = np.maximum(times.low, NEVER), times.high
    return LogNormalAFTFitter().fit_interval_censoring(frame, "low", "high")


def diabetes() -> tuple[Times, list[str], float]:
    frame = load_diabetes()
    columns = {"male": (frame["gender"] == "male").to_numpy(dtype=float)}
    return times_of(frame, ("left", "right"), columns), ["male"], 1e-4


def mice() -> tuple[Times, list[str], float]:
    frame = load_mice()
    columns = {"ge": (frame["grp"] == "ge").to_numpy(dtype=float)}
    return times_of(frame, ("l", "u"), columns), ["ge"], 1e-4


def botulinum() -> tuple[Times, list[str], float]:
    """A lag in days against salt and acidity: the nearest in kind to drying."""
    frame = load_c_botulinum_lag_phase()
    columns = {"salt": frame["NaCl_percent"].to_numpy(dtype=float), "ph": frame["pH"].to_numpy(dtype=float)}
    return times_of(frame, ("lower_bound_days", "upper_bound_days"), columns), ["salt", "ph"], 1e-3


@pytest.mark.parametrize("data", [diabetes, mice, botulinum])
def test_interval_censored_times_are_those_of_lifelines(data):
    times, names, tolerance = data()
    theirs, ours = lifelines_of(times, names), likeliest(times)
    order = ["Intercept", *names]
    assert ours.coefficients == pytest.approx([theirs.params_[("mu_", name)] for name in order], abs=tolerance)
    assert ours.sigma == pytest.approx(np.exp(theirs.params_[("sigma_", "Intercept")]), abs=1e-4)
    spread = np.sqrt(np.diagonal(ours.cov))
    said = [theirs.standard_errors_[("mu_", name)] for name in order]
    assert spread == pytest.approx([*said, theirs.standard_errors_[("sigma_", "Intercept")]], rel=1e-3)
    # Theirs is the density of time, ours of its logarithm: the exact rows differ by the logarithm of their time.
    assert ours.height - np.log(times.low[times.exact]).sum() == pytest.approx(theirs.log_likelihood_, abs=1e-3)
    # The fit that learning uses, with priors that say nothing, is at the same place.
    assert without_priors(times.design, times.sites, ours.sigma).mean == pytest.approx(ours.coefficients, abs=1e-5)


def test_interval_censored_times_are_those_of_survreg():
    rows = np.array(SURVREG)
    ours = likeliest(Times(rows[:, 0], rows[:, 1], np.column_stack([np.ones(len(rows)), rows[:, 2]])))
    assert ours.coefficients == pytest.approx([2.16488494202434, -0.396090442241835], abs=1e-7)
    assert ours.sigma == pytest.approx(0.55196778264422, abs=1e-7)
    assert np.diagonal(ours.cov) == pytest.approx(
        [0.00987883892910646, 0.0213040484273936, 0.0104119084948397], rel=1e-5
    )
    exact = rows[rows[:, 0] == rows[:, 1], 0]
    assert ours.height - np.log(exact).sum() == pytest.approx(-126.593292015303, abs=1e-6)


def test_one_look_at_each_layer_is_probit_regression():
    """Coefficients are the probit's over that of time, sigma is one over it, and the likelihood is the same."""
    rng = np.random.default_rng(7)
    count = 400
    x, looked = rng.normal(size=count), rng.normal(1.2, 0.5, count)
    dry = 1.2 + 0.4 * x + 0.23 * rng.normal(size=count) <= looked
    columns = np.column_stack([np.ones(count), x, looked])
    probit = Probit(dry.astype(float), columns).fit(method="newton", disp=False, tol=1e-12)
    sign = np.where(dry, 1.0, -1.0)
    assert log_ndtr(sign * (columns @ probit.params)).sum() == pytest.approx(probit.llf, abs=1e-9)
    sigma = 1 / probit.params[2]
    sites = sites_of(np.where(dry, -np.inf, looked), np.where(dry, looked, np.inf))
    design = columns[:, :2]
    found = without_priors(design, sites, sigma)
    assert found.mean == pytest.approx(-probit.params[:2] * sigma, abs=1e-6)
    variance = np.full(count, sigma**2)
    answer = sites.at(design @ found.mean, variance)
    assert answer.log_z.sum() == pytest.approx(probit.llf, abs=1e-6)
    assert ((answer.curvature + answer.slope**2) * variance).sum() == pytest.approx(0.0, abs=1e-4)


def test_one_press_a_layer_at_four_stages_is_ordered_probit():
    """Reading and layer noise together are one over the coefficient of time; the cut points are the stages."""
    rng = np.random.default_rng(9)
    count = 400
    x, looked = rng.normal(size=count), rng.normal(1.2, 0.7, count)
    read = looked - 1.2 - 0.4 * x + 0.27 * rng.normal(size=count)
    felt = np.searchsorted([-0.6, 0.0, 0.6], read)
    ordered = OrderedModel(felt, np.column_stack([x, looked]), distr="probit").fit(
        method="bfgs", gtol=1e-9, maxiter=300, disp=False
    )
    by_x, by_time = ordered.params[:2]
    cuts = ordered.model.transform_threshold_params(ordered.params)[1:-1] / by_time
    assert 1 / by_time == pytest.approx(0.27, abs=0.05) and -by_x / by_time == pytest.approx(0.4, abs=0.05)
    settings = Settings(sigma=0.8 / by_time, sigma_o=0.6 / by_time, lapse=0.0)
    stages = Offsets(cuts[0] - cuts[1], cuts[2] - cuts[1])
    layers = [
        Evidence(1.0, (("studio", 1.0), ("x", float(z))), (Press(float(np.exp(at)), Felt(int(stage))),), offsets=stages)
        for z, at, stage in zip(x, looked, felt, strict=True)
    ]
    found = cases(layers, Priors())
    grid = grid_for(found, 1.0)
    sites = Sites.of(found, grid, tabulate(found, settings, grid))
    ours = without_priors(found.design, sites, settings.sigma)
    order = [found.names.index(name) for name in ("studio", "x")]
    assert ours.mean[order] == pytest.approx([cuts[1], -by_x / by_time], abs=1e-6)
    height = sites.at(found.design @ ours.mean, np.full(count, settings.sigma**2)).log_z.sum()
    assert height == pytest.approx(ordered.llf, abs=1e-6)


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
