"""Plans as records: one to be looked at beside the one in use, taken or left, its sittings pinned or let go."""

from collections.abc import Callable, Collection
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from server.services import planning_since, records
from server.services.access import Actor, allow
from server.services.errors import Refused
from server.services.unit import moment as moment_now
from server.store.tables import Layer, Panel, StudioPlan

CHOSEN = "chosen"  # in a plan as it is stored: the history's entries of what the painter did for its sake
FACTS = "facts"  # the same of what only happened
FOR = "for_panels"  # in a plan as it is stored: the panels for which something was done that it was made with
LET_GO = "let_go_by"  # of a sitting: the history's entry that let it move again, for the sake of a plan that waits


def propose(session: Session, actor: Actor, content: dict[str, Any], chosen: str = "", fact: str = "") -> StudioPlan:
    """Keep a plan to be looked at; one that waited before is put away.

    ``chosen``: the entry of the history that was done for the sake of this plan, if any; ``fact``: that of what
    happened. What was noted for the one that waited was not agreed to yet, so it counts for this one.
    """
    allow(actor, "create", None, StudioPlan)
    noted = {CHOSEN: [chosen] if chosen else [], FACTS: [fact] if fact else [], FOR: list(content.get(FOR, ()))}
    for waiting in _plans(session, actor, accepted=False):
        for name, after in noted.items():
            after[:0] = (waiting.content_json or {}).get(name, ())
        waiting.archived_at = moment_now(session)
    told = {name: list(dict.fromkeys(uids)) for name, uids in noted.items() if uids}
    row = StudioPlan(studio_id=actor.studio_id, content_json={**content, **told})
    session.add(row)
    session.flush()
    return row


def accept(session: Session, actor: Actor, uid: str) -> StudioPlan:
    """Take a plan: its days become the planned days of the layers that are still to come. The one before is put away;
    what was pinned or let go in it meanwhile is in this one too. A day that a layer had by the one before goes where
    this one has none for it.

    Raises ``Refused`` for one that was put away or taken already, and where it moves what was pinned meanwhile."""
    row = records.find(session, actor, StudioPlan, uid, "update")
    if row.archived_at is not None and row.accepted_at is None and waiting(session, actor) is not None:
        raise Refused(
            "Another plan has taken this one's place meanwhile, and waits here. Look at what it changes, then take "
            "that one. Nothing was changed."
        )
    if row.archived_at is not None or row.accepted_at is not None:
        raise Refused("This plan was taken or put away already. Make a new one.")
    for n, other in enumerate(_plans(session, actor, accepted=True)):
        if n == 0:  # the one in use
            _keep_pins(session, actor, row, other)
            _clear_days(session, actor, row, other)
        other.archived_at = moment_now(session)
    row.accepted_at = moment_now(session)
    for sitting in (row.content_json or {}).get("sittings", ()):
        layer = records.find(session, actor, Layer, sitting["id"], "update")
        if layer.painted_at is None and layer.archived_at is None:
            records.change(layer, {"planned_on": datetime.fromisoformat(sitting["start_at"]).date()})
    session.flush()
    return row


def dismiss(session: Session, actor: Actor, uid: str) -> StudioPlan:
    """Put a plan away that was only looked at. Raises ``Refused`` for one that was taken meanwhile."""
    row = records.find(session, actor, StudioPlan, uid, "archive")
    if row.accepted_at is not None:
        raise Refused("This plan was taken meanwhile, so it was not left aside.")
    return records.archive(session, actor, StudioPlan, uid)


def pin(session: Session, actor: Actor, uid: str, sitting: str, *, pinned: bool) -> str:
    """Hold a sitting of the plan in use where it is, or let it go; answers what the history tells of it. Raises
    ``Refused`` for another plan, a sitting that it does not hold, and one whose layer is on."""
    row = records.find(session, actor, StudioPlan, uid, "update")
    content = row.content_json or {}
    if row.archived_at is not None or row.accepted_at is None:
        raise Refused("This plan is not the one in use any more. Nothing was changed.")
    if sitting not in {s["id"] for s in content.get("sittings", ())}:
        raise Refused("This sitting is not in the plan. Nothing was changed.")
    layer = records.find(session, actor, Layer, sitting)
    if layer.painted_at is not None:
        raise Refused("This layer is painted already. Nothing was changed.")
    _change_sittings(row, lambda s: s["id"] == sitting, {"pinned": pinned, LET_GO: ""})
    session.flush()
    title = session.get_one(Panel, layer.panel_id).title
    return f"Pinned the {layer.kind} of “{title}”" if pinned else f"Let the {layer.kind} of “{title}” move again"


