"""What was asked for in a plan that waits, of which the plan in use knows nothing. The next to wait keeps to it."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.services import plan_reading, planning_plans
from server.services.access import Actor
from server.services.plan_reading import PlanInUse
from server.services.planning_asked import Asked
from server.services.planning_plans import FOR
from server.services.planning_since import PINNED_BEFORE


@dataclass(frozen=True, slots=True)
class AskedBefore:
    """``moves``: sittings moved by hand and pinned there, by whom. ``panels``: those for which something was done, so
    that their sittings may move as if they were new."""

    moves: Mapping[str, tuple[datetime, str]] = field(default_factory=dict)
    panels: frozenset[str] = frozenset()


def asked_before(session: Session, actor: Actor) -> AskedBefore:
    """What was asked for in the plan that waits, if one does. What was pinned by hand in the plan in use since it was
    made is no move."""
    waiting, used = planning_plans.waiting(session, actor), plan_reading.in_use(session, actor.studio_id)
    if waiting is None or used is None:
        return AskedBefore()
    content = waiting.content_json or {}
    return AskedBefore(_moves(content, used), frozenset(content.get(FOR, ())))


def free_of(asked: Asked, panels: Collection[str]) -> set[str]:
    """The layers to come of some panels, but for those that are held."""
    to_come = (one.row.uid for each in asked.found if each.layers.panel.uid in panels for one in each.layers.to_come)
    return {uid for uid in to_come if not asked.room.is_held(uid, asked.moment)}


def _moves(content: Mapping[str, Any], used: PlanInUse) -> dict[str, tuple[datetime, str]]:
    before, found = set(content.get(PINNED_BEFORE, ())), {}
    for one in plan_reading.sittings_of(content):
        stood = used.sittings.get(one.uid)
        if not one.pinned or stood is None:
            continue
        is_pinned_since = stood.pinned and one.uid not in before
        is_as_it_stood = one.uid in before and stood.start_at == one.start_at
        if not (is_pinned_since or is_as_it_stood):
            found[one.uid] = one.start_at, one.painter
    return found
