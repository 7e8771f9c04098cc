"""What of the plan in use a rule stops by now: a layer below was moved by hand, a mix changed, a test found it slow."""

from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Row

from server.services.board.facts import Moment, Standing
from server.services.board.rows import StudioRows
from server.services.board.spans import start_of_day
from server.services.board.standing import PanelStanding
from server.services.planning_rules import answers

NOON = timedelta(hours=12)


def plan_stops(standing: PanelStanding, rows: StudioRows, moment: Moment) -> tuple[tuple[str, str], ...]:
    """The sittings that stand in the plan in use and that a rule stops on their day, by their layers, each with the
    rule; on whatever day, where the layer or one below it is stopped for good. A layer below that was given a day by
    hand counts from its noon."""
    planned = {layer.row.uid for layer in standing.layers.to_come if rows.sitting_of(layer.row) is not None}
    if not planned or standing.standing is Standing.FINISHED:
        return ()
    starts: dict[str, datetime] = {}
    for layer in standing.layers.to_come:
        at = _at(layer.row, rows, moment)
        if at is None or at < moment.at:
            break
        starts[layer.row.uid] = at
    said = [(answer.layer.row.uid, answer.stops) for answer in answers(standing, rows, moment, starts)]
    found = {uid: f"{stops[0].title} ({stops[0].rule})" for uid, stops in said if stops}
    found = {uid: rule for uid, rule in (_for_good(standing, moment) | found).items() if uid in planned}
    return tuple(found.items())


def _for_good(standing: PanelStanding, moment: Moment) -> dict[str, str]:
    """The layers to come that never go on as things are, with the rule."""
    stop = standing.stop(moment)
    if stop is None or stop.until is not None or standing.outlook is None:
        return {}
    rule = f"{stop.title} ({stop.rule})"
    return {layer.row.uid: rule for layer in standing.layers.to_come[standing.outlook.goes_on :]}


def _at(layer: Row[Any], rows: StudioRows, moment: Moment) -> datetime | None:
    sitting = rows.sitting_of(layer)
    if sitting is not None:
        return sitting.start_at
    return None if layer.planned_on is None else start_of_day(layer.planned_on, moment.zone) + NOON
