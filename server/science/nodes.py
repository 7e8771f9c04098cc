"""Points that stand for normal draws: few, fixed, and with the moments of the normal distribution.

data/nodes.csv holds half of each set; the other half is its mirror image, so odd moments are nought. How the sets were
made, and that their even moments are right, is in the tests.
"""

import csv
from functools import cache

import numpy as np

from server.science.reference import DATA


@cache
def _halves() -> dict[int, np.ndarray]:
    points: dict[int, list[list[float]]] = {}
    with (DATA / "nodes.csv").open(newline="", encoding="utf-8") as handle:
        for row in list(csv.reader(handle))[1:]:
            axes = int(row[0])
            points.setdefault(axes, []).append([float(z) for z in row[1 : 1 + axes]])
    return {axes: np.array(half) for axes, half in points.items()}


@cache
def nodes(axes: int) -> np.ndarray:
    """Nodes in so many axes, shape (nodes, axes): symmetric about 0, covariance 1 exactly."""
    half = _halves()[axes]
    both = np.vstack([half, -half])
    whiten = np.linalg.inv(np.linalg.cholesky(both.T @ both / len(both))).T
    return np.ascontiguousarray(both @ whiten)
