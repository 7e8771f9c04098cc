"""A stack checked before any paint is squeezed: each layer over what will lie below it, on the day it can go on.

Over a panel of the studio with what is on it and planned for it already, or over a bare ground that is only imagined.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlmodel import Session

from server.formats.swatch import UNKNOWN, mix_swatch
from server.planning.outlook import DayRange
from server.science.results import Stage
from server.science.soundness import worst_of
from server.science.soundness.types import Severity, Verdict
from server.services import records
from server.services.access import Actor
from server.services.board.chains import span_of
from server.services.board.closing import ground_facts
from server.services.board.facts import DaySpan, Moment
from server.services.board.films import LayerToCome, PanelLayers, panel_layers
from server.services.board.planned_stack import StackCase, StackStep, WalkedStack, walk
from server.services.board.rows import StudioRows, load
from server.services.board.snapshot import snapshot
from server.services.board.spans import day_span, local_day
from server.services.errors import Invalid
from server.services.fields import Command, Uid
from server.services.mixing_over import PlannedRegion, PlannedRow, StackPlace, layer_to_come, walked_with
from server.services.panels import Support
from server.services.stack_plans import Chosen, layers_of
from server.store.tables import GroundKind, GroundSurface, Place, StackLayer, StackPlan


class StackQuestion(Command):
    """Where the stack is to go: on a panel, or on a bare ground such as this, in a place. ``mixes``: others than the
    stack's own."""

    panel_uid: Uid | None = None
    support: Support = "hardboard"
    ground_kind: GroundKind = "acrylic"
    ground_surface: GroundSurface = "matte"
    place_uid: Uid | None = None
    mixes: Chosen = ()


@dataclass(frozen=True, slots=True)
class StackLayerFact:
    """One layer to come, as the stack's page shows it.

    ``number`` counts from 1 at the bottom of everything on the panel; ``is_new`` is False for what was planned before.
    ``may`` is when it may go on, as days; ``on`` the day by which that is likely enough for the studio, for which
    the rules were asked; ``start`` the same range in days from the start of the day looked at. ``painted_at`` is when
    the layer below it went on, or is to go on. ``held_by``: rules that kept it beyond its drying; ``clear_on`` the day
    from which there is not even a caution.
    """

    number: int
    kind: str
    is_new: bool
    wet_um: float
    solvent_pct: float
    mix: str
    swatch: str
    advice: str
    may: DaySpan | None
    on: date | None
    start: DayRange | None
    touch: DaySpan | None
    verdict: Verdict | None
    held_by: tuple[str, ...]
    clear_on: date | None
    no_forecast: str | None
    painted_at: datetime | None


@dataclass(frozen=True, slots=True)
class StackBoard:
    """A stack checked. ``below`` names the painted layers it goes over, lowest first; ``worst`` is the heaviest verdict
    of all, None where a layer has none; ``finish`` when the last layer is touch-dry."""

    moment: Moment
    title: str
    panel_uid: str | None
    place: str
    is_finished: bool
    below: tuple[str, ...]
    layers: tuple[StackLayerFact, ...]
    worst: Severity | None
    finish: DaySpan | None
    finish_range: DayRange | None


@dataclass(frozen=True, slots=True)
class _Bare:
    """A panel that is only imagined, with the columns that are asked of a panel's row; its ground is dry."""

    support: str
    ground_kind: str
    ground_surface: str
    ground_on: date | None = None
    ground_pigment: str | None = None
    finished_on: date | None = None
    uid: str = ""
    title: str = ""


@dataclass(frozen=True, slots=True)
class _Site:
    rows: StudioRows
    layers: PanelLayers
    place: str


def check_stack(session: Session, actor: Actor, plan: StackPlan, question: StackQuestion, moment: Moment) -> StackBoard:
    """The stack where the question puts it. Raises ``Invalid`` at the field that makes no sense."""
    site = _site(session, actor, question, moment)
    rows = layers_of(session, plan)
    mixes = _mix_ids(rows, question, site.rows)
    new = _to_come(rows, mixes, site)
    walked = _walked(site, new, question, moment)
    return _board(site, walked, [row.advice for row in rows], moment)


