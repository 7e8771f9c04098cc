"""Stages in a room that changes: the central integral, and how far draws of the uncertain figures come beside it.

Central: each stage has a clock that runs at 1 / T_stage of the step it is in. Draws: one that is slower by a factor in
the climate met so far must come that much further on the central clock. The factor depends on the climate until the
answer, so it is worked out at three ages, read off between them, and, where that matters, worked out again at the
answer of each percentile.
"""

from dataclasses import dataclass, fields

import numpy as np

from server.science import reference
from server.science.climate import FAR_D, Rooms, last_below
from server.science.drying import Climate, dry_to_touch_d, front_d
from server.science.films import Regions
from server.science.met import Blocks, MetClimate, Pace, blocks_of, joined
from server.science.routes import StageWeights, rows_of, stage_weights, varnish_by_itself
from server.science.spread import MIDDLE, PERCENTILES, log_quantiles

ROUNDS = 3  # of reading the factor at the answer
STEADY = 0.005  # factors whose logarithm changes less than this between the ages known need no second look
STAGES = 5
CELLS_AT_ONCE = 65_536  # rows x steps of one go: keeps the work inside the processor's cache


@dataclass(frozen=True, slots=True)
class StageClocks:
    """How far each row has come towards each stage at the start of each step, ``progress`` (rows, clocks, steps + 1).

    ``start_d`` (rooms, steps + 1), ``room`` (rows,). Stage ``i`` is reached when clock ``clock[i]`` shows ``goal[i]``.
    """

    start_d: np.ndarray
    room: np.ndarray
    progress: np.ndarray
    clock: np.ndarray
    goal: np.ndarray

    def reach(self, slower: np.ndarray) -> np.ndarray:
        """Days until each row has come ``slower`` times as far as each stage's goal, (rows, stages, any)."""
        rows, room = np.arange(len(slower))[:, None, None], self.room[:, None, None]
        goals = slower * self.goal[:, None]
        progress = self.progress.reshape(-1, self.progress.shape[2])
        place = rows * self.progress.shape[1] + self.clock[None, :, None]
        step = np.minimum(last_below(progress, place, goals), progress.shape[1] - 2)
        before, start = progress[place, step], self.start_d[room, step]
        share = (goals - before) / (progress[place, step + 1] - before)
        return np.asarray(start + share * (self.start_d[room, step + 1] - start))


def pace_of(regions: Regions) -> Pace:
    """The pace of every region with the central parameters."""
    film = regions.film()
    by_light = 1 / np.asarray(dry_to_touch_d(film, Climate(1.0, 0.0, 1.0)))
    by_both = 1 / np.asarray(dry_to_touch_d(film, Climate(1.0, 1.0, 1.0)))
    return Pace(by_light, by_both - by_light, np.asarray(front_d(film.thickness_um, film, Climate())))


