"""What one layer's tests say of the mean of its logarithm, the layer's own noise integrated out.

    Z(mu, V) = integral of N(x; mu, V) l(x) dx ,   g = dlogZ/dmu ,   h = d2logZ/dmu2          (2)

Two kinds: presses, tabulated over a grid, and an interval, in closed form. V holds the layer's noise, and for
expectation propagation the cavity's variance as well.
"""

from dataclasses import dataclass

import numpy as np

from server.science.learning.likelihood import Cases
from server.science.learning.normal import HALF_LOG_2_PI, log_between, log_density


@dataclass(frozen=True, slots=True)
class SiteAnswer:
    """Equation (2) for every layer."""

    log_z: np.ndarray
    slope: np.ndarray
    curvature: np.ndarray


@dataclass(frozen=True, slots=True)
class Sites:
    """The likelihoods of all layers: ``table`` (layers, grid) of logarithms; rows of ``between`` use their bounds."""

    grid: np.ndarray
    table: np.ndarray
    between: np.ndarray
    low: np.ndarray
    high: np.ndarray

    @classmethod
    def of(cls, found: Cases, grid: np.ndarray, table: np.ndarray) -> "Sites":
        """The sites of some cases and their table."""
        return cls(grid, table, found.given_between, found.low, found.high)

    def at(self, mean: np.ndarray, variance: np.ndarray) -> SiteAnswer:
        """Equation (2) at the means and variances of all layers."""
        if not self.between.any():
            return on_grid(self.grid, self.table, mean, variance)
        given, pressed = np.flatnonzero(self.between), np.flatnonzero(~self.between)
        parts = (
            (pressed, on_grid(self.grid, self.table[pressed], mean[pressed], variance[pressed])),
            (given, interval(self.low[given], self.high[given], mean[given], variance[given])),
        )
        answer = SiteAnswer(np.empty(len(mean)), np.empty(len(mean)), np.empty(len(mean)))
        for rows, found in parts:
            answer.log_z[rows], answer.slope[rows] = found.log_z, found.slope
            answer.curvature[rows] = found.curvature
        return answer


def tilted(grid: np.ndarray, table: np.ndarray, mean: np.ndarray, variance: np.ndarray) -> tuple[np.ndarray, ...]:
    """Weights (layers, grid) that sum to 1, and the logarithm of Z, of N(x; mean, variance) times the likelihood."""
    logs = table - (grid - mean[:, None]) ** 2 * (0.5 / variance)[:, None]
    most = logs.max(axis=1, keepdims=True)  # a prior far off the grid would else divide nought by nought
    logs -= most
    weights = np.exp(logs, out=logs)
    total = weights.sum(axis=1)
    step = grid[1] - grid[0]
    log_z = np.log(total * step) + most[:, 0] - 0.5 * np.log(variance) - HALF_LOG_2_PI
    weights /= total[:, None]
    return weights, log_z


def on_grid(grid: np.ndarray, table: np.ndarray, mean: np.ndarray, variance: np.ndarray) -> SiteAnswer:
    """Equation (2) by the trapezoid rule, which for functions this smooth is exact to many digits."""
    weights, log_z = tilted(grid, table, mean, variance)
    centre = weights @ grid
    spread = weights @ grid**2 - centre**2
    slope = (centre - mean) / variance
    return SiteAnswer(log_z, slope, (spread - variance) / variance**2)


def interval(low: np.ndarray, high: np.ndarray, mean: np.ndarray, variance: np.ndarray) -> SiteAnswer:
    """Equation (2) for a moment known to lie within (low, high]; bounds may be infinite."""
    sd = np.sqrt(variance)
    a, b = (low - mean) / sd, (high - mean) / sd
    log_z = log_between(a, b)
    at_a, at_b = np.exp(log_density(a) - log_z), np.exp(log_density(b) - log_z)
    slope = (at_a - at_b) / sd
    with np.errstate(invalid="ignore"):
        pull = np.where(np.isinf(a), 0.0, a * at_a) - np.where(np.isinf(b), 0.0, b * at_b)
    curvature = (pull - (slope * sd) ** 2) / variance
    # Ends all but equal: an exact moment, whose curvature the differences lose.
    exact = b - a < 1e-4
    middle = 0.5 * (a + b)
    slope = np.where(exact, middle / sd, slope)
    curvature = np.where(exact, -1 / variance, curvature)
    return SiteAnswer(log_z, slope, curvature)
