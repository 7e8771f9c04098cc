"""Something happened to the plan in use: a day was lost, a sitting missed or moved, a layer is slower. It is set right.

What still holds stays, and little of the rest moves; the answer waits beside the plan in use, to be taken or left.
"""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, Literal
from zoneinfo import ZoneInfo

from pydantic import Field
from sqlmodel import Session

from server.services import plan_reading, planning, planning_moves, planning_plans
from server.services.access import Actor
from server.services.board.rows import load
from server.services.board.today import standing_sittings
from server.services.errors import Refused
from server.services.fields import Command, Day, Uid
from server.services.plan_reading import PlanInUse
from server.services.planning import WorkTimeCreate
from server.services.planning_ahead import Changed
from server.services.planning_asked_before import asked_before
from server.services.planning_make import ANEW
from server.services.unit import current_change_set

MOST_NAMED = 2  # a history's label has 300 characters, two titles and kinds have most of it
Event = Literal["", "no_painting", "earlier", "later"]


class PlanRight(Command):
    """What happened; without an event the plan in use is set right as things are, or one that waits is worked out
    again, with what was asked of it. "no_painting": nobody paints today, or ``on`` another day, and what is pinned to
    that day is let go; "earlier", "later": the sitting of ``layer_uid`` is to be on the working day before or after its
    own, and is pinned there."""

    event: Event = Field(default="", validate_default=True)
    on: Day | None = None
    layer_uid: Uid | None = None


def happened(session: Session, actor: Actor, given: PlanRight, now: datetime, zone: ZoneInfo) -> Changed:
    """Note what happened. Raises ``Refused`` where no plan is in use, and for a day or a sitting that cannot be."""
    plan, waiting = plan_reading.in_use(session, actor.studio_id), planning_plans.waiting(session, actor)
    asked = (waiting.content_json or {}) if waiting is not None else {}
    if waiting is not None and not given.event:
        return Changed("Worked out again the plan to look at", settings_of(asked) | {"anew": bool(asked.get(ANEW))})
    if plan is None:
        raise Refused("No plan is in use. Make one first.")
    settings, today = settings_of(asked) or dict(plan.settings), now.astimezone(zone).date()
    if given.event in ("earlier", "later"):
        waits = asked_before(session, actor).moves
        from_at, _ = waits.get(given.layer_uid or "", (None, ""))
        is_over = from_at is not None and from_at.date() < today
        move = planning_moves.Move(given.layer_uid or "", given.event, None if is_over else from_at)
        sitting, at = planning_moves.beside(session, actor, plan, move, (now, zone))
        day = f"{at:%A} {at.day} {at:%B %Y}"
        told = f"Asked for the {sitting.kind} of “{sitting.title}” on {day}, pinned there: a plan to look at"
        return Changed(told, settings, {sitting.uid: (at, sitting.painter)})
    if given.event == "no_painting":
        on = given.on or today
        if on < today:
            raise Refused("This day is over. Nothing was changed.")
        is_chosen = given.on is not None  # the button of a day names it; that nobody could paint today is a fact
        let_go = _let_go(session, actor, plan, on, is_chosen=is_chosen)
        _close(session, actor, on)
        session.flush()
        day = f"{on:%A} {on.day} {on:%B %Y}"
        told = "No painting today: set the plan right" if on == today else f"Left {day} free: set the plan right"
        return Changed(f"{told}. {let_go}" if let_go else told, settings, is_chosen=is_chosen, is_fact=not is_chosen)
    return Changed("Set the plan right", settings)


def settings_of(content: Mapping[str, Any]) -> dict[str, Any]:
    """What a plan as it is stored was made with."""
    return dict(content.get("settings", {}))


def _let_go(session: Session, actor: Actor, plan: PlanInUse, on: date, *, is_chosen: bool) -> str:
    """Let the pinned sittings of a day that is left free move again; tells which, "" where there are none."""
    if not any(one.pinned and one.on == on for one in plan.sittings.values()):
        return ""
    rows = load(session, actor)
    held = [one for one in standing_sittings(rows) if one.pinned and one.on == on] if rows is not None else []
    if not held:
        return ""
    mark = current_change_set(session).uid if is_chosen else ""
    planning_plans.let_go(session, actor, plan.uid, {one.uid for one in held}, mark)
    names = ", ".join(f"{one.kind} of “{one.title}”" for one in held[:MOST_NAMED])
    more = len(held) - MOST_NAMED
    return f"No longer pinned: {names} and {more} more" if more > 0 else f"No longer pinned: {names}"


def _close(session: Session, actor: Actor, on: date) -> None:
    """A day without work for every painter; hours that were given for this very day are put away."""
    for row in planning.all_open(session, actor):
        if row.on_date == on and row.until_on is None and not row.rule:
            planning.archive(session, actor, row.uid)
    session.flush()
    planning.create(session, actor, WorkTimeCreate(painter=planning.EVERYBODY, on_date=on))