def changing_days(regions: Regions, rooms: Rooms, room_of_row: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Central days (rows, stages), and those of draws at every percentile (rows, stages, percentiles)."""
    kinds = stage_weights(regions)[: 4 if varnish_by_itself(regions).any() else 3]
    weights = StageWeights(*(np.stack([getattr(w, f.name) for w in kinds], axis=1) for f in fields(StageWeights)))
    films = Films(room_of_row, pace_of(regions), weights)
    clocks, blocks = clocks_and_blocks(rooms, films)
    met = MetClimate(blocks, room_of_row, films.pace, weights)
    central = clocks.reach(np.ones((len(room_of_row), STAGES, 1)))
    return central[:, :, 0], _drawn(clocks, _Draws(regions, met, weights, clocks.clock), central)


@dataclass(frozen=True, slots=True)
class Films:
    """What dries in a batch of rooms, row by row; ``weights`` (rows, kinds).

    Kinds: dry-to-touch, dry-to-recoat, dry-through, and the varnish's own where a film is beyond its cap.
    """

    room_of_row: np.ndarray
    pace: Pace
    weights: StageWeights


def clocks_and_blocks(rooms: Rooms, films: Films) -> tuple[StageClocks, Blocks]:
    """Clocks of every film and the rooms in blocks; a few rooms at a time, so that years of hours stay in the cache."""
    kinds, steps = films.weights.skin.shape[1], rooms.start_d.shape[1]
    progress = np.empty((len(films.room_of_row), kinds, steps + 1))
    progress[:, :, 0] = 0.0
    ends = np.concatenate([rooms.start_d, rooms.start_d[:, -1:] + FAR_D], axis=1)
    at_once = max(1, CELLS_AT_ONCE // steps)
    blocks = []
    for first in range(0, len(rooms.start_d), at_once):
        some = rooms.of_rooms(first, first + at_once)
        warmth, lasts = some.inverse_kelvin, np.diff(ends[first : first + at_once], axis=1)
        climate = some.climate(warmth)
        blocks.append(blocks_of(some, climate, lasts, warmth))
        for row in np.flatnonzero((films.room_of_row >= first) & (films.room_of_row < first + at_once)).tolist():
            _run(progress[row], films, row, (climate, lasts, int(films.room_of_row[row]) - first))
    share, multiple = reference.value("set_to_touch_share"), reference.value("varnish_multiple")
    goals = np.array([share, 1.0, 1.0, 1.0, 1.0 if kinds == 4 else multiple])
    clocks = StageClocks(ends, films.room_of_row, progress, np.array([0, 0, 1, 2, kinds - 1]), goals)
    return clocks, joined(blocks)


def _run(progress: np.ndarray, films: Films, row: int, where: tuple[Climate, np.ndarray, int]) -> None:
    """Fill in how far one film has come at the start of each step, ``progress`` (kinds, steps + 1)."""
    climate, lasts, room = where
    pace, weights = films.pace, films.weights
    auto, cat, front = (np.asarray(factor)[room] for factor in (climate.auto, climate.cat, climate.front))
    touch = pace.by_light[row] * auto
    if pace.by_metal[row] != 0.0:
        touch += pace.by_metal[row] * cat
    both = touch * lasts[room]
    np.cumsum(both, out=progress[0, 1:])  # dry-to-touch does not wait for the front
    touch /= front
    waits = np.empty_like(touch)
    for kind in range(1, len(progress)):
        np.multiply(touch, weights.front[row, kind] * pace.front_d[row], out=waits)
        waits += weights.skin[row, kind]
        np.cumsum(np.divide(both, waits, out=waits), out=progress[kind, 1:])


def _drawn(clocks: StageClocks, draws: "_Draws", central: np.ndarray) -> np.ndarray:
    """Days of draws at every percentile (rows, stages, percentiles)."""
    rows, stages = (np.asarray(which) for which in np.indices(central.shape[:2]))
    middle = draws.slower(rows, stages, central[:, :, 0])
    first = clocks.reach(np.exp(middle))
    ends = np.stack([first[:, :, 0], first[:, :, -1]])
    early, late = draws.slower(np.stack([rows, rows]), np.stack([stages, stages]), ends)
    factors = np.stack([early, middle, late])
    ages = np.log(np.stack([ends[0], central[:, :, 0], ends[1]]))
    known = _Known(np.broadcast_to(ages[..., None], factors.shape), factors)
    drawn = _settle(clocks, known, first)
    unsteady = np.argwhere(np.ptp(factors, axis=0).max(axis=2) > STEADY)
    if not len(unsteady):
        return drawn
    return _settle(clocks, _looked_at_again(known, draws, unsteady, drawn), drawn)


class _Draws:
    """The draws' factor on the central time in the climate met so far."""

    def __init__(self, regions: Regions, met: MetClimate, weights: StageWeights, clock: np.ndarray) -> None:
        """``weights`` (rows, kinds); ``clock``: the kind of each stage."""
        self._regions, self._met, self._weights, self._clock = regions, met, weights, clock

    def slower(self, rows: np.ndarray, stages: np.ndarray, until_d: np.ndarray) -> np.ndarray:
        """Logarithm of the factor at every percentile, the last axis; the first ones are those of the arguments."""
        row, kind, until = rows.ravel(), self._clock[stages.ravel()], until_d.ravel()
        met = self._met.means(row, kind, until)
        weight = StageWeights(*(getattr(self._weights, f.name)[row, kind] for f in fields(StageWeights)))
        prepared = rows_of(self._regions.of(row), met.means.of_draws(met.variance))
        central = np.log(self._met.central_days(row, kind, met.means))
        further = met.share_variance * prepared.factors[:, 0, 0] ** 2
        slower = log_quantiles(prepared, (weight,))[:, 0] - (central + further)[:, None]
        return slower.reshape(*until_d.shape, -1)


@dataclass(frozen=True, slots=True)
class _Known:
    """Factors that were worked out, at ages (logarithms, in order); both (ages, rows, stages, percentiles)."""

    ages: np.ndarray
    factors: np.ndarray

    def read(self, at: np.ndarray) -> np.ndarray:
        """The factor at other ages: straight between those known, level beyond."""
        found = self.factors[0]
        for i in range(len(self.ages) - 1):
            span = self.ages[i + 1] - self.ages[i]
            share = np.clip((at - self.ages[i]) / np.where(span > 0, span, 1.0), 0.0, 1.0)
            found = found + share * (self.factors[i + 1] - self.factors[i])
        return found

    def with_more(self, age: np.ndarray, factor: np.ndarray) -> "_Known":
        """One more age for each row, stage and percentile."""
        ages, factors = np.concatenate([self.ages, age[None]]), np.concatenate([self.factors, factor[None]])
        order = np.argsort(ages, axis=0, kind="stable")
        return _Known(np.take_along_axis(ages, order, axis=0), np.take_along_axis(factors, order, axis=0))


def _settle(clocks: StageClocks, known: _Known, drawn: np.ndarray) -> np.ndarray:
    for _ in range(ROUNDS):
        drawn = clocks.reach(np.exp(known.read(np.log(drawn))))
    return drawn


def _looked_at_again(known: _Known, draws: _Draws, unsteady: np.ndarray, drawn: np.ndarray) -> _Known:
    """The factors of the (row, stage) pairs of ``unsteady`` worked out at each percentile's own answer."""
    row, stage = unsteady[:, 0], unsteady[:, 1]
    age = np.log(drawn)
    factor = known.read(age)
    outer = [i for i in range(len(PERCENTILES)) if i != MIDDLE]  # the median is reached about where it is known
    rows, stages = (np.repeat(which[:, None], len(outer), axis=1) for which in (row, stage))
    found = draws.slower(rows, stages, drawn[row, stage][:, outer])[..., outer]
    factor[row[:, None], stage[:, None], outer] = np.diagonal(found, axis1=1, axis2=2)
    return known.with_more(age, factor)
