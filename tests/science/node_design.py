"""How the nodes of server/science/data/nodes.csv were made: ``python -m tests.science.node_design FILE``.

For each number of axes a quasi-random start (Roberts 2018, generalised golden ratio) is moved by Gauss-Newton steps of
least length until its mirrored points have the moments of a normal distribution: all of degree 2 and 4, and of degree 6
and 8 as many as the points have room for. Odd moments are nought by the mirror.
"""

import csv
import sys
from itertools import combinations_with_replacement
from math import comb, prod
from pathlib import Path

import numpy as np

from server.science.spread import normal_quantile

HALVES = {1: 32, 2: 48, 3: 64, 4: 96, 5: 128, 6: 128, 7: 160, 8: 192, 9: 224, 10: 256}
ROOM = 0.8  # of the coordinates, at most so many conditions
Monomial = tuple[int, ...]


def normal_moment(monomial: Monomial) -> float:
    """Expectation of a product of independent standard normals; the monomial lists axes, repeated."""
    counts = [monomial.count(axis) for axis in set(monomial)]
    if any(count % 2 for count in counts):
        return 0.0
    return float(prod(prod(range(count - 1, 0, -2)) for count in counts))


def variance(monomial: Monomial) -> float:
    return normal_moment(monomial + monomial) - normal_moment(monomial) ** 2


def monomials(axes: int, half: int) -> list[Monomial]:
    """The conditions: whole degrees while there is room, of higher ones those on the leading axes."""
    chosen: list[Monomial] = []
    for degree in (2, 4):
        chosen += combinations_with_replacement(range(axes), degree)
    for degree in (6, 8):
        for leading in range(axes, 0, -1):
            if len(chosen) + comb(leading + degree - 1, degree) <= ROOM * half * axes:
                chosen += combinations_with_replacement(range(leading), degree)
                break
        else:
            leading = 0
        chosen += [(axis,) * degree for axis in range(leading, axes) if degree == 6]
    return chosen


def start(axes: int, half: int) -> np.ndarray:
    golden = 2.0
    for _ in range(80):
        golden = (1 + golden) ** (1 / (axes + 1))
    points = (0.5 + np.outer(np.arange(1, half + 1), golden ** -np.arange(1.0, axes + 1))) % 1
    return normal_quantile(points)


def faults(points: np.ndarray, chosen: list[Monomial]) -> tuple[np.ndarray, np.ndarray]:
    """By how much each condition is missed, in units of its own sd, and the derivatives."""
    missed = np.empty(len(chosen))
    slopes = np.zeros((len(chosen), *points.shape))
    for row, monomial in enumerate(chosen):
        scale = 1 / np.sqrt(variance(monomial))
        missed[row] = (np.prod(points[:, monomial], axis=1).mean() - normal_moment(monomial)) * scale
        for axis in set(monomial):
            rest = list(monomial)
            rest.remove(axis)
            slope = monomial.count(axis) * np.prod(points[:, rest], axis=1) / len(points)
            slopes[row, :, axis] = slope * scale
    return missed, slopes.reshape(len(chosen), -1)


def design(axes: int, half: int, most_steps: int = 80) -> tuple[np.ndarray, float]:
    """Half of the nodes, (half, axes), and the largest fault left; damped steps (Levenberg 1944)."""
    chosen, points = monomials(axes, half), start(axes, half)
    missed, slopes = faults(points, chosen)
    damping = 1e-3
    for _ in range(most_steps):
        square = slopes @ slopes.T
        scale = np.trace(square) / len(square)
        step = slopes.T @ np.linalg.solve(square + damping * scale * np.eye(len(square)), -missed)
        moved = points + step.reshape(points.shape)
        new_missed, new_slopes = faults(moved, chosen)
        if new_missed @ new_missed < missed @ missed:
            points, missed, slopes = moved, new_missed, new_slopes
            damping = max(damping / 5, 1e-14)
        else:
            damping *= 8
        if np.abs(missed).max() < 1e-9 or damping > 1e6:
            break
    return points, float(np.abs(missed).max())


def main(file: Path) -> None:
    most = max(HALVES)
    with file.open("w", newline="", encoding="utf-8") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(["axes", *(f"z{axis + 1}" for axis in range(most))])
        for axes, half in HALVES.items():
            points, fault = design(axes, half)
            print(f"{axes} axes, {2 * half} nodes, {len(monomials(axes, half))} conditions, largest fault {fault:.1e}")
            for point in points:
                writer.writerow([axes, *(f"{z:.6f}" for z in point), *[""] * (most - axes)])


if __name__ == "__main__":
    main(Path(sys.argv[1]))
