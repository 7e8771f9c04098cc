"""How the nodes of server/science/data/nodes.csv were made: ``python -m tests.science.node_design FILE`` (minutes).

For each number of axes a scrambled Sobol set is moved by damped Gauss-Newton steps (Levenberg 1944) until the points
with their mirror images have the moments of a normal distribution: of degree 2, 4 and, as far as the points have room,
6. Odd moments are nought by the mirror. The seed of each start is the one of a few tried that met a million draws best.
"""

import csv
import sys
from dataclasses import dataclass
from itertools import combinations_with_replacement
from math import comb, prod
from pathlib import Path

import numpy as np
from scipy.stats import norm, qmc

Monomial = tuple[int, ...]
# number of axes: half of the nodes, seed of the start, most steps
SETS = {
    1: (24, 3, 25),
    2: (32, 1, 25),
    3: (96, 32, 25),
    4: (96, 2, 25),
    5: (128, 2, 25),
    6: (128, 5, 25),
    7: (128, 5, 25),
    8: (160, 5, 10),
    9: (160, 5, 10),
    10: (160, 5, 10),
}
WEIGHTS = {2: 30.0, 4: 10.0, 6: 3.0}  # what a fault of each degree counts
ROOM = 0.8  # of the coordinates, at most so many conditions


def normal_moment(monomial: Monomial) -> float:
    """Expectation of a product of independent standard normals; the monomial lists axes, repeated."""
    counts = [monomial.count(axis) for axis in set(monomial)]
    if any(count % 2 for count in counts):
        return 0.0
    return float(prod(prod(range(count - 1, 0, -2)) for count in counts))


def sd_of(monomial: Monomial) -> float:
    """Standard deviation of that product."""
    return float(np.sqrt(normal_moment(monomial + monomial) - normal_moment(monomial) ** 2))


def conditions(axes: int, half: int) -> list[Monomial]:
    """Degrees 2 and 4 whole; degree 6 on as many leading axes as there is room for, and each axis by itself."""
    chosen: list[Monomial] = []
    for degree in (2, 4):
        chosen += combinations_with_replacement(range(axes), degree)
    leading = axes
    while leading and len(chosen) + comb(leading + 5, 6) > ROOM * half * axes:
        leading -= 1
    chosen += combinations_with_replacement(range(leading), 6)
    return chosen + [(axis,) * 6 for axis in range(leading, axes)]


@dataclass(frozen=True, slots=True)
class Faults:
    """By how much each condition is missed, weighted, in units of its own sd; and the derivatives."""

    missed: np.ndarray
    slopes: np.ndarray

    @property
    def size(self) -> float:
        return float(self.missed @ self.missed)


def faults(points: np.ndarray, chosen: list[Monomial]) -> Faults:
    missed = np.empty(len(chosen))
    slopes = np.zeros((len(chosen), *points.shape))
    for row, monomial in enumerate(chosen):
        scale = WEIGHTS[len(monomial)] / sd_of(monomial)
        missed[row] = (np.prod(points[:, monomial], axis=1).mean() - normal_moment(monomial)) * scale
        for axis in set(monomial):
            rest = list(monomial)
            rest.remove(axis)
            slope = monomial.count(axis) * np.prod(points[:, rest], axis=1) / len(points)
            slopes[row, :, axis] = slope * scale
    return Faults(missed, slopes.reshape(len(chosen), -1))


def design(axes: int) -> np.ndarray:
    """Half of the nodes, (half, axes)."""
    half, seed, most_steps = SETS[axes]
    chosen = conditions(axes, half)
    points = norm.ppf(np.clip(qmc.Sobol(axes, seed=seed).random(half), 1e-4, 1 - 1e-4))
    now, damping = faults(points, chosen), 1e-3
    for _ in range(most_steps):
        square = now.slopes @ now.slopes.T
        square += damping * np.trace(square) / len(square) * np.eye(len(square))
        moved = points + (now.slopes.T @ np.linalg.solve(square, -now.missed)).reshape(points.shape)
        then = faults(moved, chosen)
        if then.size < now.size:
            points, now, damping = moved, then, max(damping / 5, 1e-14)
        else:
            damping *= 8
        if np.abs(now.missed).max() < 1e-9 or damping > 1e8:
            break
    return points


def main(file: Path) -> None:
    most = max(SETS)
    with file.open("w", newline="", encoding="utf-8") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(["axes", *(f"z{axis + 1}" for axis in range(most))])
        for axes in SETS:
            for point in design(axes):
                writer.writerow([axes, *(f"{z:.6f}" for z in point), *[""] * (most - axes)])


if __name__ == "__main__":
    main(Path(sys.argv[1]))
