"""Other ways to make a panel that will be late, each as the records it would change, to be tried before it is offered.

A way is the panel's rows with one thing changed: what is tried is exactly what would be stored.
"""

from collections import namedtuple
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple, cast

from sqlalchemy import Row, select
from sqlmodel import Session, col

from server.science.recipe import AdditionKind, MixRecipe, Paint
from server.science.results import LayerEstimate, Stage
from server.services.access import Actor
from server.services.board.facts import Moment
from server.services.board.films import LayerToCome
from server.services.board.rows import StudioRows
from server.services.board.standing import PanelStanding
from server.services.board.to_come import forecast_on
from server.services.recipes import BookMix
from server.store.tables import Medium, Place
from server.store.tables import Paint as Tube

THINNER, QUICKER, PLACE, DROP = "thinner", "quicker", "place", "drop"
THINNED = 2.0 / 3.0
LEAST_UM, STEP_UM = 10.0, 5.0
QUICKER_PCT = 10.0  # of the mix's volume once it is in
MOST_LAYERS, MOST_PLACES = 2, 4
TRIED_MIX = -1  # the id, in the book, of a mix that is only tried out
FAST_PIGMENT, FAST_VARIANT = "PBr7", "umber"


@dataclass(frozen=True, slots=True)
class OnShelf:
    """What a studio has that may help: open places, mediums and tubes by their ids, each with uid and name."""

    places: Mapping[int, tuple[str, str]]
    mediums: Mapping[int, tuple[str, str]]
    tubes: Mapping[int, tuple[str, str]]


@dataclass(frozen=True, slots=True)
class PanelWay:
    """One way. ``key``: what is changed and how; ``text``: the same in words, layers by uid; ``rows``: the panel's rows
    with the change made."""

    key: str
    text: str
    rows: StudioRows


def on_shelf(session: Session, actor: Actor) -> OnShelf:
    """What there is to help with, in three queries."""

    def read(table: Any, label: str) -> dict[int, tuple[str, str]]:
        wanted = select(col(table.id), col(table.uid), getattr(table, label))
        mine = wanted.where(col(table.studio_id) == actor.studio_id, col(table.archived_at).is_(None))
        return {row[0]: (row[1], row[2]) for row in session.execute(mine.order_by(col(table.id)))}

    return OnShelf(read(Place, "name"), read(Medium, "label"), read(Tube, "label"))


def panel_ways(standing: PanelStanding, rows: StudioRows, moment: Moment, shelf: OnShelf) -> list[PanelWay]:
    """Everything of the panel's own records that may bring it nearer; none of it was tried yet."""
    panel = standing.layers.panel
    alone = replace(rows, panels=[panel])
    drying = [(layer, _estimate(layer, moment)) for layer in standing.layers.to_come]
    known = [(layer, found) for layer, found in drying if found is not None]
    slowest = sorted(known, key=lambda pair: -pair[1].stages[Stage.DRY_TO_RECOAT].p90_d)[:MOST_LAYERS]
    return [
        *(way for layer, _ in slowest for way in _thinner(alone, layer)),
        *(way for layer, found in slowest[:1] for way in _quicker(alone, layer, found, shelf)),
        *_places(alone, panel, shelf, moment),
        *_without(alone, standing.layers.to_come),
    ]


def _estimate(layer: LayerToCome, moment: Moment) -> LayerEstimate | None:
    forecast = forecast_on(layer, moment.on, moment.zone)
    return forecast if isinstance(forecast, LayerEstimate) else None


@cache
def _kind(names: tuple[str, ...]) -> Any:
    return namedtuple("ChangedRow", names)


def changed(row: Row[Any], **values: Any) -> Row[Any]:
    """A row with other values in some of its columns."""
    return cast("Row[Any]", _kind(tuple(row._fields))(**(dict(row._mapping) | values)))


def _with_layers(rows: StudioRows, layers: Sequence[Row[Any]]) -> StudioRows:
    return replace(rows, layers={**rows.layers, rows.panels[0].id: list(layers)})


def _mine(rows: StudioRows) -> list[Row[Any]]:
    return list(rows.layers.get(rows.panels[0].id, ()))


def _thinner(rows: StudioRows, layer: LayerToCome) -> Iterator[PanelWay]:
    now = layer.row.wet_thickness_um
    thin = max(LEAST_UM, round(now * THINNED / STEP_UM) * STEP_UM)
    if thin >= now:
        return
    other = changed(layer.row, wet_thickness_um=thin, thickness_preset=None)
    layers = [other if row.uid == other.uid else row for row in _mine(rows)]
    text = f"Lay {layer.row.uid} {thin:g} µm thick instead of {now:g} µm"
    yield PanelWay(f"{THINNER}:{layer.row.uid}:{thin:g}", text, _with_layers(rows, layers))


