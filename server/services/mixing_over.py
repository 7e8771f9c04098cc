"""The mix on the palette put to the rules: over a panel's top layer as it is now, or over what is to come as well."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from server.science.recipe import LayerRecipe
from server.science.results import FilmState, LayerEstimate
from server.science.soundness import check
from server.science.soundness.types import Action, Material, Situation, Verdict
from server.services.board.chain_rules import TOUCH_GATE
from server.services.board.closing import ground_facts
from server.services.board.facts import Moment, Standing
from server.services.board.films import LayerToCome, PanelLayers
from server.services.board.planned_stack import StackCase, WalkedStack, walk
from server.services.board.rows import StudioRows
from server.services.board.spans import local_day
from server.services.board.standing import standings
from server.services.climates import Climate, room_in
from server.services.learning import Taught
from server.services.mixing_palette import Bench
from server.services.mixing_ways import Tried, WayOut, ways_out
from server.services.recipes import BookMix, MixBook, ground_of, layer_content
from server.services.rule_limits import thresholds_of
from server.services.verdicts import Coming, LaidLayer, Question, situation

PALETTE_ID = -1  # of the mix on the palette among those that are kept


@dataclass(frozen=True, slots=True)
class OverPanel:
    """The panel the mix is tried over.

    ``top`` names what it lies on ("" for bare ground), painted (or to be painted) at ``painted_at``; ``state`` is what
    that is then. ``on`` is the day the rules are asked for, ``planned`` the layers that are to come before.
    ``verdict`` is None when the top layer has neither a forecast nor a touch test, or a layer to come has none;
    ``lightly`` answers for working lightly into a tacky top. ``ways``: for each finding of the verdict, in their order,
    the ways out carried out on the palette; ``tried`` is how it was asked.
    """

    uid: str
    title: str
    top: str
    painted_at: datetime | None
    state: FilmState
    verdict: Verdict | None
    lightly: Verdict | None
    on: date
    planned: tuple[str, ...] = ()
    ways: tuple[tuple[WayOut, ...], ...] = ()
    tried: Tried | None = None


@dataclass(frozen=True, slots=True)
class AskedOver:
    """Where the mix is to go. ``at`` and ``laid`` are set by ``with_day``: when, and over which layers.

    ``laid`` is None where a layer below has neither forecast nor test. ``taught``: what touch tests say there.
    """

    rows: StudioRows
    layers: PanelLayers
    climate: Climate
    moment: Moment
    over_planned: bool
    paint_ml: float
    area_cm2: float | None
    taught: Taught = field(repr=False)
    at: datetime | None = None
    laid: tuple[LaidLayer, ...] | None = None

    @property
    def planned(self) -> tuple[LayerToCome, ...]:
        return self.layers.to_come if self.over_planned else ()

    def with_day(self, layer: LayerRecipe) -> "AskedOver":
        """With the day it can go on: now, or once everything that is planned has been painted and has dried."""
        top = self.layers.on[-1] if self.layers.on else None
        if top is not None and top.film.no_forecast is not None and top.laid.observed is None:
            return self
        if not self.planned:
            return replace(self, at=self.moment.at, laid=tuple(on.laid for on in self.layers.on))
        walked = walked_with(self.rows, self.layers, (*self.planned, self._as_planned(layer)), self.moment)
        last = walked.steps[-1]
        if last.question is None or last.at is None:
            return self
        return replace(self, at=last.at, laid=last.question.stack)

    def _as_planned(self, layer: LayerRecipe) -> LayerToCome:
        """The mix on the palette as a layer to come."""
        [mix] = layer.mixes
        kept = BookMix(PALETTE_ID, "", mix.name, None, mix, repr(mix))
        book = replace(self.rows.book, mixes={**self.rows.book.mixes, PALETTE_ID: kept})
        row = PlannedRow("", Material.OIL.value, layer.wet_thickness_um)
        return layer_to_come(row, (PlannedRegion(PALETTE_ID),), StackPlace(self.layers, book, self.climate))


@dataclass(frozen=True, slots=True)
class PlannedRow:
    """A layer to come that no record holds yet, with the columns that a planned layer's row has."""

    kind: str
    material: str
    wet_thickness_um: float
    solvent_pct: float = 0.0
    thinner_id: int | None = None
    wet_in_wet: bool = False
    surface: str | None = None
    planned_on: date | None = None
    uid: str = ""
    thickness_preset: str | None = None
    texture: str = "smooth"


