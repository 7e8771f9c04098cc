"""When a layer reaches each drying stage, with its range. The only way in: one estimate is a batch of one.

Regions (mixes) of a layer dry each by itself; the layer is at a stage when its slowest region is, so the region with
the latest central time lends the layer its whole range. The central value comes from the closed form, or from the
integral over a changing room; the percentiles are factors on it.
"""

from collections.abc import Sequence
from dataclasses import fields

import numpy as np

from server.science import reference
from server.science.climate import Clock, MetClimate, Rooms, clocks, constant_means, rooms_of
from server.science.composition import composition_of, max_mass_gain_pct
from server.science.drying import stage_times
from server.science.films import MixFilm, Regions, gather
from server.science.provenance import provenance, warnings
from server.science.recipe import LayerRecipe, Room
from server.science.results import LayerEstimate, RegionEstimate, Stage, StageRange
from server.science.spread import PERCENTILES, StageWeights, central_log_d, log_quantiles, stage_weights, terms

MODEL_VERSION = "1"
STAGE_ORDER = tuple(Stage)
MIDDLE = 2  # position of the median among the percentiles
TOUCH = STAGE_ORDER.index(Stage.DRY_TO_TOUCH)


def estimate(layer: LayerRecipe, room: Room) -> LayerEstimate:
    """When ``layer`` reaches each stage in ``room``, days after painting. Raises InputError with the field's path."""
    return estimate_many([(layer, room)])[0]


def estimate_many(pairs: Sequence[tuple[LayerRecipe, Room]]) -> list[LayerEstimate]:
    """The estimates of many layers, each in its room, in order. Raises InputError with the field's path."""
    if not pairs:
        return []
    regions = gather(pairs)
    rooms = rooms_of([room for _, room in pairs])
    days = np.empty((len(regions.layer), len(STAGE_ORDER), len(PERCENTILES)))
    changing = np.array([len(room.steps) > 1 for _, room in pairs])[regions.layer]
    for rows, ranges in ((np.flatnonzero(~changing), _constant), (np.flatnonzero(changing), _changing)):
        if rows.size:
            picked = regions.of(rows)
            days[rows] = ranges(picked, rooms.of(picked.layer))
    return _answers(pairs, regions, days)


def _constant(regions: Regions, rooms: Rooms) -> np.ndarray:
    """Days at every percentile, shape (rows, stages, percentiles), in a climate that stays."""
    means = constant_means(rooms)
    times = stage_times(regions.film(), means.climate())
    share = reference.value("set_to_touch_share")
    central = np.stack([np.asarray(getattr(times, f.name)) for f in fields(times)], axis=1)
    drawn = np.exp(log_quantiles(terms(regions, means), stage_weights(regions)))
    return _as_factors(central, np.concatenate([share * drawn[:, :1], drawn], axis=1))


def _changing(regions: Regions, rooms: Rooms) -> np.ndarray:
    """Days at every percentile, shape (rows, stages, percentiles), in a climate that changes."""
    touch, recoat, through, varnish = clocks(regions.film(), rooms)
    weights = stage_weights(regions)
    met = MetClimate(rooms)
    share = reference.value("set_to_touch_share")
    stages = (
        (touch, weights[0], share),
        (touch, weights[0], 1.0),
        (recoat, weights[1], 1.0),
        (through, weights[2], 1.0),
        (varnish, weights[3], 1.0),
    )
    rows = len(regions.layer)
    central = np.stack([clock.reach(np.full(rows, goal)) for clock, _, goal in stages], axis=1)
    drawn = np.empty((rows, len(stages), len(PERCENTILES)))
    for i, (clock, weight, goal) in enumerate(stages):
        drawn[:, i] = _drawn(regions, met, (clock, weight, goal), central[:, i])
    return _as_factors(central, drawn)


def _drawn(
    regions: Regions, met: MetClimate, stage: tuple[Clock, StageWeights, float], central_d: np.ndarray
) -> np.ndarray:
    """The draws' own percentiles of one stage in a changing room, shape (rows, percentiles).

    A draw that is slower by a factor in the climate met so far must come that much further on the central clock. The
    factor's percentiles depend on the climate until the answer, so they are worked out there a second time.
    """
    clock, weight, goal = stage

    def reached(until_d: np.ndarray, percentiles: slice) -> np.ndarray:
        prepared = terms(regions, met.means(until_d))
        slower = log_quantiles(prepared, (weight,))[:, 0, percentiles] - central_log_d(prepared, weight)[:, None]
        return clock.reach(goal * np.exp(slower))

    first = reached(central_d, slice(None))
    early = reached(first[:, 0], slice(0, MIDDLE))
    middle = reached(first[:, MIDDLE], slice(MIDDLE, MIDDLE + 1))
    late = reached(first[:, -1], slice(MIDDLE + 1, None))
    return np.concatenate([early, middle, late], axis=1)


def _as_factors(central: np.ndarray, drawn: np.ndarray) -> np.ndarray:
    """Percentiles as factors on the draws' own median, times the central value; the varnish with its fixed days."""
    fixed = np.zeros(len(STAGE_ORDER))
    fixed[-1] = reference.value("varnish_fixed_d")
    drawn = drawn + fixed[:, None]
    return drawn / drawn[:, :, MIDDLE, None] * (central + fixed)[:, :, None]


def _answers(pairs: Sequence[tuple[LayerRecipe, Room]], regions: Regions, days: np.ndarray) -> list[LayerEstimate]:
    ranges = [
        {stage: StageRange(*figures) for stage, figures in zip(STAGE_ORDER, row, strict=True)} for row in days.tolist()
    ]
    central = days[:, :, MIDDLE]
    answers = []
    first = 0
    for layer, room in pairs:
        last = first + len(layer.mixes)
        answers.append(_answer((layer, room), regions.mix_films[first:last], ranges[first:last], central[first:last]))
        first = last
    return answers


def _answer(
    pair: tuple[LayerRecipe, Room],
    films: list[MixFilm],
    ranges: list[dict[Stage, StageRange]],
    central: np.ndarray,
) -> LayerEstimate:
    layer, room = pair
    facts = tuple(film.facts for film in films)
    slowest = [0] * len(STAGE_ORDER) if len(films) == 1 else central.argmax(axis=0).tolist()
    absorbency = reference.absorbency(layer.ground)
    regions = tuple(
        RegionEstimate(
            mix.name,
            mix.area_share,
            stages,
            composition_of(mix.name, fact, layer.wet_thickness_um, absorbency),
            i == slowest[TOUCH],
        )
        for i, (mix, fact, stages) in enumerate(zip(layer.mixes, facts, ranges, strict=True))
    )
    area = sum(mix.area_share for mix in layer.mixes)
    iodine = sum(mix.area_share * fact.iodine_value for mix, fact in zip(layer.mixes, facts, strict=True)) / area
    index = sum(mix.area_share * fact.drying_index for mix, fact in zip(layer.mixes, facts, strict=True)) / area
    return LayerEstimate(
        {stage: ranges[slowest[i]][stage] for i, stage in enumerate(STAGE_ORDER)},
        regions,
        iodine,
        index,
        max_mass_gain_pct(iodine),
        provenance(facts, layer.ground, room),
        warnings(layer, facts, room),
    )
