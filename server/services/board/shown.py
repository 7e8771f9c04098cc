"""From a panel's standing to the facts that pages show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import count, zip_longest
from json import loads
from typing import Any

from sqlalchemy import Row

from server.formats.swatch import UNKNOWN, mix_swatch
from server.science.composition import needed_ml
from server.science.readiness import likely_state, readiness
from server.science.recipe import LayerRecipe, MixRecipe
from server.science.results import FilmState, LayerEstimate, RegionEstimate, Stage
from server.science.soundness.types import Severity, Verdict
from server.services.board.chains import span_of
from server.services.board.facts import (
    DaySpan,
    LayerFact,
    Moment,
    PanelFact,
    RegionFact,
    StackBand,
)
from server.services.board.films import LayerOn, LayerToCome, holding_region, stage_days
from server.services.board.rows import StudioRows
from server.services.board.spans import instant, local_day
from server.services.board.standing import PanelStanding
from server.services.board.test_fact import TestFact
from server.services.forecasts import stages_from_json
from server.services.give_way import give_way
from server.services.hazards import in_order, kinds_of_mix
from server.services.last_wet import first_dry_at
from server.services.recipes import BookMix
from server.services.tube_use import TEXTURE_FACTORS

KINDLESS_FIRM: Mapping[FilmState, float] = {FilmState.FIRM: 1.0}
NO_DAYS: Mapping[Stage, DaySpan] = {}
_numbers = count(1)


@dataclass(frozen=True, slots=True)
class Extras:
    """What only the panel's own page works out for a layer: ``in_full`` its regions' days and what was promised; its
    verdict over what is below; and the days of a planned layer laid when it can go on."""

    in_full: bool = False
    over: Verdict | None = None
    days: Mapping[Stage, DaySpan] = field(default_factory=dict)


BARE = Extras()


def panel_fact(standing: PanelStanding, rows: StudioRows, moment: Moment) -> PanelFact:
    """A panel as lists show it."""
    give_way()
    panel = standing.layers.panel
    top, coming = standing.top, standing.next
    return PanelFact(
        uid=panel.uid,
        version=panel.version,
        title=panel.title,
        width_mm=panel.width_mm,
        height_mm=panel.height_mm,
        place=rows.place_of(panel).name,
        standing=standing.standing,
        top=None if top is None else layer_on_fact(top, standing, rows, moment),
        coming=None if coming is None else layer_to_come_fact(coming, standing, rows, moment),
        rest=standing.rest,
        verdict=standing.verdict,
        lightly=standing.lightly,
        due=standing.due,
        finish=standing.finish(moment),
        varnish=standing.closing.varnish if standing.closing and panel.finished_on is not None else None,
        stack=tuple(_band(layer, rows, moment) for layer in standing.layers.on),
        layers_to_come=len(standing.layers.to_come),
        is_archived=panel.archived_at is not None,
        closing=standing.closing,
        stop=standing.stop(moment),
        number=next(_numbers),
    )


def layer_on_fact(
    layer: LayerOn, standing: PanelStanding, rows: StudioRows, moment: Moment, extras: Extras = BARE
) -> LayerFact:
    """A layer that is on."""
    row, film = layer.row, layer.film
    state, odds = film_state(layer, standing, moment)
    regions = regions_of(layer.regions, film.estimate, (row, standing.layers.panel), rows)
    if extras.in_full and film.estimate:
        regions = _with_days(regions, film.estimate, layer, moment)
    return LayerFact(
        **_common(row, layer.number),
        material=layer.laid.material,
        painted_at=row.painted_at,
        age_d=layer.laid.age_d(moment.at),
        regions=regions,
        stages=film.days,
        promised=_promised(row, moment) if extras.in_full else NO_DAYS,
        state=state,
        odds=odds,
        tests=tuple(_test(test) for test in layer.tests),
        holds_up=film.holds_up,
        over=extras.over,
        no_forecast=film.no_forecast,
        earliest=None,
        planned_from=None,
        hazards=hazards_of(film.recipe),
        first_dry_at=first_dry_at(layer.tests) if film.estimate else None,
    )


def layer_to_come_fact(
    layer: LayerToCome, standing: PanelStanding, rows: StudioRows, moment: Moment, extras: Extras = BARE
) -> LayerFact:
    """A planned layer."""
    row = layer.row
    is_next = layer is standing.next
    estimate = standing.next_estimate if is_next else None
    place = standing.layers.to_come.index(layer)
    start = None
    if standing.outlook is not None and place < standing.outlook.goes_on:
        start = standing.outlook.starts[place]
    return LayerFact(
        **_common(row, layer.number),
        material=layer.material,
        painted_at=None,
        age_d=None,
        regions=regions_of(layer.regions, estimate, (row, standing.layers.panel), rows),
        stages=extras.days,
        promised=NO_DAYS,
        state=FilmState.NONE,
        odds={},
        tests=(),
        holds_up=holding_region(estimate) if estimate else None,
        over=standing.verdict if is_next else extras.over,
        no_forecast=None if layer.recipe or not layer.is_drying else "Say which mixes it will be painted with.",
        earliest=None if start is None else span_of(start, moment),
        planned_from=None if start is None else local_day(instant(moment.day_start, start.planned_d), moment.zone),
        hazards=hazards_of(layer.recipe),
        sitting=rows.sitting_of(row),
    )


def film_state(layer: LayerOn, standing: PanelStanding, moment: Moment) -> tuple[FilmState, Mapping[FilmState, float]]:
    """What the film most likely is at the moment, and the odds of each state."""
    if layer is standing.top and standing.ready is not None:
        return standing.ready.state, standing.ready.odds
    laid, film = layer.laid, layer.film
    if film.estimate is None:
        # Films that do not dry like oil are dry; of oil without a forecast only a fingertip knows.
        state = laid.observed or (FilmState.FIRM if film.no_forecast is None else FilmState.NONE)
        return state, {state: 1.0}
    age_d = laid.age_d(moment.at)
    if age_d >= film.stages[Stage.DRY_THROUGH].p95_d:
        return FilmState.FIRM, KINDLESS_FIRM
    found = readiness(laid.stages, age_d, laid.observed, laid.observed_age_d, Severity.SOUND)
    return found.state, found.odds


def _common(row: Row[Any], number: int) -> dict[str, Any]:
    names = "uid version kind wet_thickness_um thickness_preset texture solvent_pct sitting_min notes planned_on"
    return {name: getattr(row, name) for name in names.split()} | {"number": number, "wet_in_wet": bool(row.wet_in_wet)}


def regions_of(
    regions: Sequence[Row[Any]], estimate: LayerEstimate | None, where: tuple[Row[Any], Row[Any]], rows: StudioRows
) -> tuple[RegionFact, ...]:
    """The mixes of a layer with what to mix of each; ``where``: the layer and its panel."""
    layer, panel = where
    area_cm2 = panel.width_mm * panel.height_mm / 100
    texture = TEXTURE_FACTORS[layer.texture]
    several = len(regions) > 1
    # A mix that holds nothing has no estimate, so the two lists are matched only when they are equally long.
    known: Sequence[RegionEstimate] = estimate.regions if estimate and len(estimate.regions) == len(regions) else ()
    found = []
    for region, found_region in zip_longest(regions, known):
        mix = rows.book.mixes[region.mix_id]
        found.append(
            RegionFact(
                name=region.region or mix.label,
                mix_uid=mix.uid,
                mix_label=mix.label,
                swatch=swatch(mix),
                share=region.area_share,
                ml=needed_ml(area_cm2, layer.wet_thickness_um, region.area_share, texture),
                holds_up=several and found_region is not None and found_region.holds_up,
                stages=NO_DAYS,
                composition=None if found_region is None else found_region.composition,
            )
        )
    return tuple(found)


def _with_days(
    regions: tuple[RegionFact, ...], estimate: LayerEstimate, layer: LayerOn, moment: Moment
) -> tuple[RegionFact, ...]:
    """The regions with their own days, as the model has them: touch tests speak of the layer as a whole."""
    if len(regions) != len(estimate.regions):
        return regions
    found = []
    for fact, region in zip(regions, estimate.regions, strict=True):
        days = stage_days(layer.row.painted_at, region.stages, moment.zone)
        values = {name: getattr(fact, name) for name in RegionFact.__dataclass_fields__}
        found.append(RegionFact(**values | {"stages": days}))
    return tuple(found)


def swatch(mix: BookMix) -> str:
    """The colour of a mix: as the painter sees it, or worked out."""
    if mix.swatch is not None:
        return mix.swatch
    return UNKNOWN if mix.recipe is None else _worked_out(mix.recipe)


@lru_cache(maxsize=1000)
def _worked_out(recipe: MixRecipe) -> str:
    return mix_swatch(recipe)


@lru_cache(maxsize=1000)
def hazards_of(recipe: LayerRecipe | None) -> tuple[str, ...]:
    """The kinds of caution of all mixes of a layer."""
    return in_order(kind for mix in recipe.mixes for kind in kinds_of_mix(mix)) if recipe else ()


def _promised(row: Row[Any], moment: Moment) -> Mapping[Stage, DaySpan]:
    """What was forecast when the layer was painted."""
    text = row.forecast_text
    if text is None:
        return NO_DAYS
    stages = stages_from_json(loads(text)["stages"])
    return stage_days(row.painted_at, stages, moment.zone)


def _test(row: Row[Any]) -> TestFact:
    doubt = "" if row.is_sure else row.doubt
    return TestFact(row.uid, row.pressed_at, FilmState(row.stage), row.place_on_panel, row.note, doubt)


def _band(layer: LayerOn, rows: StudioRows, moment: Moment) -> StackBand:
    mixes = rows.book.mixes
    return StackBand(
        colours=tuple((swatch(mixes[region.mix_id]), region.area_share) for region in layer.regions),
        wet_thickness_um=layer.row.wet_thickness_um,
        film_um=film_um(layer),
        state=band_state(layer, moment),
    )


def film_um(layer: LayerOn) -> float:
    """How thick the film is once the solvent is gone, by the mean of its regions."""
    estimate = layer.film.estimate
    if estimate is None:
        return float(layer.row.wet_thickness_um * (1 - layer.row.solvent_pct / 100))
    shares = sum(region.area_share for region in estimate.regions)
    films = sum(region.area_share * region.composition.film_thickness_um for region in estimate.regions)
    return films / shares if shares > 0 else 0.0


def band_state(layer: LayerOn, moment: Moment) -> FilmState:
    """The state of a film for small drawings; of oil without a forecast only a fingertip knows."""
    if layer.film.estimate is None:
        return layer.laid.observed or FilmState.FIRM
    return likely_state(dict(layer.film.stages), layer.laid.age_d(moment.at), layer.laid.observed)
