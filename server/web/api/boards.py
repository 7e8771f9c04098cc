"""GET /api/v1/today, /calendar and /panels/{uid}/board: the facts of the pages of the same names."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Query

from server.formats.board_json import (
    BoardCalendarLayer,
    BoardCalendarRow,
    BoardDays,
    BoardDue,
    BoardDueStep,
    BoardFinding,
    BoardLayer,
    BoardPanel,
    BoardRegion,
    BoardStop,
    BoardVerdict,
    CalendarOut,
    PanelBoardOut,
    TodayOut,
)
from server.science.results import Stage
from server.science.soundness.types import Finding, Severity, Verdict
from server.services import board
from server.services.board import CalendarRow, DaySpan, LayerFact, Moment, PanelFact
from server.services.board.due_step import DueFact
from server.services.fields import Day
from server.web.api.record_schemas import problems
from server.web.api.records import Uid
from server.web.deps import Page
from server.web.standing_words import STANDING_WORDS, rest_words

router = APIRouter(tags=["boards"])
On = Annotated[Day | None, Query(description="Another day than today")]


@router.get("/today", summary="Which panel can take its next layer", responses=problems(422))
def today(page: Page, on: On = None) -> TodayOut:
    """Every open panel: where it stands, what it waits for, its next layer with millilitres, its verdict, its date."""
    with page.db.read() as session:
        wall = board.today(session, page.actor, page.now, page.zone, on)
    panels = [_panel(panel, wall.moment) for group in wall.groups.values() for panel in group]
    return TodayOut(at=wall.moment.at, on=wall.moment.on, time_zone=page.zone.key, panels=tuple(panels))


@router.get("/panels/{uid}/board", summary="A panel with its layers, times and verdicts", responses=problems(404, 422))
def panel(page: Page, uid: Uid) -> PanelBoardOut:
    """One panel as its page tells it: every layer with its stages and the verdict on it over what is below."""
    with page.db.read() as session:
        facts = board.panel_page(session, page.actor, uid, page.now, page.zone)
    layers = tuple(_layer(layer) for layer in facts.layers)
    return PanelBoardOut(at=facts.moment.at, panel=_panel(facts.panel, facts.moment), layers=layers)


@router.get("/calendar", summary="Every panel through time", responses=problems(422))
def calendar(page: Page) -> CalendarOut:
    """Layers that are on and layers to come, with the days of their stages."""
    with page.db.read() as session:
        found = board.calendar(session, page.actor, page.now, page.zone)
    return CalendarOut(at=found.moment.at, time_zone=page.zone.key, rows=tuple(_row(row) for row in found.rows))


def days_out(span: DaySpan | None) -> BoardDays | None:
    return None if span is None else span_out(span)


def span_out(span: DaySpan) -> BoardDays:
    return BoardDays(low=span.low, central=span.central, high=span.high)


def stages_out(stages: Mapping[Stage, DaySpan]) -> dict[Any, BoardDays]:
    return {stage.value: span_out(span) for stage, span in stages.items()}


def severity_out(severity: Severity) -> Any:
    return severity.name.lower()


def finding_out(each: Finding) -> BoardFinding:
    return BoardFinding(
        rule=each.rule,
        severity=severity_out(each.severity),
        title=each.title,
        reason=each.reason,
        basis=each.basis,
        source=each.source,
    )


def verdict_out(verdict: Verdict | None) -> BoardVerdict | None:
    if verdict is None:
        return None
    findings = tuple(finding_out(each) for each in verdict.findings)
    return BoardVerdict(severity=severity_out(verdict.verdict), findings=findings)


def _layer(layer: LayerFact) -> BoardLayer:
    return BoardLayer(
        uid=layer.uid,
        number=layer.number,
        kind=layer.kind,
        material=layer.material,
        wet_thickness_um=layer.wet_thickness_um,
        painted_at=layer.painted_at,
        planned_on=layer.planned_on,
        earliest=days_out(layer.earliest),
        state=layer.state.value,
        stages=stages_out(layer.stages),
        regions=tuple(
            BoardRegion(name=each.name, mix_uid=each.mix_uid, share=each.share, ml=each.ml, holds_up=each.holds_up)
            for each in layer.regions
        ),
        tests=len(layer.tests),
        over=verdict_out(layer.over),
    )


def _words(panel: PanelFact, today: date) -> str:
    return f"{STANDING_WORDS[panel.standing]}: {rest_words(panel, today)}".rstrip(": ")


def _due(due: DueFact) -> BoardDue:
    step = due.step
    return BoardDue(
        on=due.on,
        due_for=due.due_for,
        odds=due.odds,
        at_risk=due.at_risk,
        is_late=due.is_late,
        packing_d=due.packing_d,
        transit_d=due.transit_d,
        step=None if step is None else BoardDueStep(**{**asdict(step), "misfit": step.misfit.value}),
    )


def _panel(panel: PanelFact, moment: Moment) -> BoardPanel:
    due = panel.due
    return BoardPanel(
        uid=panel.uid,
        title=panel.title,
        width_cm=panel.width_mm / 10,
        height_cm=panel.height_mm / 10,
        place=panel.place,
        standing=panel.standing.value,
        words=_words(panel, moment.today),
        top=None if panel.top is None else _layer(panel.top),
        next=None if panel.coming is None else _layer(panel.coming),
        layers_to_come=panel.layers_to_come,
        test_from=panel.rest.test_from,
        ready_from=panel.rest.ready_from,
        allowed_from=panel.rest.allowed_from,
        verdict=verdict_out(panel.verdict),
        due=None if due is None else _due(due),
        finish=days_out(panel.finish),
        varnish=days_out(panel.varnish),
        stop=None if panel.stop is None else BoardStop(**asdict(panel.stop)),
    )


def _row(row: CalendarRow) -> BoardCalendarRow:
    layers = tuple(
        BoardCalendarLayer(
            uid=each.uid,
            number=each.number,
            kind=each.kind,
            is_planned=each.is_planned,
            starts=span_out(each.start_days),
            days=stages_out(each.days),
        )
        for each in row.layers
    )
    due_on = row.panel.due.on if row.panel.due else None
    return BoardCalendarRow(panel_uid=row.panel.uid, title=row.panel.title, due_on=due_on, layers=layers)
