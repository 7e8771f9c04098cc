"""The normal distribution over whole arrays: numpy has none, and logarithms of its tails must not come out as nought.

The scaled complementary error function is interpolated at Chebyshev nodes of (x - k)/(x + k), after Shepherd &
Laframboise (Math. Comp. 36, 1981); the nodes are worked out once from the standard library's erfc. Tests hold it
against scipy.
"""

import math
from functools import cache

import numpy as np

MAP = 3.75  # k of the mapping of 0..inf on -1..1
TERMS = 30
HALF_LOG_2_PI = 0.5 * math.log(2 * math.pi)
ROOT_2 = math.sqrt(2.0)
FAR = 8.5  # beyond, the share is 0 or 1 to 2e-17
PER_UNIT = 128  # entries of the quick table for one unit of z
_ASYMPTOTIC = 9.0  # beyond, erfc comes close to the least number; its series is exact to the last digit but one


def _erfcx(x: float) -> float:
    """exp(x^2) erfc(x) of one number not below 0."""
    if x < _ASYMPTOTIC:
        return math.exp(x * x) * math.erfc(x)
    # Abramowitz & Stegun 7.1.23
    term, total = 1.0, 1.0
    for n in range(1, 12):
        term *= -(2 * n - 1) / (2 * x * x)
        total += term
    return total / (x * math.sqrt(math.pi))


@cache
def _coefficients() -> tuple[float, ...]:
    """Chebyshev coefficients of (1 + 2x) exp(x^2) erfc(x) in t = (x - k)/(x + k)."""
    angles = (np.arange(TERMS) + 0.5) * math.pi / TERMS
    t = np.cos(angles)
    x = MAP * (1 + t) / (1 - t)
    values = np.array([(1 + 2 * at) * _erfcx(at) for at in x.tolist()])
    given = [2.0 / TERMS * float(values @ np.cos(j * angles)) for j in range(TERMS)]
    return (given[0] / 2, *given[1:])


def erfcx(x: np.ndarray) -> np.ndarray:
    """exp(x^2) erfc(x) for numbers not below 0, to 1e-14 relative."""
    t = (x - MAP) / (x + MAP)
    twice = 2 * t
    ahead = np.zeros_like(x)
    current = np.zeros_like(x)
    coefficients = _coefficients()
    for c in reversed(coefficients[1:]):
        ahead, current = current, twice * current - ahead + c
    return (t * current - ahead + coefficients[0]) / (1 + 2 * x)


def log_share(z: np.ndarray) -> np.ndarray:
    """Logarithm of the share of a standard normal below ``z``, exact far into both tails; -inf and inf allowed."""
    z = np.asarray(z, dtype=float)
    away = np.minimum(np.abs(z), 1e150)
    tail = 0.5 * erfcx(away / ROOT_2)
    half = -0.5 * away * away
    low = np.log(tail) + half
    answer = np.where(z < 0, low, np.log1p(-tail * np.exp(half)))
    return np.where(np.isneginf(z), -np.inf, answer)


def share(z: np.ndarray) -> np.ndarray:
    """The share of a standard normal below ``z``."""
    return np.exp(log_share(z))


def log_density(z: np.ndarray) -> np.ndarray:
    """Logarithm of the standard normal density."""
    return -0.5 * np.asarray(z, dtype=float) ** 2 - HALF_LOG_2_PI


def log_between(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Logarithm of the share of a standard normal between ``low`` and ``high``, low < high, either end open.

    Taken in the lower tail, where logarithms are exact. Ends closer than 1e-6 to each other: density times width.
    """
    low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    with np.errstate(invalid="ignore"):
        upper = low + high > 0
    below, above = np.where(upper, -high, low), np.where(upper, -low, high)
    log_above, log_below = log_share(above), log_share(below)
    with np.errstate(invalid="ignore", divide="ignore"):
        wide = log_above + np.log1p(-np.exp(log_below - log_above))
        width = above - below
        narrow = log_density(0.5 * (below + above)) + np.log(width)
    wide = np.where(np.isneginf(log_below), log_above, wide)
    return np.where(width < 1e-6, narrow, wide)


@cache
def _quick_table() -> tuple[np.ndarray, np.ndarray]:
    z = np.arange(-FAR * PER_UNIT, FAR * PER_UNIT + 1) / PER_UNIT
    return share(z), np.exp(log_density(z))


def quick_share(z: np.ndarray) -> np.ndarray:
    """``share`` by table and two terms of Taylor's series: within 1e-8 absolute, and many times as fast."""
    shares, densities = _quick_table()
    z = np.clip(z, -FAR, FAR)
    scaled = z * PER_UNIT
    nearest = np.rint(scaled)
    place = (nearest + FAR * PER_UNIT).astype(np.intp)
    beyond = (scaled - nearest) / PER_UNIT
    at = nearest / PER_UNIT
    return shares[place] + densities[place] * beyond * (1 - 0.5 * at * beyond)


def quantile(chance: float) -> float:
    """The standard normal's quantile of a chance between 0 and 1."""
    from statistics import NormalDist  # slow to import

    return NormalDist().inv_cdf(chance)
