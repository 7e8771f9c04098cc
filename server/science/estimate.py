"""When a layer reaches each drying stage, with its range. The only way in: one estimate is a batch of one.

Regions (mixes) of a layer dry each by itself; the layer is at a stage when its slowest region is, so each percentile
of the layer is the latest of its regions'. The central value comes from the closed form, or from the
integral over a changing room; the percentiles are factors on it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import fields
from itertools import starmap

import numpy as np

from server.science import reference
from server.science.changing import changing_days
from server.science.climate import Rooms, constant_means, constant_rooms_of, rooms_of, steps_of
from server.science.composition import composition_of, max_mass_gain_pct
from server.science.drying import stage_times
from server.science.films import MixFilm, Regions, gather
from server.science.provenance import Circumstances, provenance, warnings
from server.science.recipe import LayerRecipe, Room
from server.science.results import LayerEstimate, RegionEstimate, Stage, StageRange, slowest_of
from server.science.routes import rows_of, stage_weights, varnish_by_itself
from server.science.spread import MIDDLE, PERCENTILES, log_quantiles

MODEL_VERSION = "3"  # a layer of several regions waits at each percentile for the latest of them
STAGE_ORDER = tuple(Stage)
STEPS_AT_ONCE = 1_000_000  # rooms x steps of one go
MEASURED_UM = 500.0  # beyond, no film was measured
TOUCH, THROUGH, VARNISH = map(STAGE_ORDER.index, (Stage.DRY_TO_TOUCH, Stage.DRY_THROUGH, Stage.FINAL_VARNISH))


def estimate(layer: LayerRecipe, room: Room) -> LayerEstimate:
    """When ``layer`` reaches each stage in ``room``, days after painting. Raises InputError with the field's path."""
    return estimate_many([(layer, room)])[0]


def estimate_many(pairs: Sequence[tuple[LayerRecipe, Room]]) -> list[LayerEstimate]:
    """The estimates of many layers, each in its room, in order. Raises InputError with the field's path."""
    return _answers(pairs, *_days(pairs)) if pairs else []


def stage_ranges_many(pairs: Sequence[tuple[LayerRecipe, Room]]) -> list[dict[Stage, StageRange]]:
    """The stages of `estimate_many` alone, for those who ask for nothing else."""
    if not pairs:
        return []
    _, days, _ = _days(pairs)
    figures = [dict(zip(STAGE_ORDER, starmap(StageRange, row), strict=True)) for row in days.tolist()]
    answers, first = [], 0
    for layer, _ in pairs:
        last = first + len(layer.mixes)
        if last - first == 1:
            answers.append(figures[first])
        else:
            answers.append({stage: slowest_of([own[stage] for own in figures[first:last]]) for stage in STAGE_ORDER})
        first = last
    return answers


def _days(pairs: Sequence[tuple[LayerRecipe, Room]]) -> tuple[Regions, np.ndarray, np.ndarray]:
    """The regions of all layers, their days (regions, stages, percentiles), and each room's weather."""
    regions = gather(pairs)
    days = np.empty((len(regions.layer), len(STAGE_ORDER), len(PERCENTILES)))
    weather = np.zeros((len(pairs), 2), dtype=bool)
    for pairs_alike, rooms in _alike(pairs):
        weather[pairs_alike, 0], weather[pairs_alike, 1] = rooms.extreme, rooms.damp
        place = np.full(len(pairs), -1)
        place[pairs_alike] = np.arange(len(pairs_alike))
        rows = np.flatnonzero(place[regions.layer] >= 0)
        room_of_row = place[regions.layer[rows]]
        if rooms.start_d.shape[1] == 1:
            days[rows] = _constant(regions.of(rows), rooms.of(room_of_row))
        else:
            days[rows] = _as_factors(*changing_days(regions.of(rows), rooms, room_of_row))
    return regions, days, weather


def _alike(pairs: Sequence[tuple[LayerRecipe, Room]]) -> Iterator[tuple[np.ndarray, Rooms]]:
    """Positions of pairs that can be worked out side by side, with their rooms: few enough at once for the memory."""
    steady = [i for i, (_, room) in enumerate(pairs) if len(room.steps) == 1]
    if steady:
        yield np.array(steady), constant_rooms_of([pairs[i][1] for i in steady])
    tables = {i: steps_of(room) for i, (_, room) in enumerate(pairs) if len(room.steps) != 1}
    lengths = {i: len(table.start_d) for i, table in tables.items()}
    by_length = sorted(tables, key=lengths.__getitem__)
    start = 0
    while start < len(by_length):
        shortest = lengths[by_length[start]]
        most = 1 if shortest == 1 else 2 * shortest
        last = start
        while last < len(by_length) and lengths[by_length[last]] <= most and (last - start) * most < STEPS_AT_ONCE:
            last += 1
        chosen = by_length[start : max(last, start + 1)]
        yield np.array(chosen), rooms_of([tables[i] for i in chosen])
        start += len(chosen)


