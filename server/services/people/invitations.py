"""Invitations: a link that lets one person into a studio, with the role it was made for.

Threats: a link that lives for ever (a week), one that is passed on and used twice (it is good for one person), one read
out of the database or the log (only its hash is kept, the log leaves it out), and one that tells strangers what is here
(unknown, used, revoked and expired links look the same).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlmodel import Session, col

from server.services.access import Actor, require
from server.services.errors import NotFound, Refused
from server.services.fields import Command, OptionalText120
from server.services.people import account, events, members, sessions
from server.services.people.account import AccountCreate
from server.services.people.events import About
from server.services.people.sessions import Browser, Identity, Opened
from server.services.people.tokens import hash_of, new_token
from server.services.records import check_uid
from server.services.roles import ROLE_WORDS
from server.store.db import READ_ONLY
from server.store.tables import Invitation, Person, Role, Studio

VALID = timedelta(days=7)
MOST_OPEN = 200  # of one studio: a school's year, with room


class InvitationCreate(Command):
    """``meant_for``: a word for the list, such as a name; the link itself goes by whatever way its maker likes."""

    role: Role
    meant_for: OptionalText120 = ""


@dataclass(frozen=True, slots=True)
class Made:
    """``token`` is told this once."""

    token: str
    role: Role
    meant_for: str
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class Pending:
    """An invitation that can still be used."""

    uid: str
    role: Role
    meant_for: str
    made_by: str
    created_at: datetime
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class Offer:
    """What an invitation says to whoever opens it."""

    studio: str
    role: Role
    made_by: str
    expires_at: datetime


def invite(session: Session, actor: Actor, command: InvitationCreate, key: str | None, now: datetime) -> Made:
    """A link for one more person. The same sending again (``key``) makes another link in the place of the first.

    Raises ``Forbidden``, and ``Refused`` when too many are open.
    """
    require(actor, "people")
    if len(_open(session, actor.studio_id, now)) >= MOST_OPEN:
        raise Refused(f"{MOST_OPEN} invitations are open already. Take back those that are not needed.")
    token, expires_at = new_token(), now + VALID
    row = _of_key(session, actor.studio_id, key)
    if row is not None and row.used_at is not None:
        raise Refused("This invitation was used already. Make another one.")
    if row is not None and row.revoked_at is not None:
        raise Refused("This invitation was taken back already. Make another one.")
    if row is None:
        row = Invitation(
            studio_id=actor.studio_id,
            role=command.role,
            meant_for=command.meant_for,
            made_by=actor.name,
            made_by_key=key,
            token_hash=hash_of(token),
            created_at=now,
            expires_at=expires_at,
        )
        label = f"Invited {command.meant_for or 'somebody'} as {ROLE_WORDS[command.role].lower()}"
        events.note(session, _about(actor, row, "invited"), actor.name, label, now)
    row.token_hash, row.created_at, row.expires_at = hash_of(token), now, expires_at
    session.add(row)
    session.flush()
    return Made(token, command.role, command.meant_for, expires_at)


def all_pending(session: Session, actor: Actor, now: datetime) -> list[Pending]:
    """Raises ``Forbidden``."""
    require(actor, "people")
    return [
        Pending(row.uid, row.role, row.meant_for, row.made_by, row.created_at, row.expires_at)  # type: ignore[arg-type]
        for row in _open(session, actor.studio_id, now)
    ]


def revoke(session: Session, actor: Actor, uid: str, now: datetime) -> None:
    """Take an invitation back; twice is the same as once. Raises ``NotFound`` and ``Forbidden``."""
    require(actor, "people")
    query = select(Invitation).where(
        col(Invitation.uid) == check_uid(uid), col(Invitation.studio_id) == actor.studio_id
    )
    row = session.scalars(query.with_for_update()).first()
    if row is None:
        raise NotFound
    if row.revoked_at is None:
        row.revoked_at = now
        about = _about(actor, row, "revoked")
        events.note(session, about, actor.name, f"Took back the invitation {_named(row)}", now)


def reopen(session: Session, actor: Actor, uid: str, now: datetime) -> None:
    """Let a link open again that was taken back; whoever has it can use it. Raises ``NotFound`` where it was not, was
    used or has expired, and ``Forbidden``."""
    require(actor, "people")
    query = select(Invitation).where(
        col(Invitation.uid) == check_uid(uid), col(Invitation.studio_id) == actor.studio_id
    )
    row = session.scalars(query.with_for_update()).first()
    if row is None or row.revoked_at is None or row.used_at is not None or now >= row.expires_at:
        raise NotFound
    row.revoked_at = None
    label = f"Let the invitation {_named(row)} open again"
    events.note(session, _about(actor, row, "invited"), actor.name, label, now)


def offer(session: Session, token: str, now: datetime) -> Offer:
    """What a link offers. Raises ``NotFound`` alike for one unknown, used, revoked or expired."""
    row = _usable(session, token, now)
    studio = session.get_one(Studio, row.studio_id)
    role: Role = row.role  # type: ignore[assignment]
    return Offer(studio.name, role, row.made_by, row.expires_at)


def accept(session: Session, who: Identity, token: str, now: datetime) -> None:
    """Let a signed-in person into the studio, and go on there. Raises ``NotFound``.

    Somebody who belongs to it already keeps their role, and the link its use.
    """
    row = _usable(session, token, now)
    _let_in(session, row, session.get_one(Person, who.person_id), now)
    sessions.choose(session, who, session.get_one(Studio, row.studio_id).uid)


@dataclass(frozen=True, slots=True)
class Newcomer:
    """Somebody without an account, who has chosen a password."""

    account: AccountCreate
    password_hash: str


def accept_as_new(session: Session, newcomer: Newcomer, token: str, browser: Browser, now: datetime) -> Opened:
    """Make an account, let it in, and sign it in. Raises ``NotFound`` and ``Invalid``."""
    row = _usable(session, token, now)
    person = account.make(session, newcomer.account, newcomer.password_hash, now)
    _let_in(session, row, person, now)
    return sessions.begin(session, person, browser, now, row.studio_id)


def _let_in(session: Session, row: Invitation, person: Person, now: datetime) -> None:
    role: Role = row.role  # type: ignore[assignment]
    if members.join(session, person, row.studio_id, role, now):
        row.used_at = now
        session.flush()


def _usable(session: Session, token: str, now: datetime) -> Invitation:
    query = select(Invitation).where(col(Invitation.token_hash) == hash_of(token))
    if not session.info.get(READ_ONLY):
        query = query.with_for_update().execution_options(populate_existing=True)
    row = session.scalars(query).first()
    if row is None or row.used_at is not None or row.revoked_at is not None or now >= row.expires_at:
        raise NotFound
    return row


def _open(session: Session, studio_id: int, now: datetime) -> Sequence[Invitation]:
    query = select(Invitation).where(
        col(Invitation.studio_id) == studio_id,
        col(Invitation.used_at).is_(None),
        col(Invitation.revoked_at).is_(None),
        col(Invitation.expires_at) > now,
    )
    return session.scalars(query.order_by(col(Invitation.id).desc())).all()


def _of_key(session: Session, studio_id: int, key: str | None) -> Invitation | None:
    if key is None:
        return None
    query = select(Invitation).where(col(Invitation.studio_id) == studio_id, col(Invitation.made_by_key) == key)
    return session.scalars(query.with_for_update()).first()


def _about(actor: Actor, row: Invitation, what: str) -> About:
    return About(actor.studio_id, None, what, row.uid, None, row.role)


def _named(row: Invitation) -> str:
    return f"for {row.meant_for}" if row.meant_for else f"as {row.role}"
