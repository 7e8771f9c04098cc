"""Going downhill where the slope is known: quasi-Newton steps, each halved until it gains."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

MOST_STEPS = 40
LONGEST = 1.5  # in units where the priors' sd is 1
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Seen(Generic[T]):
    """Height and slope at a point, and what else was found there."""

    value: float
    slope: np.ndarray
    found: T


def descend(
    look: Callable[[np.ndarray, Seen[T] | None], Seen[T]], point: np.ndarray, tolerance: float
) -> tuple[np.ndarray, Seen[T]]:
    """The lowest point near ``point`` (Broyden, Fletcher, Goldfarb & Shanno). ``look`` may use what was seen before."""
    seen = look(point, None)
    inverse = np.eye(len(point)) * 0.5
    for _ in range(MOST_STEPS):
        if np.abs(seen.slope).max() < tolerance:
            break
        step = -inverse @ seen.slope
        step *= min(1.0, LONGEST / max(float(np.abs(step).max()), 1e-12))
        size = 1.0
        reached = look(point + step, seen)
        while reached.value > seen.value + 1e-4 * size * float(seen.slope @ step) and size > 1e-3:
            size /= 2
            reached = look(point + size * step, seen)
        if reached.value >= seen.value:
            break
        gone = size * step
        inverse = _bent(inverse, gone, reached.slope - seen.slope)
        point, seen = point + gone, reached
    return point, seen


def _bent(inverse: np.ndarray, gone: np.ndarray, turned: np.ndarray) -> np.ndarray:
    curved = float(gone @ turned)
    if curved <= 1e-10:
        return inverse
    keep = np.eye(len(gone)) - np.outer(gone, turned) / curved
    return keep @ inverse @ keep.T + np.outer(gone, gone) / curved


def covariance(
    look: Callable[[np.ndarray, Seen[T] | None], Seen[T]], point: np.ndarray, seen: Seen[T], size: float
) -> np.ndarray:
    """Inverse of the bend at the lowest point, by differences of the slope; never wider than a prior of sd 1."""
    bends = []
    for axis in range(len(point)):
        nudge = np.zeros(len(point))
        nudge[axis] = size
        up, down = (look(point + sign * nudge, seen).slope for sign in (1, -1))
        bends.append((up - down) / (2 * size))
    bend = np.array(bends)
    values, vectors = np.linalg.eigh(0.5 * (bend + bend.T))
    return (vectors / np.maximum(values, 1.0)) @ vectors.T
