"""Where a panel's date stands: its odds, whether it is past, and which planned step of the finish does not fit it."""

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

from sqlalchemy import Row

from server.planning.outlook import Outlook
from server.science.soundness.types import Action
from server.services.board.due_step import DueFact, Misfit, StepHeld
from server.services.board.facts import Moment
from server.services.board.leaving import Leaving
from server.services.board.spans import instant, local_day

WORST_FIRST = tuple(Misfit)


def due_fact(panel: Row[Any], leaving: Leaving, outlook: Outlook | None, moment: Moment) -> DueFact | None:
    """The date of a panel, as it is painted as soon as may be; None where it has none. What a rule stops for good is at
    risk without odds; what was sent is so no more, however late it left."""
    if panel.due_on is None:
        return None
    is_sent = leaving.sent_on is not None
    is_past = panel.due_on < moment.on and not is_sent
    is_late = is_past and (panel.finished_on is None or bool(leaving.waits))
    risk = None if outlook is None else outlook.due
    if is_past and not is_late:
        risk = None  # finished, with nothing to do: whether it left by its date nobody said
    is_short = (risk is not None and risk.at_risk) or (outlook is not None and outlook.stopped is not None)
    return DueFact(
        panel.due_on,
        panel.due_for,
        None if risk is None else risk.odds,
        not is_sent and (is_late or is_short),
        is_late,
        packing_d=leaving.handling.packing_d,
        transit_d=leaving.handling.transit_d,
        step=_step(panel.due_on, leaving, outlook, moment),
        sent_on=leaving.sent_on,
    )


def falls_short(odds: float | None, confidence: float) -> bool:
    """Whether a date with these odds by a plan, if they are known, is at risk for somebody who wants to be so sure."""
    return odds is not None and odds < confidence


def _step(due_on: date, leaving: Leaving, outlook: Outlook | None, moment: Moment) -> StepHeld | None:
    """What fits the date least, of all that is planned."""
    found = list(_misfits(due_on, leaving, outlook, moment))
    if not found:
        return None
    worst = min(WORST_FIRST.index(step.misfit) for step in found)
    return max((step for step in found if step.misfit is WORST_FIRST[worst]), key=_last_day)


def _last_day(step: StepHeld) -> date:
    return max(day for day in (step.planned_on, step.opens_on) if day is not None)


def _misfits(due_on: date, leaving: Leaving, outlook: Outlook | None, moment: Moment) -> Iterator[StepHeld]:
    latest = due_on - timedelta(days=leaving.handling.days)
    is_known = outlook is not None and outlook.stopped is None
    seen = outlook.opens_d if outlook is not None and is_known else (0.0,) * len(leaving.waits)
    for wait, opens_d in zip(leaving.waits, seen, strict=True):
        action, planned_on, opens_on = wait.todo.action, wait.todo.planned_on, wait.opens_on
        by_rule = opens_on is not None
        if opens_on is None and opens_d > 0.0:
            opens_on = local_day(instant(moment.day_start, opens_d), moment.zone)
        if planned_on is not None and opens_on is not None and planned_on < opens_on:
            yield StepHeld(action, Misfit.EARLY, planned_on, opens_on, by_rule)
        elif opens_on is not None and opens_on > latest:
            yield StepHeld(action, Misfit.OPENS, planned_on, opens_on, by_rule)
        elif planned_on is not None and planned_on > latest:
            yield StepHeld(action, Misfit.PLANNED, planned_on, None)
    if leaving.sends_on is not None and leaving.sends_on > due_on - timedelta(days=leaving.handling.transit_d):
        yield StepHeld(Action.SHIP.value, Misfit.PLANNED, leaving.sends_on, None)
    if leaving.beyond is not None:
        yield StepHeld(leaving.beyond.action, Misfit.BEYOND, leaving.beyond.planned_on, None)
