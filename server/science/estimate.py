"""When a layer reaches each drying stage, with its range. The only way in: one estimate is a batch of one.

Regions (mixes) of a layer dry each by itself; the layer is at a stage when its slowest region is, so the region with
the latest central time lends the layer its whole range. The central value comes from the closed form, or from the
integral over a changing room; the percentiles are factors on it.
"""

from collections.abc import Sequence
from dataclasses import fields, replace
from itertools import pairwise, starmap

import numpy as np

from server.science import reference
from server.science.climate import Clock, MetClimate, Rooms, clocks, constant_means, rooms_of
from server.science.composition import composition_of, max_mass_gain_pct
from server.science.drying import stage_times
from server.science.films import MixFilm, Regions, gather
from server.science.provenance import provenance, warnings
from server.science.recipe import LayerRecipe, Room
from server.science.results import LayerEstimate, RegionEstimate, Stage, StageRange
from server.science.routes import StageWeights, central_log_d, rows_of, stage_weights
from server.science.spread import MIDDLE, PERCENTILES, log_quantiles

MODEL_VERSION = "1"
STAGE_ORDER = tuple(Stage)
ROUNDS = 6  # of reading the factor at the answer
TOUCH = STAGE_ORDER.index(Stage.DRY_TO_TOUCH)


def estimate(layer: LayerRecipe, room: Room) -> LayerEstimate:
    """When ``layer`` reaches each stage in ``room``, days after painting. Raises InputError with the field's path."""
    return estimate_many([(layer, room)])[0]


def estimate_many(pairs: Sequence[tuple[LayerRecipe, Room]]) -> list[LayerEstimate]:
    """The estimates of many layers, each in its room, in order. Raises InputError with the field's path."""
    if not pairs:
        return []
    pairs = [(layer, settled(room)) for layer, room in pairs]
    regions = gather(pairs)
    rooms = rooms_of([room for _, room in pairs])
    days = np.empty((len(regions.layer), len(STAGE_ORDER), len(PERCENTILES)))
    changing = np.array([len(room.steps) > 1 for _, room in pairs])[regions.layer]
    for rows, ranges in ((np.flatnonzero(~changing), _constant), (np.flatnonzero(changing), _changing)):
        if rows.size:
            picked = regions.of(rows)
            days[rows] = ranges(picked, rooms.of(picked.layer))
    return _answers(pairs, regions, days)


def settled(room: Room) -> Room:
    """``room`` without the steps that change nothing, so that a step split in two is the step it was.

    A room whose steps are out of order comes back as it is: it is refused where rooms are read.
    """
    steps = room.steps
    if not all(later.from_d > earlier.from_d for earlier, later in pairwise(steps)):
        return room
    kept = [
        step
        for i, step in enumerate(steps)
        if i == 0
        or step.temperature_c != steps[i - 1].temperature_c
        or step.relative_humidity_pct != steps[i - 1].relative_humidity_pct
        or step.light != steps[i - 1].light
    ]
    return room if len(kept) == len(steps) else replace(room, steps=tuple(kept))


def _constant(regions: Regions, rooms: Rooms) -> np.ndarray:
    """Days at every percentile, shape (rows, stages, percentiles), in a climate that stays."""
    means = constant_means(rooms)
    times = stage_times(regions.film(), means.climate())
    share = reference.value("set_to_touch_share")
    central = np.stack([np.asarray(getattr(times, f.name)) for f in fields(times)], axis=1)
    drawn = np.exp(log_quantiles(rows_of(regions, means), stage_weights(regions)))
    return _as_factors(central, np.concatenate([share * drawn[:, :1], drawn], axis=1))


def _changing(regions: Regions, rooms: Rooms) -> np.ndarray:
    """Days at every percentile, shape (rows, stages, percentiles), in a climate that changes."""
    touch, recoat, through, varnish = clocks(regions.film(), rooms)
    share = reference.value("set_to_touch_share")
    stages = ((touch, share), (touch, 1.0), (recoat, 1.0), (through, 1.0), (varnish, 1.0))
    count = len(regions.layer)
    central = np.stack([clock.reach(np.full(count, goal)) for clock, goal in stages], axis=1)
    met = MetClimate(rooms)
    # A draw that is slower by a factor in the climate met so far must come that much further on the central clock. The
    # factor depends on the climate until the answer: it is worked out at three ages and read off between them.
    factor = _slower(regions, met, central)
    first = _reached(stages, np.exp(factor))
    ages = np.log(np.stack([first[:, :, 0], central, first[:, :, -1]]))
    factors = np.stack([_slower(regions, met, np.exp(ages[0])), factor, _slower(regions, met, np.exp(ages[2]))])
    drawn = first
    for _ in range(ROUNDS):
        drawn = _reached(stages, np.exp(_between(ages, factors, np.log(drawn))))
    return _as_factors(central, drawn)


