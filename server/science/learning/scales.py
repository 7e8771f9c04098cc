"""Learning the scales themselves: how much layers alike differ, how finely a finger reads, where the stages lie.

They are not known beforehand, and ranges that take them as known are too narrow by a third where they are wrong. The
evidence of expectation propagation times the scales' own priors is climbed to its top; then sixteen draws from the
normal there stand for what is left uncertain, and predictions are averaged over them.

At a fixed point of expectation propagation the evidence does not change with the sites, so its slope in a scale is that
of the layers' log Z with the cavities held still.
"""

from dataclasses import dataclass, replace
from functools import cache
from math import exp, log

import numpy as np

from server.science.learning.climb import Seen, covariance, descend
from server.science.learning.likelihood import Cases, grid_for, tabulate
from server.science.learning.propagation import Fit, Model, fit
from server.science.learning.sites import Sites
from server.science.learning.types import SCALED, Settings

DRAWS = 16
SEED = 20_127
# Prior sds of: log sigma, log sigma_o, shifts of tacky and firm, log scale. All are priors without data behind them.
PRIOR_SD = np.array([0.35, 0.40, 0.20, 0.20, 0.35])
NUDGE = 1e-3
GRADIENT_TOLERANCE = 2e-2  # in units where the prior sd is 1; a hundredth of it moves no date by a minute
SIGMA_BOUNDS = (0.02, 2.0)


def settings_at(point: np.ndarray, around: Settings) -> Settings:
    """The settings so far from ``around``: (log sigma, log sigma_o, shift of tacky, shift of firm, log scale)."""
    low, high = SIGMA_BOUNDS
    return replace(
        around,
        sigma=min(max(around.sigma * exp(point[0]), low), high),
        sigma_o=min(max(around.sigma_o * exp(point[1]), low), high),
        tacky_shift=around.tacky_shift + float(point[2]),
        firm_shift=around.firm_shift + float(point[3]),
        scale=min(max(around.scale * exp(point[4]), low), 10.0),
    )


def point_of(settings: Settings, around: Settings) -> np.ndarray:
    """The inverse of ``settings_at``."""
    return np.array(
        [
            log(settings.sigma / around.sigma),
            log(settings.sigma_o / around.sigma_o),
            settings.tacky_shift - around.tacky_shift,
            settings.firm_shift - around.firm_shift,
            log(settings.scale / around.scale),
        ]
    )


@dataclass(frozen=True, slots=True)
class Scales:
    """What was learned of the scales: the most likely ``settings``, their sds on the scale of the points, the draws."""

    settings: Settings
    sd: np.ndarray
    draws: tuple[Settings, ...]


class _Hill:
    """Minus the log posterior of the scales, with its slope. Points are in units of the prior sds."""

    def __init__(self, found: Cases, around: Settings) -> None:
        self.found = found
        self.around = around
        # One grid for all scales, so that no step of a search jumps.
        self.grid = grid_for(found, 2.0 * around.sigma)
        self.scaled = np.array([name.startswith(SCALED) for name in found.names], dtype=bool)

    def sites(self, settings: Settings) -> Sites:
        return Sites.of(self.found, self.grid, tabulate(self.found, settings, self.grid))

    def look(self, point: np.ndarray, before: Seen[Fit] | None) -> Seen[Fit]:
        """The height at a point and its slope; sweeps start from the sites seen before."""
        theta = point * PRIOR_SD
        settings = settings_at(theta, self.around)
        sites = self.sites(settings)
        model = Model(self.found.design, self.found.scaled_sd(settings), sites, settings.sigma**2)
        fitted = fit(model, None if before is None else (before.found.precision, before.found.shift))
        value = fitted.log_evidence - 0.5 * float(point @ point)
        slope = self._slope(theta, (settings, sites), fitted) * PRIOR_SD - point
        return Seen(-value, -slope, fitted)

    def _slope(self, theta: np.ndarray, here: tuple[Settings, Sites], fitted: Fit) -> np.ndarray:
        settings, sites = here
        variance = settings.sigma**2 + fitted.cavity_variance
        answer = sites.at(fitted.cavity_mean, variance)
        # dlogZ/dV = (h + g^2)/2, the equation of heat
        by_sigma = float((answer.curvature + answer.slope**2).sum()) * settings.sigma**2
        by_tables = [self._table_slope(theta, axis, (fitted, variance)) for axis in (1, 2, 3)]
        return np.array([by_sigma, *by_tables, self._scale_slope(settings, fitted)])

    def _table_slope(self, theta: np.ndarray, axis: int, held: tuple[Fit, np.ndarray]) -> float:
        if not len(self.found.press_of):
            return 0.0
        fitted, variance = held
        nudge = np.zeros(len(theta))
        nudge[axis] = NUDGE
        up, down = (
            self.sites(settings_at(theta + sign * nudge, self.around)).at(fitted.cavity_mean, variance).log_z.sum()
            for sign in (1, -1)
        )
        return float(up - down) / (2 * NUDGE)

    def _scale_slope(self, settings: Settings, fitted: Fit) -> float:
        """By the priors: d/dlog(scale) of log N(0; 0, S) and of what the sites make of it."""
        ridge = 1 / self.found.scaled_sd(settings) ** 2
        drawn = ridge * (np.diagonal(fitted.cov) + fitted.mean**2)
        return float((drawn - 1)[self.scaled].sum())


def learn_scales(found: Cases, around: Settings, start: Settings | None = None) -> Scales:
    """Climb from ``start`` (or from ``around``, the centre of the priors) and look around at the top."""
    hill = _Hill(found, around)
    point = np.zeros(len(PRIOR_SD)) if start is None else point_of(start, around) / PRIOR_SD
    top, seen = descend(hill.look, point, GRADIENT_TOLERANCE)
    cov = covariance(hill.look, top, seen, 0.1)
    sd = np.sqrt(np.diagonal(cov)) * PRIOR_SD
    factor = np.linalg.cholesky(cov)
    draws = tuple(settings_at((top + factor @ z) * PRIOR_SD, around) for z in _normal_draws())
    return Scales(settings_at(top * PRIOR_SD, around), sd, draws)


@cache
def _normal_draws() -> np.ndarray:
    """Sixteen fixed points with mean 0 and covariance 1: half of them drawn once, the others their mirror images."""
    half = np.random.default_rng(SEED).standard_normal((DRAWS // 2, len(PRIOR_SD)))
    points = np.vstack([half, -half])
    whiten = np.linalg.inv(np.linalg.cholesky(points.T @ points / len(points))).T
    return points @ whiten
