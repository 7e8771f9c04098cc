"""Taking back what was changed with people: a role, a removal, an invitation.

The log stays append-only: taking back is an entry of its own, which can be taken back in its turn. It is refused where
somebody changed the same since.
"""

from collections.abc import Callable, Mapping
from datetime import datetime

from sqlalchemy import select
from sqlmodel import Session, col

from server.services.access import Actor, require
from server.services.errors import NotFound, Refused
from server.services.people import events, invitations, members
from server.services.people.members import RoleUpdate
from server.services.records import check_uid
from server.store.tables import PeopleEvent

CHANGED_SINCE = "This was changed since, so that it can no longer be undone."
Undo = Callable[[Session, Actor, PeopleEvent, datetime], object]


def undo(session: Session, actor: Actor, uid: str, now: datetime) -> None:
    """Take one entry back; twice is the same as once. Raises ``NotFound``, ``Forbidden``, and ``Refused``."""
    require(actor, "people")
    query = select(PeopleEvent).where(col(PeopleEvent.uid) == check_uid(uid))
    event = session.scalars(query.where(col(PeopleEvent.studio_id) == actor.studio_id).with_for_update()).first()
    if event is None or event.what not in _UNDO:
        raise NotFound
    if session.scalars(select(PeopleEvent).where(col(PeopleEvent.undoes_uid) == uid)).first() is not None:
        return
    with events.undoing(session, uid):
        try:
            _UNDO[event.what](session, actor, event, now)
        except NotFound:
            raise Refused(CHANGED_SINCE) from None


def _role(session: Session, actor: Actor, event: PeopleEvent, now: datetime) -> None:
    if members.role_of(session, actor, _subject(event)) != event.after:
        raise Refused(CHANGED_SINCE)
    members.set_role(session, actor, _subject(event), RoleUpdate.model_validate({"role": event.before}), now)


def _removed(session: Session, actor: Actor, event: PeopleEvent, now: datetime) -> None:
    members.bring_back(session, actor, _subject(event), RoleUpdate.model_validate({"role": event.before}), now)


def _joined(session: Session, actor: Actor, event: PeopleEvent, now: datetime) -> None:
    members.remove(session, actor, _subject(event), now)


def _invited(session: Session, actor: Actor, event: PeopleEvent, now: datetime) -> None:
    invitations.revoke(session, actor, _subject(event), now)


def _revoked(session: Session, actor: Actor, event: PeopleEvent, now: datetime) -> None:
    invitations.reopen(session, actor, _subject(event), now)


def _subject(event: PeopleEvent) -> str:
    return event.subject_uid or ""


_UNDO: Mapping[str | None, Undo] = {
    "role": _role,
    "removed": _removed,
    "joined": _joined,
    "invited": _invited,
    "revoked": _revoked,
}
