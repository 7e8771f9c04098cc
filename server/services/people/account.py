"""A person's own account: how it is made, its name, its password."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from pydantic import AfterValidator, StringConstraints
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col

from server.services.errors import Invalid
from server.services.fields import COMPOSED, Command, Text120, one_line
from server.services.people import events, one_time_codes, passwords, sealing, sessions
from server.services.people.events import About
from server.services.people.sessions import Identity
from server.services.people.signing_in import as_name
from server.store.tables import Membership, Person, Studio

WRONG_PASSWORD = "This is not your password as it is now."  # noqa: S105


def _sign_in_name(text: str) -> str:
    name, at, host = as_name(text).partition("@")
    if not (at and name and host) or "@" in host or any(character.isspace() for character in text):
        raise ValueError("Write an e-mail address, such as ana@studio.example.")
    return as_name(text)


Email = Annotated[
    str,
    StringConstraints(min_length=3, max_length=254),
    AfterValidator(one_line),
    AfterValidator(_sign_in_name),
    COMPOSED,
]


class AccountCreate(Command):
    """Who somebody is; the password goes beside it, exactly as it was typed."""

    name: Text120
    email: Email


class NameUpdate(Command):
    name: Text120


@dataclass(frozen=True, slots=True)
class AccountFacts:
    """An account as its own page shows it."""

    name: str
    email: str
    codes_since: datetime | None
    waits_for_code: bool
    recovery_codes_left: int


def facts(session: Session, who: Identity) -> AccountFacts:
    person = session.get_one(Person, who.person_id)
    return AccountFacts(
        name=person.name,
        email=person.email,
        codes_since=person.codes_since,
        waits_for_code=person.codes_since is None and sealing.opened(session, person) is not None,
        recovery_codes_left=one_time_codes.recovery_codes_left(session, who.person_id),
    )


def make(session: Session, command: AccountCreate, password_hash: str, now: datetime) -> Person:
    """A new account. Raises ``Invalid`` at ``email`` when somebody has it."""
    person = Person(
        name=command.name, email=command.email, password_hash=password_hash, created_at=now, password_set_at=now
    )
    try:
        with session.begin_nested():
            session.add(person)
            session.flush()
    except IntegrityError:
        raise Invalid.at("email", "There is an account of this e-mail. Sign in, then open the link again.") from None
    return person


def rename(session: Session, who: Identity, command: NameUpdate) -> None:
    """What the history calls the person from now on; what it told before stays."""
    person = session.get_one(Person, who.person_id)
    if person.name != command.name:
        person.name = command.name
        session.flush()


def check_new_password(session: Session, who: Identity, password: str) -> None:
    """Raises ``Invalid`` at ``new_password`` unless the person may take it."""
    passwords.check_new(password, (who.name, who.email, *_studio_names(session, who.person_id)), "new_password")


def set_password(session: Session, who: Identity, password_hash: str, now: datetime) -> tuple[str, int]:
    """Take a new password: all other sessions end, and this one goes on under a new token.

    Answers that token, and how many sessions ended.
    """
    person = one_time_codes.locked(session, who.person_id)
    person.password_hash, person.password_set_at = password_hash, now
    ended = sessions.end_all(session, who.person_id, now, but_id=who.sign_in_id)
    events.note(session, About(person_id=person.id), person.name, "Changed the password", now)
    return sessions.renew(session, who.sign_in_id, now), ended


def _studio_names(session: Session, person_id: int) -> Iterable[str]:
    return session.scalars(
        select(col(Studio.name))
        .join(Membership, col(Membership.studio_id) == col(Studio.id))
        .where(col(Membership.person_id) == person_id)
    )
