"""Codes for whoever runs the server, told on its console: for the first owner, and for a forgotten password.

Threat: a fresh install on a network, taken over by whoever opens it first. The first account needs a code that only the
console shows; it is good once, for an hour, and a new start makes another.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlmodel import Session, col

from server.services.errors import Invalid, NotFound
from server.services.people import account, events, members, one_time_codes, passwords, sessions
from server.services.people.account import AccountCreate
from server.services.people.events import About
from server.services.people.sessions import Browser, Opened
from server.services.people.signing_in import find_by_email
from server.services.people.tokens import hash_of_code, new_code
from server.store.db import READ_ONLY, Database
from server.store.tables import CodeKind, ConsoleCode, Membership, Studio

VALID = timedelta(hours=1)
WRONG_CODE = "This is not the code on the console, or it is older than an hour. Start the server again for a new one."


@dataclass(frozen=True, slots=True)
class NewPassword:
    """A password that was chosen, and the hash to keep of it."""

    password: str
    password_hash: str


def has_owner(session: Session) -> bool:
    """Whether anybody owns a studio of this install."""
    query = select(col(Membership.id)).where(col(Membership.role) == "owner", col(Membership.ended_at).is_(None))
    return session.scalars(query.limit(1)).first() is not None


def first_owner_code(db: Database, now: datetime) -> str | None:
    """A new code for the first owner, in the place of earlier ones; None once there is one."""
    with db.write() as session:
        if has_owner(session):
            return None
        return _new_code(session, "first_owner", None, now)


def become_first_owner(
    session: Session, code: str, command: AccountCreate, chosen: NewPassword, coming: tuple[Browser, datetime]
) -> Opened:
    """Make the first account and give it every studio there is; ``coming``: with which browser, and when.

    Raises ``NotFound`` once there is an owner, ``Invalid`` at ``code``, ``email`` or ``password``.
    """
    browser, now = coming
    if has_owner(session):
        raise NotFound
    row = _usable(session, code, "first_owner", now)
    studios = session.scalars(select(Studio).order_by(col(Studio.id))).all()
    passwords.check_new(chosen.password, (command.name, command.email, *(studio.name for studio in studios)))
    row.used_at = now
    person = account.make(session, command, chosen.password_hash, now)
    for studio in studios:
        members.join(session, person, studio.id or 0, "owner", now)
    return sessions.begin(session, person, browser, now, studios[0].id)


def password_code(db: Database, email: str, now: datetime) -> str | None:
    """A code with which the person of this e-mail can choose a new password; None when there is no such person."""
    with db.write() as session:
        person = find_by_email(session, email)
        return None if person is None else _new_code(session, "new_password", person.id, now)


def check_code(session: Session, code: str, kind: CodeKind, now: datetime) -> None:
    """Look whether a code would do, before a hash is worked out for whoever asks. Raises ``Invalid`` at ``code``."""
    _usable(session, code, kind, now)


def set_forgotten_password(session: Session, code: str, chosen: NewPassword, now: datetime) -> None:
    """Take a new password by the console's code: every session ends, and one-time codes with the lost device.

    Raises ``Invalid`` at ``code`` or ``password``.
    """
    row = _usable(session, code, "new_password", now)
    assert row.person_id is not None
    person = one_time_codes.locked(session, row.person_id)
    passwords.check_new(chosen.password, (person.name, person.email))
    row.used_at = now
    person.password_hash, person.password_set_at = chosen.password_hash, now
    person.code_seed = person.codes_since = None
    sessions.end_all(session, row.person_id, now)
    events.note(session, About(person_id=person.id), "the console", "Set a new password by a code of the console", now)


def _new_code(session: Session, kind: str, person_id: int | None, now: datetime) -> str:
    earlier = select(ConsoleCode).where(
        col(ConsoleCode.kind) == kind, col(ConsoleCode.person_id).is_not_distinct_from(person_id)
    )
    for row in session.scalars(earlier.where(col(ConsoleCode.used_at).is_(None))):
        row.expires_at = min(row.expires_at, now)
    code = new_code()
    expires_at = now + VALID
    session.add(
        ConsoleCode(code_hash=hash_of_code(code), kind=kind, person_id=person_id, created_at=now, expires_at=expires_at)
    )
    session.flush()
    return code


def _usable(session: Session, code: str, kind: str, now: datetime) -> ConsoleCode:
    query = select(ConsoleCode).where(col(ConsoleCode.code_hash) == hash_of_code(code), col(ConsoleCode.kind) == kind)
    if not session.info.get(READ_ONLY):
        query = query.with_for_update().execution_options(populate_existing=True)
    row = session.scalars(query).first()
    if row is None or row.used_at is not None or now >= row.expires_at:
        raise Invalid.at("code", WRONG_CODE)
    return row