def _between(ages: np.ndarray, factors: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Factors (3, rows, stages, percentiles) at three ages (3, rows, stages), read at other ages; straight between."""
    early, middle, late = ages[:, :, :, None]
    before = np.clip((at - early) / (middle - early), 0.0, 1.0)
    after = np.clip((at - middle) / (late - middle), 0.0, 1.0)
    return factors[0] + before * (factors[1] - factors[0]) + after * (factors[2] - factors[1])


def _reached(stages: tuple[tuple[Clock, float], ...], slower: np.ndarray) -> np.ndarray:
    """Days until each central clock has come ``slower`` (rows, stages, percentiles) times its goal."""
    return np.stack([clock.reach(goal * slower[:, i]) for i, (clock, goal) in enumerate(stages)], axis=1)


def _slower(regions: Regions, met: MetClimate, until_d: np.ndarray) -> np.ndarray:
    """Logarithm of the draws' factor on the central time in the climate met until ``until_d`` (rows, stages)."""
    rows, stages = until_d.shape
    touch, *others = stage_weights(regions)
    every = (touch, touch, *others)
    repeated = np.repeat(np.arange(rows), stages)
    weight = StageWeights(
        *(np.stack([getattr(w, f.name) for w in every], axis=1).ravel() for f in fields(StageWeights))
    )
    prepared = rows_of(regions.of(repeated), met.means(until_d.ravel(), repeated))
    slower = log_quantiles(prepared, (weight,))[:, 0] - central_log_d(prepared, weight)[:, None]
    return slower.reshape(rows, stages, -1)


def _as_factors(central: np.ndarray, drawn: np.ndarray) -> np.ndarray:
    """Percentiles as factors on the draws' own median, times the central value; the varnish with its fixed days."""
    fixed = np.zeros(len(STAGE_ORDER))
    fixed[-1] = reference.value("varnish_fixed_d")
    drawn = drawn + fixed[:, None]
    return drawn / drawn[:, :, MIDDLE, None] * (central + fixed)[:, :, None]


def _answers(pairs: Sequence[tuple[LayerRecipe, Room]], regions: Regions, days: np.ndarray) -> list[LayerEstimate]:
    ranges = [dict(zip(STAGE_ORDER, starmap(StageRange, row), strict=True)) for row in days.tolist()]
    central = days[:, :, MIDDLE]
    answers = []
    first = 0
    for layer, room in pairs:
        last = first + len(layer.mixes)
        stages = ranges[first:last]
        slowest = [0] * len(STAGE_ORDER) if last - first == 1 else central[first:last].argmax(axis=0).tolist()
        answers.append(_answer((layer, room), regions.mix_films[first:last], stages, slowest))
        first = last
    return answers


def _answer(
    pair: tuple[LayerRecipe, Room],
    films: list[MixFilm],
    ranges: list[dict[Stage, StageRange]],
    slowest: list[int],
) -> LayerEstimate:
    """One layer's answer; ``slowest`` is the region that each stage waits for."""
    layer, room = pair
    absorbency, wet_um = reference.absorbency(layer.ground), layer.wet_thickness_um
    regions = []
    area = iodine = index = 0.0
    for i, (mix, film, stages) in enumerate(zip(layer.mixes, films, ranges, strict=True)):
        composition = composition_of(mix.name, film.facts, wet_um, absorbency)
        regions.append(RegionEstimate(mix.name, mix.area_share, stages, composition, i == slowest[TOUCH]))
        area += mix.area_share
        iodine += mix.area_share * film.facts.iodine_value
        index += mix.area_share * film.facts.drying_index
    origins = tuple([film.origin for film in films])
    return LayerEstimate(
        ranges[0] if len(films) == 1 else {stage: ranges[slowest[i]][stage] for i, stage in enumerate(STAGE_ORDER)},
        tuple(regions),
        iodine / area,
        index / area,
        max_mass_gain_pct(iodine / area),
        provenance(origins, layer.ground, room),
        warnings(layer, origins, room),
    )
