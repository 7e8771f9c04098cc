"""A week's work: who paints what when by the plan in use, what to mix for it in millilitres, what to press, and what is
planned of the finish."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Row
from sqlmodel import Session

from server.science.results import FilmState
from server.services.access import Actor
from server.services.board.facts import Moment, PanelFact, RegionFact, Standing, StepFact
from server.services.board.marked import broken_of
from server.services.board.rows import StudioRows
from server.services.board.shown import regions_of
from server.services.board.snapshot import snapshot
from server.services.board.today import moment_of, panel_facts, standing_sittings
from server.services.board.tubes import TubeFact, running_low, tubes
from server.services.plan_reading import BrokenSitting, PlannedSitting

WEEK_D = 7
SOFT = (FilmState.WET, FilmState.TACKY)


@dataclass(frozen=True, slots=True)
class Asked:
    """Which week, from its first day on, and whose; "" is everybody's."""

    first: date
    painter: str = ""


@dataclass(frozen=True, slots=True)
class Share:
    """What one sitting needs of a mix, in millilitres; ``uid`` is its layer's."""

    title: str
    kind: str
    region: str
    ml: float
    uid: str


@dataclass(frozen=True, slots=True)
class MixDue:
    """A mix of one day, mixed once for all sittings that use it: ``ml`` is their sum; ``by_at`` the first of them."""

    label: str
    uid: str
    swatch: str
    ml: float
    by_at: datetime
    shares: tuple[Share, ...]


@dataclass(frozen=True, slots=True)
class PainterDay:
    painter: str
    mixes: tuple[MixDue, ...]
    sittings: tuple[PlannedSitting, ...]


@dataclass(frozen=True, slots=True)
class TestDue:
    """A film to press, or a finished picture to swab: ``kind`` is the layer; "" for a swab."""

    panel_uid: str
    title: str
    kind: str


@dataclass(frozen=True, slots=True)
class StepDue:
    """A planned step of a panel's finish."""

    panel_uid: str
    title: str
    step: StepFact


@dataclass(frozen=True, slots=True)
class SheetDay:
    on: date
    painters: tuple[PainterDay, ...]
    tests: tuple[TestDue, ...]
    steps: tuple[StepDue, ...] = ()


@dataclass(frozen=True, slots=True)
class Worksheet:
    """The days of a week on which something is to be done. ``painters``: all who have sittings in the plan; ``low``:
    the tubes that run out before the week is over, whoever paints; ``broken``: which sittings hold no more, by their
    layers."""

    first: date
    today: date
    days: tuple[SheetDay, ...]
    painters: tuple[str, ...]
    has_plan: bool
    low: tuple[TubeFact, ...] = ()
    broken: Mapping[str, BrokenSitting] = field(default_factory=dict)


def worksheet(session: Session, actor: Actor, asked: Asked, now: datetime, zone: ZoneInfo) -> Worksheet:
    """The week that is asked for. The number of queries does not depend on what is in it."""
    moment = moment_of(now, zone)
    first, painter = asked.first, asked.painter
    rows = snapshot(session, actor).rows
    every = standing_sittings(rows)
    mine = [one for one in every if painter in ("", one.painter)]
    facts = panel_facts(rows, moment)
    tests = _tests(facts, moment)
    layers = {layer.uid: layer for some in rows.layers.values() for layer in some}
    panels = {panel.id: panel for panel in rows.panels}
    days = []
    for on in (first + timedelta(days=day) for day in range(WEEK_D)):
        sat = [one for one in mine if one.on == on]
        names = dict.fromkeys(one.painter for one in sat)
        found = tuple(
            _painter_day(name, [s for s in sat if s.painter == name], (rows, layers, panels)) for name in names
        )
        due = tuple(test for day, test in tests if day == on)
        steps = _steps(facts, on)
        if found or due or steps:
            days.append(SheetDay(on, found, due, steps))
    painters = tuple(sorted({one.painter for one in every}))
    low = running_low(tubes(session, actor, moment), first + timedelta(days=WEEK_D - 1))
    broken = broken_of(facts)
    return Worksheet(first, moment.today, tuple(days), painters, rows.plan is not None, low, broken)


Found = tuple[StudioRows, dict[str, Row[Any]], dict[int, Row[Any]]]


def _painter_day(painter: str, sittings: list[PlannedSitting], found: Found) -> PainterDay:
    rows, layers, panels = found
    used: dict[str, list[tuple[RegionFact, PlannedSitting]]] = {}
    for sitting in sittings:
        layer = layers[sitting.uid]
        for region in regions_of(rows.regions.get(layer.id, ()), None, (layer, panels[layer.panel_id]), rows):
            used.setdefault(region.mix_uid, []).append((region, sitting))
    return PainterDay(painter, tuple(_mix(uses) for uses in used.values()), tuple(sittings))


def _mix(uses: list[tuple[RegionFact, PlannedSitting]]) -> MixDue:
    first, sitting = uses[0]
    shares = tuple(
        Share(one.title, one.kind, "" if region.name == region.mix_label else region.name, region.ml, one.uid)
        for region, one in uses
    )
    total = sum(share.ml for share in shares)
    return MixDue(first.mix_label, first.mix_uid, first.swatch, total, sitting.start_at, shares)


def _tests(panels: Iterable[PanelFact], moment: Moment) -> list[tuple[date, TestDue]]:
    """What wants a fingertip, each on the first day it is worth while; never on a day that is past."""
    found = []
    for panel in panels:
        top, rest, closing = panel.top, panel.rest, panel.closing
        is_soft = top is not None and top.state in SOFT and panel.standing is Standing.UNPLANNED
        if top is not None and rest.test_from and (is_soft or panel.standing in (Standing.RESTS, Standing.TEST_FIRST)):
            found.append((max(rest.test_from, moment.today), TestDue(panel.uid, panel.title, top.kind)))
        if panel.standing is Standing.FINISHED and closing is not None and closing.swab_from is not None:
            found.append((max(closing.swab_from, moment.today), TestDue(panel.uid, panel.title, "")))
    return found


def _steps(panels: Iterable[PanelFact], on: date) -> tuple[StepDue, ...]:
    """What of the finish is planned for a day and not done yet, in the order of the panels."""
    planned = ((panel, step) for panel in panels if panel.closing is not None for step in panel.closing.planned)
    return tuple(StepDue(panel.uid, panel.title, step) for panel, step in planned if step.planned_on == on)
