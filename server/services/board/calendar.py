"""Every panel through time: layers that are on and layers to come, with the days of their stages."""

from collections.abc import Hashable, Mapping, Sequence
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
from server.services.board.plan_odds import planned_standings
from server.services.board.rows import StudioRows
from server.services.board.shown import NO_DAYS, panel_fact, swatch
from server.services.board.snapshot import snapshot
from server.services.board.spans import instant, local_day
from server.services.board.standing import PanelStanding
from server.services.board.today import moment_of
from server.services.board.told import told_once
from server.services.forecasts import FORECASTS, Question
from server.services.kept import Kept

NO_COLOUR = "#6d6a5c"
ROWS_KEPT = 12_000
ROWS: Kept[CalendarRow] = Kept(ROWS_KEPT)
_numbers = count(1)


def calendar(session: Session, actor: Actor, now: datetime, zone: ZoneInfo, on: date | None = None) -> CalendarBoard:
    """All open panels. The number of queries does not depend on the studio's size."""
    moment = moment_of(now, zone, on)
    found = snapshot(session, actor)
    return found.keep(("calendar", moment), lambda: _board(found.rows, moment))


def _board(rows: StudioRows, moment: Moment) -> CalendarBoard:
    def made(part: StudioRows) -> list[CalendarRow]:
        found = planned_standings(part, panel_layers(part, moment), moment)
        planned = planned_layers(found, rows, moment)
        return [
            CalendarRow(
                panel_fact(item, rows, moment), (*(_painted(x, rows, moment) for x in item.layers.on), *to_come)
            )
            for item, to_come in zip(found, planned, strict=True)
        ]

    return CalendarBoard(next(_numbers), moment, tuple(told_once(ROWS, rows, moment, made)))


def planned_layers(found: Sequence[PanelStanding], rows: StudioRows, moment: Moment) -> list[tuple[CalendarLayer, ...]]:
    """The layers to come of each panel, each laid at its central start."""
    estimates = _planned_estimates(found, rows, moment)
    return [_planned(standing, estimates, rows, moment) for standing in found]


def _starts(standing: PanelStanding, rows: StudioRows, moment: Moment) -> list[tuple[LayerToCome, datetime, DaySpan]]:
    """The layers to come with the central instant and the days of their start: that of their sitting, where the plan in
    use has one that can most likely be kept."""
    if standing.outlook is None:
        return []
    pairs = zip(standing.layers.to_come, standing.outlook.starts, strict=False)
    found = []
    for place, (layer, start) in enumerate(pairs):
        at, days, sitting = instant(moment.day_start, start.p50_d), span_of(start, moment), rows.sitting_of(layer.row)
        if sitting is not None and at <= sitting.end_at and sitting.on >= moment.on:
            at, days = sitting.start_at, DaySpan(sitting.on, sitting.on, sitting.on)
        elif place >= standing.outlook.goes_on:
            continue  # of what a rule stops for good no day is told
        found.append((layer, at, days))
    return found


def _question(layer: LayerToCome, start: datetime, moment: Moment) -> Question | None:
    return layer.question(local_day(start, moment.zone), moment.zone)


def _planned_estimates(
    found: Sequence[PanelStanding], rows: StudioRows, moment: Moment
) -> dict[Hashable, LayerEstimate]:
    """The estimates of all layers to come, laid at their central start; the outlook asked for them already."""
    starts = [(layer, start) for standing in found for layer, start, _ in _starts(standing, rows, moment)]
    questions = [_question(layer, start, moment) for layer, start in starts]
    asked = [question for question in questions if question is not None]
    answers = zip(asked, FORECASTS.ask(asked), strict=True)
    return {question.key: answer for question, answer in answers if isinstance(answer, LayerEstimate)}


def _planned(
    standing: PanelStanding, planned: Mapping[Hashable, LayerEstimate], rows: StudioRows, moment: Moment
) -> tuple[CalendarLayer, ...]:
    shown = []
    for layer, start, days in _starts(standing, rows, moment):
        question = _question(layer, start, moment)
        estimate = planned.get(question.key) if question else None
        stages = estimate.stages if estimate else {}
        shown.append(
            CalendarLayer(
                uid=layer.row.uid,
                number=layer.number,
                kind=layer.row.kind,
                start=start,
                start_days=days,
                is_planned=True,
                colour=_colour(layer, rows),
                stages=stages,
                days=stage_days(start, stages, moment.zone),
                sitting=rows.sitting_of(layer.row),
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