@dataclass(frozen=True, slots=True)
class PlannedRegion:
    mix_id: int
    region: str = ""
    area_share: float = 1.0


@dataclass(frozen=True, slots=True)
class StackPlace:
    """Where a layer to come is put: over these layers, in this room, with the mixes of this book."""

    layers: PanelLayers
    book: MixBook
    climate: Climate
    already: int = 0  # further layers to come below it

    @property
    def number(self) -> int:
        return len(self.layers.on) + len(self.layers.to_come) + self.already + 1


def layer_to_come(row: PlannedRow, regions: tuple[PlannedRegion, ...], place: StackPlace) -> LayerToCome:
    """A layer to come from a row that is not kept."""

    panel = place.layers.panel
    ground = ground_of(place.number - 1, panel.ground_kind, panel.ground_surface)
    content = layer_content(row, regions, place.book, ground)
    made: Any = row
    parts: Any = regions
    return LayerToCome(made, place.number, Material(row.material), content, ground, place.climate, parts, place.book)


def walked_with(rows: StudioRows, layers: PanelLayers, to_come: tuple[LayerToCome, ...], moment: Moment) -> WalkedStack:
    """The stack of a panel walked with these layers to come."""
    [standing] = standings(rows, [replace(layers, to_come=to_come)], moment)
    return walk(
        StackCase(
            ground=ground_facts(layers.panel),
            on=layers.on,
            to_come=to_come,
            open_now=standing.standing is Standing.READY or not layers.on,
            confidence=rows.studio.confidence_pct / 100,
            drops_per_ml=rows.studio.drops_per_ml,
            limits=rows.limits,
            is_finished=layers.panel.finished_on is not None,
        ),
        moment,
    )


def over_panel(asked: AskedOver, layer: LayerRecipe, estimate: LayerEstimate | None, bench: Bench) -> OverPanel:
    """What the rules say of the mix there; remedies are for the tube paint that is being mixed."""
    panel, moment = asked.layers.panel, asked.moment
    top = asked.layers.on[-1].row if asked.layers.on else None
    name, painted_at = (top.kind, top.painted_at) if top else ("", None)
    if asked.planned:
        name, painted_at = asked.planned[-1].row.kind, asked.laid[-1].painted_at if asked.laid else None
    at = asked.at or moment.at
    shown = OverPanel(
        uid=panel.uid,
        title=panel.title,
        top=name,
        painted_at=painted_at,
        state=FilmState.NONE,
        verdict=None,
        lightly=None,
        on=local_day(at, moment.zone),
        planned=tuple(item.row.kind for item in asked.planned),
    )
    if estimate is None or asked.laid is None:
        return shown
    limits = thresholds_of(asked.rows.limits)
    posed = _posed(asked, layer, estimate, at)
    verdict = check(posed, limits)
    gated = verdict.state is FilmState.TACKY and any(found.rule == TOUCH_GATE for found in verdict.findings)
    room = room_in(asked.climate, at, moment.zone)
    tried = Tried(bench, posed, room, layer.ground, limits, replace(moment, at=at), asked.taught)
    return replace(
        shown,
        state=verdict.state,
        verdict=verdict,
        lightly=check(replace(posed, action=Action.WORK_LIGHTLY), limits) if gated else None,
        ways=ways_out(tried, verdict),
        tried=tried,
    )


def _posed(asked: AskedOver, layer: LayerRecipe, estimate: LayerEstimate, at: datetime) -> Situation:
    stages: Mapping[Any, Any] = estimate.stages
    coming = Coming(layer, Material.OIL, dict(stages), layer)
    question = Question(
        ground_facts(asked.layers.panel),
        asked.laid or (),
        coming,
        drops_per_ml=asked.rows.studio.drops_per_ml,
        limits=asked.rows.limits,
        finished=asked.layers.panel.finished_on is not None,
    )
    return replace(
        situation(question, at, local_day(at, asked.moment.zone)),
        paint_ml=asked.paint_ml,
        area_cm2=asked.area_cm2,
    )
