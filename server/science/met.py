"""What a changing room has done to a film's stages up to any day, put as the room that stays and does the same.

A stage's clock runs at R = 1 / (w / r + q / f): r is the rate of dry-to-touch, by light and by metal, f the factor of
the oxygen front. To the first order in the logarithms of all uncertain figures the clock's sum up to a day is that of a
constant room whose factors carry the same parts of it; how each part leans on warmth is its mean of 1/T. Past many
steps this is worked out on blocks of steps, each some hundredths of the time passed: only factors on the central
answer rest on it, never that answer itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cache

import numpy as np

from server.science.climate import Rooms, last_below
from server.science.drying import Climate
from server.science.routes import RouteMeans, StageWeights

EXACT_STEPS = 256  # rooms of no more steps are taken step by step
BLOCK = 1.04  # how much later each block ends than the one before


@dataclass(frozen=True, slots=True)
class Pace:
    """How rows dry: their rates of dry-to-touch by light and by metal, 1/d, and their front's days at factor 1.

    In a climate of factors (auto, cat, front), dry-to-touch takes 1 / (by_light auto + by_metal cat).
    """

    by_light: np.ndarray
    by_metal: np.ndarray
    front_d: np.ndarray

    def of(self, rows: np.ndarray) -> "Pace":
        """Some of the rows, or rows repeated."""
        return Pace(self.by_light[rows], self.by_metal[rows], self.front_d[rows])


@dataclass(frozen=True, slots=True)
class Blocks:
    """Climate by blocks of steps, (rooms, blocks): means of the routes' factors, (3, rooms, blocks), the means of
    1/T - 1/294.15 in 1/K within each, and those of its square."""

    start_d: np.ndarray
    lasts_d: np.ndarray
    factors: np.ndarray
    slopes: np.ndarray
    squares: np.ndarray


def blocks_of(rooms: Rooms, climate: Climate, lasts: np.ndarray, warmth: np.ndarray | None = None) -> Blocks:
    """Blocks of steps; ``climate``: the factors of the rooms' every step, ``lasts`` (rooms, steps) its days, ``warmth``
    its 1/T - 1/294.15, if at hand."""
    starts = _block_starts(rooms.start_d.shape[1])
    x = rooms.inverse_kelvin if warmth is None else warmth
    routes = climate.auto, climate.cat, climate.front
    if len(starts) == rooms.start_d.shape[1]:
        return Blocks(rooms.start_d, lasts, np.stack(routes), np.stack([x, x, x]), np.stack([x * x] * 3))
    # Only spreads rest on these sums: seven digits are plenty, and half as much is moved about.
    weighed = np.empty((3, *x.shape), dtype=np.float32)
    for part, factor in zip(weighed, routes, strict=True):
        np.multiply(factor, lasts, out=part, casting="same_kind")
    x = x.astype(np.float32)
    sums = np.add.reduceat(weighed, starts, axis=2).astype(float)
    weighed *= x
    slopes = np.add.reduceat(weighed, starts, axis=2).astype(float)
    weighed *= x
    squares = np.add.reduceat(weighed, starts, axis=2).astype(float)
    length = np.add.reduceat(lasts, starts, axis=1)
    return Blocks(rooms.start_d[:, starts], length, sums / length, slopes / sums, squares / sums)


def joined(blocks: Sequence[Blocks]) -> Blocks:
    """Blocks of one room after another, side by side."""
    if len(blocks) == 1:
        return blocks[0]
    return Blocks(*(np.concatenate([getattr(b, f.name) for b in blocks], axis=-2) for f in fields(Blocks)))


@cache
def _block_starts(steps: int) -> np.ndarray:
    """Where blocks begin: single steps at first, then blocks each a little longer than the one before."""
    if steps <= EXACT_STEPS:
        return np.arange(steps)
    grown = BLOCK ** np.arange(1, int(np.log(steps) / np.log(BLOCK)) + 1)
    starts = np.concatenate(([0], np.ceil(grown).astype(np.intp), [steps - 1]))  # the last one holds on by itself
    return np.unique(starts[starts < steps])


@dataclass(frozen=True, slots=True)
class Met:
    """The constant climate that does the same as a room, and what bends the draws beside it.

    ``variance`` (3, answers): of 1/T within each route's part, see ``RouteMeans.of_draws``. ``share_variance``
    (answers,): of the skin's share in the clock's rate; a draw whose front is quick against its skin gains where the
    skin is slow and loses less where it is quick, so that on the mean draws come further by this much times the
    variance of front against skin.
    """

    means: RouteMeans
    variance: np.ndarray
    share_variance: np.ndarray


class MetClimate:
    """What each row's room has done to each of its stages up to any day."""

    def __init__(self, blocks: Blocks, room_of_row: np.ndarray, pace: Pace, weights: StageWeights) -> None:
        """``weights`` (rows, kinds): the stages' weights. Everything within is (rows, kinds, blocks)."""
        self._start_d = blocks.start_d[room_of_row]
        lasts = blocks.lasts_d[room_of_row][:, None]
        factors = blocks.factors[:, room_of_row]
        auto, cat, front = factors[:, :, None]
        touch = pace.by_light[:, None, None] * auto + pace.by_metal[:, None, None] * cat
        rate = 1 / (weights.skin[..., None] / touch + (weights.front * pace.front_d[:, None])[..., None] / front)
        square = rate * rate * lasts
        skin = square / (touch * touch)
        parts = np.stack([skin * auto, skin * cat, square / front])
        slopes, squares = blocks.slopes[:, room_of_row, None], blocks.squares[:, room_of_row, None]
        share = weights.skin[..., None] * rate / touch
        own = np.stack([rate * lasts, rate * lasts * share * share])
        self._rates = np.concatenate([parts, parts * slopes, parts * squares, own])
        self._done = np.zeros_like(self._rates)
        np.cumsum(self._rates[..., :-1], axis=-1, out=self._done[..., 1:])
        self._lasts_d = blocks.lasts_d[room_of_row]
        self._pace, self._weights = pace, weights

    def means(self, rows: np.ndarray, kinds: np.ndarray, until_d: np.ndarray) -> Met:
        """What these rows' rooms did to their stages from day 0 to ``until_d``; all (answers,)."""
        block = last_below(self._start_d, rows, until_d)
        within = (until_d - self._start_d[rows, block]) / self._lasts_d[rows, block]
        done = self._done[:, rows, kinds, block] + self._rates[:, rows, kinds, block] * within
        auto, cat, front = done[:3]
        pace, progress = self._pace.of(rows), done[9]
        skin, inside = self._weights.skin[rows, kinds], self._weights.front[rows, kinds]
        by_skin = pace.by_light * auto + pace.by_metal * cat
        touch = progress**2 / (until_d * by_skin**2)
        slopes = done[3:6] / done[:3]
        variance = np.maximum(done[6:9] / done[:3] - slopes**2, 0.0)
        share = np.stack([skin * by_skin, skin * by_skin, inside * pace.front_d * front]) / progress
        variance *= 2 * share - 1
        means = RouteMeans(auto * touch, cat * touch, progress**2 / (until_d * front), *slopes)
        return Met(means, variance, np.maximum(done[10] / progress - share[0] ** 2, 0.0))

    def central_days(self, rows: np.ndarray, kinds: np.ndarray, means: RouteMeans) -> np.ndarray:
        """Days to these rows' stages in the constant climates of ``means`` with the central parameters."""
        pace = self._pace.of(rows)
        touch = pace.by_light * means.auto + pace.by_metal * means.cat
        return np.asarray(
            self._weights.skin[rows, kinds] / touch + self._weights.front[rows, kinds] * pace.front_d / means.front
        )
