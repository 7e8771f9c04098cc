"""Something happened to the plan in use: a day was lost, a sitting missed or moved, a layer is slower. It is set right.

What still holds stays, and little of the rest moves; the answer waits beside the plan in use, to be taken or left.
"""

from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from pydantic import Field
from sqlmodel import Session

from server.services import plan_reading, planning, planning_moves
from server.services.access import Actor
from server.services.errors import Refused
from server.services.fields import Command, Day, Uid
from server.services.planning import WorkTimeCreate
from server.services.planning_ahead import Changed

Event = Literal["", "no_painting", "earlier", "later"]


class PlanRight(Command):
    """What happened. "no_painting": nobody paints today, or ``on`` another day; "earlier", "later": the sitting of
    ``layer_uid`` is to be on the working day before or after its own, and is held there."""

    event: Event = Field(default="", validate_default=True)
    on: Day | None = None
    layer_uid: Uid | None = None


def happened(session: Session, actor: Actor, given: PlanRight, now: datetime, zone: ZoneInfo) -> Changed:
    """Note what happened. Raises ``Refused`` where no plan is in use, and for a day or a sitting that cannot be."""
    plan = plan_reading.in_use(session, actor.studio_id)
    if plan is None:
        raise Refused("No plan is in use. Make one first.")
    settings, today = dict(plan.settings), now.astimezone(zone).date()
    if given.event in ("earlier", "later"):
        sitting, at = planning_moves.beside(session, actor, plan, (given.layer_uid or "", given.event), (now, zone))
        told = f"Moved the {sitting.kind} of “{sitting.title}” to a day that is {given.event}"
        return Changed(told, settings, {sitting.uid: (at, sitting.painter)})
    if given.event == "no_painting":
        on = given.on or today
        if on < today:
            raise Refused("This day is over. Nothing was changed.")
        _close(session, actor, on)
        session.flush()
        told = "No painting today: set the plan right" if on == today else "Left a day free: set the plan right"
        # The button of a day names it; that nobody could paint today is told without a day, and is a fact.
        return Changed(told, settings, is_chosen=given.on is not None)
    return Changed("Set the plan right", settings)


def _close(session: Session, actor: Actor, on: date) -> None:
    """A day without work for every painter; hours that were given for this very day are put away."""
    for row in planning.all_open(session, actor):
        if row.on_date == on and row.until_on is None and not row.rule:
            planning.archive(session, actor, row.uid)
    session.flush()
    planning.create(session, actor, WorkTimeCreate(painter=planning.EVERYBODY, on_date=on))
