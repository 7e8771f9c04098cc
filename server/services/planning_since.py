"""What came since the plan that waits was worked out: what was pinned or let go by hand meanwhile holds in it too."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, func, select

from server.services.access import Actor
from server.services.board.rows import load
from server.services.board.today import standing_sittings
from server.services.errors import Refused
from server.services.plan_reading import PlannedSitting, sittings_of
from server.store.tables import Change, ChangeSet, StudioPlan

PINNED_BEFORE = "pinned_before"  # in a plan as it is stored: what was pinned in the plan in use when it was worked out


def pins_since(
    session: Session, actor: Actor, waiting: Mapping[str, Any], used: Mapping[str, Any], now: datetime
) -> dict[str, bool]:
    """The sittings to pin (True) and to let go in the plan that waits before it is taken. What it has at another time
    itself stays as it is there.

    Raises ``Refused`` where one was pinned that it moves, but for those that are over or stand no more.
    """
    if PINNED_BEFORE not in waiting:
        return {}
    before = set(waiting[PINNED_BEFORE])
    planned = {one.uid: one for one in sittings_of(waiting)}
    stood = sittings_of(used)
    found = {
        one.uid: one.pinned
        for one in stood
        if one.pinned != (one.uid in before) and _is_where_it_stood(one, planned.get(one.uid))
    }
    lost = {one.uid for one in stood if one.pinned and one.uid not in before and one.start_at > now} - set(found)
    if lost:
        _check_moved(session, actor, lost)
    return found


def is_changed_since(session: Session, actor: Actor, plan: StudioPlan) -> bool:
    """Whether anything in the studio was changed after a plan was made."""
    later = select(col(ChangeSet.id)).where(
        col(ChangeSet.studio_id) == actor.studio_id, col(ChangeSet.id) > added_by(session, plan)
    )
    return session.scalars(later.limit(1)).first() is not None


def added_by(session: Session, plan: StudioPlan) -> int:
    """The entry of the history that a plan was made in."""
    of_it = (col(Change.table_name) == StudioPlan.__tablename__, col(Change.row_id) == plan.id)
    return session.scalars(select(func.min(col(Change.change_set_id))).where(*of_it)).one() or 0


def _is_where_it_stood(one: PlannedSitting, other: PlannedSitting | None) -> bool:
    return other is not None and (one.start_at, one.painter) == (other.start_at, other.painter)


def _check_moved(session: Session, actor: Actor, lost: set[str]) -> None:
    """Raise ``Refused`` for those that still stand in the plan in use."""
    rows = load(session, actor)
    held = [one for one in standing_sittings(rows) if one.uid in lost] if rows is not None else []
    if not held:
        return
    one, more = held[0], len(held) - 1
    day = f"{one.on:%A} {one.on.day} {one.on:%B %Y}"
    if more:
        raise Refused(
            f"Pinned since this plan was made, but not kept by it: the {one.kind} of “{one.title}” on {day}, "
            f"and {more} more. Set the plan right again, or let them move; then take it. Nothing was changed."
        )
    raise Refused(
        f"Pinned since this plan was made, but not kept by it: the {one.kind} of “{one.title}” on {day}. "
        "Set the plan right again, or let it move; then take it. Nothing was changed."
    )
