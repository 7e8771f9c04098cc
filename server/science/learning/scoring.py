"""How good promised dates have been, from what was pressed. Only promises frozen before the tests are scored.

With tests instead of exact moments the usual scores reward over-confidence (survival CRPS) or lateness (Brier over all
tests); the logarithmic score of the tests does not: it is the chance the promise gave to what was felt. Whether ranges
are honest is told by two numbers: if moments really are N(mu + delta sd, (kappa sd)^2), promises were late or early by
delta and too narrow or wide by kappa. Both are fitted through the tests' own likelihoods, since counting hits and
misses leaves three layers in four undecided.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.science.learning.climb import Seen, covariance, descend
from server.science.learning.likelihood import STEP, cases, tabulate
from server.science.learning.normal import share
from server.science.learning.sites import Sites
from server.science.learning.types import STANDARD, Evidence, Priors, Settings

LOG_KAPPA_SD = 0.5
Z80 = 1.2815515655446004
SEED, DRAWN = 20_131, 1000
SIGNIFICANT = 5.991464547107979  # the 95 % point of chi-square with two degrees
FEWEST = 15  # layers below which nothing is said


@dataclass(frozen=True, slots=True)
class Promise:
    """What was promised of a layer, as the logarithm of effective days to the touch, and what was pressed then."""

    log_mean: float
    log_sd: float
    evidence: Evidence


@dataclass(frozen=True, slots=True)
class Calibration:
    """``delta``: by how many sds the layers came later than promised; ``kappa``: how many times the promised sd they
    spread. ``covers`` is the share within a promised 80 % range, with its 90 % band. ``is_off``: told from 0 and 1."""

    delta: float
    kappa: float
    cov: np.ndarray
    covers: float
    covers_low: float
    covers_high: float
    is_off: bool
    layers: int


def _sites(promises: Sequence[Promise], settings: Settings) -> Sites:
    """The layers' likelihoods around the middle of each promise."""
    layers = [replace(p.evidence, book_d=float(np.exp(p.log_mean)), effects=()) for p in promises]
    found = cases(layers, Priors())
    half = max(4.5, 6 * max(p.log_sd for p in promises))
    count = int(np.ceil(half / STEP))
    grid = np.arange(-count, count + 1) * STEP
    return Sites.of(found, grid, tabulate(found, settings, grid))


def log_scores(promises: Sequence[Promise], settings: Settings = STANDARD) -> np.ndarray:
    """Logarithm of the chance that each promise gave to all tests of its layer, in nats; higher is better."""
    if not promises:
        return np.empty(0)
    sd = np.array([p.log_sd for p in promises])
    return _sites(promises, settings).at(np.zeros(len(sd)), sd**2).log_z


def calibrate(promises: Sequence[Promise], settings: Settings = STANDARD) -> Calibration:
    """The two numbers, and what they say of an 80 % range. Needs one promise at least."""
    sites = _sites(promises, settings)
    sd = np.array([p.log_sd for p in promises])

    def look(point: np.ndarray, _before: Seen[None] | None) -> Seen[None]:
        delta, kappa = point[0], float(np.exp(np.clip(LOG_KAPPA_SD * point[1], -3.0, 3.0)))
        variance = (kappa * sd) ** 2
        answer = sites.at(delta * sd, variance)
        value = float(answer.log_z.sum()) - 0.5 * float(point @ point)
        by_delta = float((answer.slope * sd).sum())
        by_kappa = float(((answer.curvature + answer.slope**2) * variance).sum()) * LOG_KAPPA_SD
        return Seen(-value, point - np.array([by_delta, by_kappa]), None)

    top, seen = descend(look, np.zeros(2), 1e-4)
    cov = covariance(look, top, seen, 1e-2)
    draws = top + np.random.default_rng(SEED).standard_normal((DRAWN, 2)) @ np.linalg.cholesky(cov).T
    low, high = np.quantile(_covers(draws), (0.05, 0.95))
    unit = np.array([1.0, LOG_KAPPA_SD])
    # Wald's test takes the priors' pull out again: what the tests alone say.
    bend = np.linalg.inv(cov) - np.eye(2)
    alone = np.linalg.solve(bend + 1e-9 * np.eye(2), np.linalg.inv(cov) @ top)
    return Calibration(
        delta=float(top[0]),
        kappa=float(np.exp(LOG_KAPPA_SD * top[1])),
        cov=cov * np.outer(unit, unit),
        covers=float(_covers(top[None, :])[0]),
        covers_low=float(low),
        covers_high=float(high),
        is_off=bool(alone @ bend @ alone > SIGNIFICANT),
        layers=len(promises),
    )


def _covers(points: np.ndarray, z: float = Z80) -> np.ndarray:
    """The share within the promised range of +-z sds, for points (delta, log kappa in prior sds)."""
    kappa = np.exp(LOG_KAPPA_SD * points[:, 1])
    return share((z - points[:, 0]) / kappa) - share((-z - points[:, 0]) / kappa)


def reliability(found: Calibration, levels: Sequence[float]) -> list[tuple[float, float, float]]:
    """For each promised level, 0 to 1: the share that really fell within, and its 90 % band (mean, low, high)."""
    from statistics import NormalDist

    unit = np.array([1.0, LOG_KAPPA_SD])
    point = np.array([found.delta, np.log(found.kappa)]) / unit
    root = np.linalg.cholesky(found.cov / np.outer(unit, unit))
    draws = point + np.random.default_rng(SEED).standard_normal((DRAWN, 2)) @ root.T
    answer = []
    for level in levels:
        z = NormalDist().inv_cdf(0.5 + level / 2)
        low, high = np.quantile(_covers(draws, z), (0.05, 0.95))
        answer.append((float(_covers(point[None, :], z)[0]), float(low), float(high)))
    return answer
