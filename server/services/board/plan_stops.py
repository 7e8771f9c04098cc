"""What of the plan in use a rule stops by now: a layer below was moved by hand, a mix changed, a test found it slow."""

from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Row

from server.services.board.facts import Moment, Standing
from server.services.board.rows import StudioRows
from server.services.board.spans import start_of_day
from server.services.board.standing import PanelStanding
from server.services.plan_reading import BrokenSitting
from server.services.planning_rules import answers

NOON = timedelta(hours=12)


def plan_stops(standing: PanelStanding, rows: StudioRows, moment: Moment) -> tuple[tuple[str, BrokenSitting], ...]:
    """The sittings that stand in the plan in use and that a rule stops on their day, by their layers, each with the
    rule; on whatever day, where the layer is stopped for good, or one below it, which is named then. A layer below that
    was given a day by hand counts from its noon."""
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
    found = {uid: _stopped(stops[0].title, stops[0].rule) for uid, stops in said if stops}
    found = {uid: why for uid, why in (_for_good(standing, moment) | found).items() if uid in planned}
    return tuple(found.items())


def _stopped(title: str, rule: str, below: str = "") -> BrokenSitting:
    return BrokenSitting("stopped", rule=f"{title} ({rule})", below=below)


def _for_good(standing: PanelStanding, moment: Moment) -> dict[str, BrokenSitting]:
    """The layers to come that never go on as things are: the one that a rule stops, and those that wait for it."""
    stop = standing.stop(moment)
    if stop is None or stop.until is not None or standing.outlook is None:
        return {}
    stopped, *above = standing.layers.to_come[standing.outlook.goes_on :]
    waits = _stopped(stop.title, stop.rule, stopped.row.kind)
    return {stopped.row.uid: _stopped(stop.title, stop.rule)} | {layer.row.uid: waits for layer in above}


def _at(layer: Row[Any], rows: StudioRows, moment: Moment) -> datetime | None:
    sitting = rows.sitting_of(layer)
    if sitting is not None:
        return sitting.start_at
    return None if layer.planned_on is None else start_of_day(layer.planned_on, moment.zone) + NOON