def let_go(session: Session, actor: Actor, uid: str, sittings: Collection[str], mark: str = "") -> None:
    """Let some sittings of a plan move again. ``mark``: what they are pinned again by, see `pin_again`."""
    row = records.find(session, actor, StudioPlan, uid, "update")
    _change_sittings(row, lambda s: s["id"] in sittings, {"pinned": False, **({LET_GO: mark} if mark else {})})
    session.flush()


def pin_again(session: Session, actor: Actor, mark: str) -> None:
    """Pin the sittings of the plan in use that were let go with ``mark``, but for those that were pinned or let go by
    hand since."""
    row = in_use(session, actor)
    if row is not None and any(s.get(LET_GO) == mark for s in (row.content_json or {}).get("sittings", ())):
        allow(actor, "update", row)
        _change_sittings(row, lambda s: s.get(LET_GO) == mark, {"pinned": True, LET_GO: ""})
        session.flush()


def _keep_pins(session: Session, actor: Actor, row: StudioPlan, used: StudioPlan) -> None:
    """In a plan that is about to be taken, what was pinned and let go by hand in the one in use since it was made."""
    now = moment_now(session)
    found = planning_since.pins_since(session, actor, row.content_json or {}, used.content_json or {}, now)
    if found:
        _change_sittings(row, lambda s: found.get(s["id"]) is True, {"pinned": True})
        _change_sittings(row, lambda s: found.get(s["id"]) is False, {"pinned": False})


def _clear_days(session: Session, actor: Actor, row: StudioPlan, used: StudioPlan) -> None:
    """Take the planned day from the layers that had it by the plan before and have none by the one that is taken."""
    kept = {one["id"] for one in (row.content_json or {}).get("sittings", ())}
    gone = {
        one["id"]: datetime.fromisoformat(one["start_at"]).date()
        for one in (used.content_json or {}).get("sittings", ())
        if one["id"] not in kept
    }
    query = select(Layer).where(col(Layer.studio_id) == actor.studio_id, col(Layer.uid).in_(list(gone)))
    for layer in session.scalars(query) if gone else ():
        if layer.painted_at is None and layer.archived_at is None and layer.planned_on == gone[layer.uid]:
            records.change(layer, {"planned_on": None})


def _change_sittings(row: StudioPlan, which: Callable[[dict[str, Any]], bool], values: dict[str, Any]) -> None:
    content = dict(row.content_json or {})
    content["sittings"] = [{**s, **values} if which(s) else s for s in content.get("sittings", ())]
    row.content_json = content


def in_use(session: Session, actor: Actor) -> StudioPlan | None:
    """The plan the painter took last."""
    return next(iter(_plans(session, actor, accepted=True)), None)


def is_waiting(session: Session, actor: Actor, uid: str) -> bool:
    """Whether a plan was neither taken nor put away. Raises ``NotFound``."""
    row = records.find(session, actor, StudioPlan, uid)
    return row.archived_at is None and row.accepted_at is None


def waiting(session: Session, actor: Actor) -> StudioPlan | None:
    """A plan that was made and not yet taken."""
    return next(iter(_plans(session, actor, accepted=False)), None)


def _plans(session: Session, actor: Actor, *, accepted: bool) -> list[StudioPlan]:
    is_taken = col(StudioPlan.accepted_at).is_not(None) if accepted else col(StudioPlan.accepted_at).is_(None)
    query = (
        select(StudioPlan)
        .where(col(StudioPlan.studio_id) == actor.studio_id, col(StudioPlan.archived_at).is_(None), is_taken)
        .order_by(col(StudioPlan.id).desc())
    )
    return list(session.scalars(query))