def _constant(regions: Regions, rooms: Rooms) -> np.ndarray:
    """Days at every percentile, shape (rows, stages, percentiles), in a climate that stays."""
    means = constant_means(rooms)
    times = stage_times(regions.film(), means.climate())
    share = reference.value("set_to_touch_share")
    central = np.stack([np.asarray(getattr(times, f.name)) for f in fields(times)], axis=1)
    rows, (touch, recoat, through, varnish) = rows_of(regions, means), stage_weights(regions)
    drawn = np.empty((len(regions.layer), len(STAGE_ORDER), len(PERCENTILES)))
    drawn[:, 1:4] = log_quantiles(rows, (touch, recoat, through))
    drawn[:, 0] = drawn[:, 1] + np.log(share)
    # The varnish waits a multiple of dry-through, but for films beyond its cap: these are drawn by themselves.
    drawn[:, 4] = drawn[:, 3] + np.log(reference.value("varnish_multiple"))
    thick = np.flatnonzero(varnish_by_itself(regions))
    if thick.size:
        drawn[thick, 4] = log_quantiles(rows.of(thick), (varnish.of(thick),))[:, 0]
    return _as_factors(central, np.exp(drawn))


def _as_factors(central: np.ndarray, drawn: np.ndarray) -> np.ndarray:
    """Percentiles as factors on the draws' own median, times the central value; the varnish with its fixed days."""
    fixed = np.zeros(len(STAGE_ORDER))
    fixed[-1] = reference.value("varnish_fixed_d")
    drawn = drawn + fixed[:, None]
    return drawn / drawn[:, :, MIDDLE, None] * (central + fixed)[:, :, None]


def _answers(
    pairs: Sequence[tuple[LayerRecipe, Room]], regions: Regions, days: np.ndarray, weather: np.ndarray
) -> list[LayerEstimate]:
    """``weather`` (pairs, 2): whether the room is extreme, and damp, at times."""
    figures = [dict(zip(STAGE_ORDER, starmap(StageRange, row), strict=True)) for row in days.tolist()]
    central = days[:, :, MIDDLE]
    answers = []
    first = 0
    for (layer, room), (extreme, damp) in zip(pairs, weather.tolist(), strict=True):
        thick = layer.wet_thickness_um > MEASURED_UM
        last = first + len(layer.mixes)
        hasty = bool(central[first:last, VARNISH].max() < central[first:last, THROUGH].max())
        place = Circumstances(layer.ground, room.light_is_number, room.measured, thick, extreme, damp, hasty)
        if last - first == 1:
            answers.append(_one_region(layer, regions.mix_films[first], figures[first], place))
        else:
            holder = int(central[first:last, TOUCH].argmax())
            answers.append(_answer(layer, regions.mix_films[first:last], (figures[first:last], holder), place))
        first = last
    return answers


def _one_region(
    layer: LayerRecipe, film: MixFilm, stages: dict[Stage, StageRange], place: Circumstances
) -> LayerEstimate:
    """The answer of a layer of one mix."""
    (mix,), facts = layer.mixes, film.facts
    composition = composition_of(mix.name, facts, layer.wet_thickness_um, reference.absorbency(layer.ground))
    origins = (film.origin,)
    return LayerEstimate(
        stages,
        (RegionEstimate(mix.name, mix.area_share, stages, composition, True),),
        facts.iodine_value,
        facts.drying_index,
        max_mass_gain_pct(facts.iodine_value),
        provenance(origins, place),
        warnings(origins, place),
    )


def _answer(
    layer: LayerRecipe,
    films: list[MixFilm],
    figures: tuple[list[dict[Stage, StageRange]], int],
    place: Circumstances,
) -> LayerEstimate:
    """The answer of a layer of several mixes; ``figures``: their ranges, and the region that holds the layer up."""
    ranges, holder = figures
    absorbency = reference.absorbency(layer.ground)
    regions = []
    area = iodine = index = 0.0
    for i, (mix, film, stages) in enumerate(zip(layer.mixes, films, ranges, strict=True)):
        composition = composition_of(mix.name, film.facts, layer.wet_thickness_um, absorbency)
        regions.append(RegionEstimate(mix.name, mix.area_share, stages, composition, i == holder))
        area += mix.area_share
        iodine += mix.area_share * film.facts.iodine_value
        index += mix.area_share * film.facts.drying_index
    origins = tuple([film.origin for film in films])
    return LayerEstimate(
        {stage: slowest_of([own[stage] for own in ranges]) for stage in STAGE_ORDER},
        tuple(regions),
        iodine / area,
        index / area,
        max_mass_gain_pct(iodine / area),
        provenance(origins, place),
        warnings(origins, place),
    )
