"""Every panel through time: layers that are on and layers to come, with the days of their stages."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import count
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.science.results import LayerEstimate
from server.services.access import Actor
from server.services.board.calendar_facts import CalendarBoard, CalendarLayer, CalendarRow
from server.services.board.chains import span_of
from server.services.board.facts import DaySpan, Moment
from server.services.board.films import LayerOn, LayerToCome, panel_layers, stage_days
from server.services.board.marked import broken_of, mark, marked_facts
from server.services.board.plan_odds import planned_standings
from server.services.board.rows import StudioRows
from server.services.board.shown import NO_DAYS, swatch
from server.services.board.snapshot import snapshot
from server.services.board.spans import instant, local_day
from server.services.board.standing import PanelStanding
from server.services.board.today import moment_of
from server.services.board.told import told_once
from server.services.forecasts import FORECASTS, Question
from server.services.kept import Kept
from server.services.plan_reading import BrokenSitting, PlannedSitting

NO_COLOUR = "#6d6a5c"
ROWS_KEPT = 12_000
ROWS: Kept[CalendarRow] = Kept(ROWS_KEPT)
NONE_BROKEN: Mapping[str, BrokenSitting] = {}
Broken = Mapping[str, BrokenSitting]
_numbers = count(1)


@dataclass(frozen=True, slots=True)
class _Start:
    """A layer to come with when it begins; ``goes_on``: no rule stops it for good."""

    layer: LayerToCome
    at: datetime
    days: DaySpan
    sitting: PlannedSitting | None
    goes_on: bool = True


def calendar(session: Session, actor: Actor, now: datetime, zone: ZoneInfo, on: date | None = None) -> CalendarBoard:
    """All open panels. The number of queries does not depend on the studio's size."""
    moment = moment_of(now, zone, on)
    found = snapshot(session, actor)
    return found.keep(("calendar", moment), lambda: _board(found.rows, moment))


def _board(rows: StudioRows, moment: Moment) -> CalendarBoard:
    def made(part: StudioRows) -> list[CalendarRow]:
        found = planned_standings(part, panel_layers(part, moment), moment)
        facts = marked_facts(found, part, moment)
        planned = planned_layers(found, part, moment, broken_of(facts))
        return [
            CalendarRow(fact, (*(_painted(x, part, moment) for x in item.layers.on), *to_come))
            for fact, item, to_come in zip(facts, found, planned, strict=True)
        ]

    return CalendarBoard(next(_numbers), moment, tuple(told_once(ROWS, rows, moment, made)))


def planned_layers(
    found: Sequence[PanelStanding], rows: StudioRows, moment: Moment, broken: Broken = NONE_BROKEN
) -> list[tuple[CalendarLayer, ...]]:
    """The layers to come of each panel, each laid at its central start; ``broken``: the sittings that hold no more."""
    starts = [_starts(standing, rows, moment, broken) for standing in found]
    estimates = _planned_estimates(starts, moment)
    return [_planned(some, estimates, rows, moment) for some in starts]


def _starts(standing: PanelStanding, rows: StudioRows, moment: Moment, broken: Broken) -> list[_Start]:
    """The layers to come with the central instant and the days of their start: that of their sitting, where the plan in
    use has one that can most likely be kept. Of what a rule stops for good no day is told but that of its sitting,
    which holds no more."""
    if standing.outlook is None:
        return []
    outlook, found = standing.outlook, []
    for place, layer in enumerate(standing.layers.to_come):
        sitting = mark(rows.sitting_of(layer.row), broken)
        is_near = sitting is not None and sitting.on >= moment.on
        start = outlook.starts[place] if place < len(outlook.starts) else None
        at = None if start is None else instant(moment.day_start, start.p50_d)
        goes_on = at is not None and place < outlook.goes_on
        can_be_kept = at is not None and sitting is not None and at <= sitting.end_at
        if sitting is not None and is_near and (can_be_kept or (sitting.broken is not None and not goes_on)):
            days = DaySpan(sitting.on, sitting.on, sitting.on)
            found.append(_Start(layer, sitting.start_at, days, sitting, goes_on or can_be_kept))
        elif start is not None and at is not None and goes_on:
            found.append(_Start(layer, at, span_of(start, moment), sitting))
    return found


def _question(one: _Start, moment: Moment) -> Question | None:
    return one.layer.question(local_day(one.at, moment.zone), moment.zone) if one.goes_on else None


def _planned_estimates(starts: Sequence[Sequence[_Start]], moment: Moment) -> dict[Hashable, LayerEstimate]:
    """The estimates of all layers to come, laid at their central start; the outlook asked for them already."""
    questions = [_question(one, moment) for some in starts for one in some]
    asked = [question for question in questions if question is not None]
    answers = zip(asked, FORECASTS.ask(asked), strict=True)
    return {question.key: answer for question, answer in answers if isinstance(answer, LayerEstimate)}


def _planned(
    starts: Sequence[_Start], planned: Mapping[Hashable, LayerEstimate], rows: StudioRows, moment: Moment
) -> tuple[CalendarLayer, ...]:
    shown = []
    for one in starts:
        layer, question = one.layer, _question(one, moment)
        estimate = planned.get(question.key) if question else None
        stages = estimate.stages if estimate else {}
        shown.append(
            CalendarLayer(
                uid=layer.row.uid,
                number=layer.number,
                kind=layer.row.kind,
                start=one.at,
                start_days=one.days,
                is_planned=True,
                colour=_colour(layer, rows),
                stages=stages,
                days=stage_days(one.at, stages, moment.zone),
                sitting=one.sitting,
                goes_on=one.goes_on,
            )
        )
    return tuple(shown)


def _painted(layer: LayerOn, rows: StudioRows, moment: Moment) -> CalendarLayer:
    day = local_day(layer.row.painted_at, moment.zone)
    return CalendarLayer(
        uid=layer.row.uid,
        number=layer.number,
        kind=layer.row.kind,
        start=layer.row.painted_at,
        start_days=DaySpan(day, day, day),
        is_planned=False,
        colour=_colour(layer, rows),
        stages=layer.film.stages,
        days=layer.film.days or NO_DAYS,
    )


def _colour(layer: LayerOn | LayerToCome, rows: StudioRows) -> str:
    largest = max(layer.regions, key=lambda region: region.area_share, default=None)
    return NO_COLOUR if largest is None else swatch(rows.book.mixes[largest.mix_id])
