"""Something happened to the plan in use: a day was lost, a sitting missed, a layer is slower. It is set right at once.

What still holds stays, and little of the rest moves; the answer waits beside the plan in use, to be taken or left.
"""

from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.services import plan_reading, planning
from server.services.access import Actor
from server.services.errors import Refused
from server.services.planning import WorkTimeCreate
from server.services.planning_ahead import Changed

Event = Literal["", "no_painting"]


def happened(session: Session, actor: Actor, event: Event, now: datetime, zone: ZoneInfo) -> Changed:
    """Note what happened. ``no_painting``: nobody paints today. Raises ``Refused`` where no plan is in use."""
    plan = plan_reading.in_use(session, actor.studio_id)
    if plan is None:
        raise Refused("No plan is in use. Make one first.")
    told = "Set the plan right"
    if event == "no_painting":
        _close_today(session, actor, now, zone)
        told = "No painting today: set the plan right"
    session.flush()
    return Changed(told, dict(plan.settings))


def _close_today(session: Session, actor: Actor, now: datetime, zone: ZoneInfo) -> None:
    """A day without work for every painter; hours that were given for this very day are put away."""
    on = now.astimezone(zone).date()
    rows = planning.all_open(session, actor)
    for row in rows:
        if row.on_date == on and row.until_on is None and not row.rule:
            planning.archive(session, actor, row.uid)
    session.flush()
    planning.create(session, actor, WorkTimeCreate(painter=planning.EVERYBODY, on_date=on))
