"""Points that stand for normal draws: few, fixed, and with the moments of the normal distribution.

data/nodes.csv holds half of each set; the other half is its mirror image, so odd moments are nought. How the sets were
made, and that their even moments are right, is in the tests. For the few films whose spread bends sharply there is a
finer set: a rank-1 lattice (L'Ecuyer & Lemieux 2000: 1021 points, multiplier 76), shifted.
"""

import csv
from dataclasses import dataclass
from functools import cache

import numpy as np

from server.science.reference import DATA

LATTICE_POINTS, LATTICE_MULTIPLIER = 1021, 76
LATTICE_SHIFT = 0.7548776662466927  # between one axis and the next; any irrational number serves


@dataclass(frozen=True, slots=True)
class NodeSet:
    """Nodes in so many axes, with what their own moments are.

    ``points`` (nodes, axes), ``by_axis`` the same transposed. ``third`` (axes^2, axes) and ``fourth`` (axes^2, axes^2)
    are the mean products of three and of four coordinates; ``third`` is None where the mirror makes all of them 0.
    """

    points: np.ndarray
    by_axis: np.ndarray
    third: np.ndarray | None
    fourth: np.ndarray

    @property
    def axes(self) -> int:
        """In how many axes."""
        return int(self.points.shape[1])


def _with_moments(points: np.ndarray, mirrored: bool) -> NodeSet:
    count, axes = points.shape
    pairs = (points[:, :, None] * points[:, None, :]).reshape(count, axes * axes)
    third = None if mirrored else pairs.T @ points / count
    return NodeSet(points, np.ascontiguousarray(points.T), third, pairs.T @ pairs / count)


@cache
def node_set(axes: int) -> NodeSet:
    """The mirrored nodes in so many axes."""
    return _with_moments(nodes(axes), mirrored=True)


@cache
def fine_node_set(axes: int) -> NodeSet:
    """The finer nodes in so many axes."""
    return _with_moments(fine_nodes(axes), mirrored=False)


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
    return _whitened(np.vstack([half, -half]))


@cache
def fine_nodes(axes: int) -> np.ndarray:
    """The finer set in so many axes, shape (nodes, axes): mean 0 and covariance 1 exactly."""
    from statistics import NormalDist  # slow to import, seldom needed

    multipliers = np.array([pow(LATTICE_MULTIPLIER, axis, LATTICE_POINTS) for axis in range(axes)])
    shifts = np.arange(1, axes + 1) * LATTICE_SHIFT
    shares = (np.outer(np.arange(LATTICE_POINTS), multipliers) / LATTICE_POINTS + shifts) % 1
    points = np.vectorize(NormalDist().inv_cdf)(np.clip(shares, 1e-5, 1 - 1e-5))
    return _whitened(points - points.mean(axis=0))


def _whitened(points: np.ndarray) -> np.ndarray:
    whiten = np.linalg.inv(np.linalg.cholesky(points.T @ points / len(points))).T
    return np.ascontiguousarray(points @ whiten)