def _site(session: Session, actor: Actor, question: StackQuestion, moment: Moment) -> _Site:
    if question.panel_uid is not None:
        rows = load(session, actor, question.panel_uid)
        if rows is None:
            raise Invalid.at("panel_uid", "Choose one of the list.")
        layers = panel_layers(rows, moment)[0]
        return _Site(rows, layers, rows.place_of(layers.panel).name)
    rows = snapshot(session, actor).rows
    if question.place_uid is not None:
        records.find_named(session, actor, Place, question.place_uid, "place_uid")
    places = list(rows.places.values())
    place = next((each for each in places if each.uid == question.place_uid), places[0])
    bare: Any = _Bare(question.support, question.ground_kind, question.ground_surface)
    return _Site(rows, PanelLayers(bare, place.climate.ahead, (), ()), place.name)


def _mix_ids(rows: Sequence[StackLayer], question: StackQuestion, studio: StudioRows) -> list[int | None]:
    by_uid = {mix.uid: mix.mix_id for mix in studio.book.mixes.values()}
    chosen = {each.layer: each.mix_uid for each in question.mixes if each.mix_uid}
    found: list[int | None] = [row.mix_id for row in rows]
    for number, each in enumerate(question.mixes):
        if each.mix_uid and each.mix_uid not in by_uid:
            raise Invalid.at(f"mixes.{number}.mix_uid", "Choose one of the list.")
    for place, uid in chosen.items():
        if place < len(found):
            found[place] = by_uid[uid]
    return found


def _to_come(rows: Sequence[StackLayer], mixes: Sequence[int | None], site: _Site) -> tuple[LayerToCome, ...]:
    made = []
    for place, (row, mix_id) in enumerate(zip(rows, mixes, strict=True)):
        planned = PlannedRow(row.kind, row.material, row.wet_thickness_um, row.solvent_pct)
        regions = (PlannedRegion(mix_id),) if mix_id is not None else ()
        where = StackPlace(site.layers, site.rows.book, site.layers.climate, place)
        made.append(layer_to_come(planned, regions, where))
    return tuple(made)


def _walked(site: _Site, new: tuple[LayerToCome, ...], question: StackQuestion, moment: Moment) -> WalkedStack:
    to_come = (*site.layers.to_come, *new)
    if question.panel_uid is not None:
        return walked_with(site.rows, site.layers, to_come, moment)
    studio = site.rows.studio
    case = StackCase(
        ground=ground_facts(site.layers.panel),
        on=(),
        to_come=to_come,
        open_now=True,
        confidence=studio.confidence_pct / 100,
        drops_per_ml=studio.drops_per_ml,
        limits=site.rows.limits,
    )
    return walk(case, moment)


def _board(site: _Site, walked: WalkedStack, advice: Sequence[str], moment: Moment) -> StackBoard:
    before = len(site.layers.to_come)
    told = ["" for _ in range(before)] + list(advice)
    facts = tuple(
        _fact(step, site, (number >= before, words), moment)
        for number, (step, words) in enumerate(zip(walked.steps, told, strict=True))
    )
    verdicts = [step.verdict for step in walked.steps]
    panel = site.layers.panel
    return StackBoard(
        moment=moment,
        title=panel.title,
        panel_uid=panel.uid or None,
        place=site.place,
        is_finished=panel.finished_on is not None,
        below=tuple(on.row.kind for on in site.layers.on),
        layers=facts,
        worst=worst_of([verdict for verdict in verdicts if verdict]) if verdicts and all(verdicts) else None,
        finish=span_of(walked.finish, moment) if walked.finish else None,
        finish_range=walked.finish,
    )


def _fact(step: StackStep, site: _Site, known: tuple[bool, str], moment: Moment) -> StackLayerFact:
    layer, row = step.layer, step.layer.row
    mixes = [site.rows.book.mixes[region.mix_id] for region in layer.regions if region.mix_id in site.rows.book.mixes]
    swatch = next((mix.swatch or (mix_swatch(mix.recipe) if mix.recipe else None) for mix in mixes), None)
    stack = step.question.stack if step.question else ()
    return StackLayerFact(
        number=layer.number,
        kind=row.kind,
        is_new=known[0],
        wet_um=row.wet_thickness_um,
        solvent_pct=row.solvent_pct,
        mix=mixes[0].label if mixes else "",
        swatch=swatch or UNKNOWN,
        advice=known[1],
        may=span_of(step.start, moment) if step.start else None,
        on=local_day(step.at, moment.zone) if step.at else None,
        start=step.start,
        touch=day_span(step.at, step.estimate.stages[Stage.DRY_TO_TOUCH], moment.zone)
        if step.at and step.estimate
        else None,
        verdict=step.verdict,
        held_by=step.held_by,
        clear_on=local_day(step.clear_at, moment.zone) if step.clear_at else None,
        no_forecast=step.no_forecast,
        painted_at=stack[-1].painted_at if stack else None,
    )