def _quicker(rows: StudioRows, layer: LayerToCome, found: LayerEstimate, shelf: OnShelf) -> Iterator[PanelWay]:
    """What makes the mix that the layer waits for dry sooner: an alkyd medium or an umber that is on the shelf."""
    if len(found.regions) != len(layer.regions) or not layer.regions:
        return
    held = next((n for n, region in enumerate(found.regions) if region.holds_up), 0)
    mix = rows.book.mixes.get(layer.regions[held].mix_id)
    if mix is None or mix.recipe is None:
        return
    for kind, uid, label, recipe in _accelerated(rows, mix.recipe, shelf):
        made = BookMix(TRIED_MIX, "", f"{mix.label} with {label}", mix.swatch, recipe, repr(recipe))
        book = replace(rows.book, mixes={**rows.book.mixes, TRIED_MIX: made})
        regions = [changed(region, mix_id=TRIED_MIX) if n == held else region for n, region in enumerate(layer.regions)]
        tried = replace(rows, book=book, regions={**rows.regions, layer.row.id: regions})
        text = f"{QUICKER_PCT:g} % {label} in “{mix.label}” for {layer.row.uid}"
        yield PanelWay(f"{QUICKER}:{layer.row.uid}:{mix.uid}:{kind}:{uid}", text, tried)


def _accelerated(rows: StudioRows, recipe: MixRecipe, shelf: OnShelf) -> Iterator[tuple[str, str, str, MixRecipe]]:
    amount = parts_of(recipe) * QUICKER_PCT / (100.0 - QUICKER_PCT)
    if not any(addition.kind is AdditionKind.ALKYD_MEDIUM for addition in recipe.additions):
        for medium_id, (uid, label) in shelf.mediums.items():
            made = rows.book.shelf.mediums.get(medium_id, ())
            if any(addition.kind is AdditionKind.ALKYD_MEDIUM for addition in made):
                added = tuple(replace(addition, parts=addition.parts * amount) for addition in made)
                yield "medium", uid, label, replace(recipe, additions=(*recipe.additions, *added))
                break
    for paint_id, (uid, label) in shelf.tubes.items():
        tube = rows.book.shelf.paints.get(paint_id)
        if tube is not None and _is_umber(tube) and not any(_is_umber(paint) for paint in recipe.paints):
            yield "paint", uid, label, replace(recipe, paints=(*recipe.paints, replace(tube, parts=amount)))
            break


def _is_umber(tube: Paint) -> bool:
    return bool(tube.pigments) and all(
        pigment.ci_name == FAST_PIGMENT and FAST_VARIANT in (pigment.variant or "") for pigment in tube.pigments
    )


def parts_of(recipe: MixRecipe) -> float:
    """The parts of a mix by volume, all together."""
    return sum(paint.parts for paint in recipe.paints) + sum(addition.parts for addition in recipe.additions)


class _Move(NamedTuple):
    """A move of the panel that is only thought of, as `whereabouts` reads moves."""

    panel_id: int
    place_id: int
    moved_at: datetime
    uid: str = ""


def _places(rows: StudioRows, panel: Row[Any], shelf: OnShelf, moment: Moment) -> Iterator[PanelWay]:
    """The panel put into another place now: what dries on it goes on drying there."""
    where = rows.where
    here = where.now(panel.id, panel.place_id)
    others = [place_id for place_id in shelf.places if place_id in where.places and where.places[place_id] != here]
    for place_id in [other for other in others if where.places[other].climate != here.climate][:MOST_PLACES]:
        uid, name = shelf.places[place_id]
        move = cast("Row[Any]", _Move(panel.id, place_id, moment.at))
        moves = {**where.moves, panel.id: (*where.moves.get(panel.id, ()), move)}
        tried = replace(rows, where=replace(where, moves=moves))
        yield PanelWay(f"{PLACE}:{uid}", f"Let it dry in “{name}”", tried)


def _without(rows: StudioRows, to_come: Sequence[LayerToCome]) -> Iterator[PanelWay]:
    """Without one of the layers to come; the last one is the picture."""
    for layer in to_come[:-1]:
        left = [row for row in _mine(rows) if row.uid != layer.row.uid]
        text = f"Leave out {layer.row.uid}, {layer.row.wet_thickness_um:g} µm"
        yield PanelWay(f"{DROP}:{layer.row.uid}", text, _with_layers(rows, left))
