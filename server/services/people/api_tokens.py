"""Tokens for programs: one acts for its person in one studio, with a role of its own that is never more than theirs.

Threats: a token read out of the database or the log (only its hash is kept, the log leaves headers out), one that
outlives its use (an end may be set, every token is listed with its last use and can be revoked), and one that can do
more than it needs (its role; and it opens no page, only the interfaces).
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated, Literal

from pydantic import AfterValidator, StringConstraints
from sqlalchemy import and_, select, update
from sqlmodel import Session, col

from server.services.errors import NotFound, Refused
from server.services.fields import COMPOSED, Command, one_line
from server.services.people import events
from server.services.people.events import About
from server.services.people.sessions import ChosenStudio, Identity
from server.services.people.tokens import hash_of, new_token
from server.services.records import check_uid
from server.services.roles import ROLE_WORDS, ROLES
from server.store.db import Database
from server.store.tables import ApiToken, Membership, Person, Role, Studio

MOST_OPEN = 50  # of one person
USED_EVERY = timedelta(minutes=5)
PREFIX = "umd_"  # a token that lies about is known for what it is
Lasts = Literal["month", "year", "ever"]
_LASTS: dict[Lasts, timedelta | None] = {"month": timedelta(days=30), "year": timedelta(days=365), "ever": None}
Label = Annotated[str, StringConstraints(min_length=1, max_length=60), AfterValidator(one_line), COMPOSED]


class TokenCreate(Command):
    """``role``: the most that the program may do; ``lasts``: how long."""

    label: Label
    role: Role = "viewer"
    lasts: Lasts = "year"


@dataclass(frozen=True, slots=True)
class Made:
    """``token`` is told this once."""

    token: str
    label: str
    role: Role
    expires_at: datetime | None


@dataclass(frozen=True, slots=True)
class TokenFacts:
    """A token as it is listed."""

    uid: str
    label: str
    role: Role
    studio: str
    created_at: datetime
    used_at: datetime | None
    expires_at: datetime | None


def make(session: Session, who: Identity, command: TokenCreate, key: str | None, now: datetime) -> Made:
    """A new token in the chosen studio. The same sending again (``key``) makes another one in the place of the first.

    Raises ``NotFound`` in no studio, ``Refused`` for a role above the person's own and when there are too many.
    """
    studio = who.studio
    if studio is None:
        raise NotFound
    if _less(studio.role, command.role):
        raise Refused(f"You are {ROLE_WORDS[studio.role].lower()} here; a program of yours cannot be more.")
    row = _of_key(session, who.person_id, key)
    if row is not None and row.revoked_at is not None:
        raise Refused("This token was revoked already. Make another one.")
    if row is None and len(_open(session, who.person_id, now)) >= MOST_OPEN:
        raise Refused(f"You have {MOST_OPEN} tokens. Revoke those that are not needed.")
    lasts, token = _LASTS[command.lasts], PREFIX + new_token()
    if row is None:
        row = ApiToken(
            token_hash=hash_of(token),
            person_id=who.person_id,
            studio_id=studio.id,
            role=command.role,
            label=command.label,
            made_by_key=key,
            created_at=now,
        )
        _tell(session, who, studio.id, f"Made a token for programs: {command.label}", now)
    row.token_hash, row.created_at, row.expires_at = hash_of(token), now, now + lasts if lasts else None
    session.add(row)
    session.flush()
    return Made(token, command.label, command.role, row.expires_at)


def all_open(session: Session, who: Identity, now: datetime) -> list[TokenFacts]:
    """The person's tokens that work, in all their studios, the newest first."""
    rows = _open(session, who.person_id, now)
    query = select(col(Studio.id), col(Studio.name)).where(col(Studio.id).in_({row.studio_id for row in rows}))
    names = {found.id: found.name for found in session.execute(query)}
    return [
        TokenFacts(
            row.uid,
            row.label,
            row.role,  # type: ignore[arg-type]
            names[row.studio_id],
            row.created_at,
            row.used_at,
            row.expires_at,
        )
        for row in rows
    ]


def revoke(session: Session, who: Identity, uid: str, now: datetime) -> None:
    """Make a token good for nothing; twice is the same as once. Raises ``NotFound``."""
    query = select(ApiToken).where(col(ApiToken.uid) == check_uid(uid), col(ApiToken.person_id) == who.person_id)
    row = session.scalars(query.with_for_update()).first()
    if row is None:
        raise NotFound
    if row.revoked_at is None:
        row.revoked_at = now
        _tell(session, who, row.studio_id, f"Revoked a token for programs: {row.label}", now)
    session.flush()


@dataclass(frozen=True, slots=True)
class Program:
    """Who a token acts for. The name of ``identity`` tells the program beside the person."""

    token_id: int
    used_at: datetime | None
    identity: Identity


def program(session: Session, token: str, now: datetime) -> Program | None:
    """Who a token acts for; None when it is unknown, revoked, expired, or its person left the studio. One query."""
    if not token.startswith(PREFIX):
        return None
    belongs = and_(
        col(Membership.person_id) == col(ApiToken.person_id),
        col(Membership.studio_id) == col(ApiToken.studio_id),
        col(Membership.ended_at).is_(None),
    )
    query = (
        select(ApiToken, Person, Membership, Studio)
        .join(Person, col(Person.id) == col(ApiToken.person_id))
        .join(Membership, belongs)
        .join(Studio, col(Studio.id) == col(Membership.studio_id))
        .where(col(ApiToken.token_hash) == hash_of(token))
    )
    found = session.execute(query).first()
    if found is None or not _works(found[0], now):
        return None
    row, person, membership, studio = found
    role: Role = membership.role if _less(membership.role, row.role) else row.role
    chosen = ChosenStudio(
        studio.id, studio.uid, studio.name, studio.time_zone, studio.is_invented, role, membership.uid
    )
    name = f"{person.name[:56]} ({row.label})"
    return Program(row.id, row.used_at, Identity(0, person.id, person.uid, name, person.email, now, chosen))


def note_used(db: Database, found: Program, now: datetime) -> None:
    """Keep when a token was last used, once in a few minutes, past what the history follows."""
    if found.used_at is not None and now - found.used_at < USED_EVERY:
        return
    with db.write() as session:
        session.connection().execute(update(ApiToken).where(col(ApiToken.id) == found.token_id).values(used_at=now))


def _tell(session: Session, who: Identity, studio_id: int, label: str, now: datetime) -> None:
    events.note(session, About(studio_id, who.person_id), who.name, label, now)


def _less(one: str, other: str) -> bool:
    """Whether the first role may do less than the other."""
    order = [str(role) for role in ROLES]  # the owner first
    return order.index(one) > order.index(other)


def _works(row: ApiToken, now: datetime) -> bool:
    return row.revoked_at is None and (row.expires_at is None or now < row.expires_at)


def _open(session: Session, person_id: int, now: datetime) -> list[ApiToken]:
    query = select(ApiToken).where(col(ApiToken.person_id) == person_id, col(ApiToken.revoked_at).is_(None))
    rows = session.scalars(query.order_by(col(ApiToken.id).desc()))
    return [row for row in rows if _works(row, now)]


def _of_key(session: Session, person_id: int, key: str | None) -> ApiToken | None:
    if key is None:
        return None
    query = select(ApiToken).where(col(ApiToken.person_id) == person_id, col(ApiToken.made_by_key) == key)
    return session.scalars(query.with_for_update()).first()
