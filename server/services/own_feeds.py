"""A painter's own calendar: their sittings, and the tests and days of the panels that concern them.

Anybody who may look at the studio makes one for themselves; it tells them nothing that its pages do not. Threats: a
token read out of the database (only its hash is kept), one that outlives its use (each is listed with its last use and
revoked by one button), and one that outlives its person's time in the studio (it opens nothing from then on).
"""

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import and_, func, or_, select
from sqlmodel import Session, col

from server.services.access import Actor, require
from server.services.errors import NotFound, Refused
from server.services.fields import Command, Text120
from server.services.people.api_tokens import Label
from server.services.people.tokens import hash_of, new_token
from server.services.records import check_uid
from server.store.tables import Membership, OwnFeed, Studio, WorkTime

PREFIX = "umo_"  # tells an own calendar from a link's, by its address alone
PAINTER = func.coalesce(col(WorkTime.painter), col(OwnFeed.painter))  # as they are called now
MOST_OPEN = 20  # of one person in one studio


class OwnFeedCreate(Command):
    """``painter``: whose days, as the working hours name them; ``label``: for which device or program."""

    label: Label
    painter: Text120


@dataclass(frozen=True, slots=True)
class Made:
    """``token`` is told this once."""

    uid: str
    token: str
    label: str
    painter: str


@dataclass(frozen=True, slots=True)
class OwnFeedFacts:
    """A calendar as it is listed; ``last_used_on`` is no finer than the day."""

    uid: str
    label: str
    painter: str
    created_at: datetime
    last_used_on: date | None


@dataclass(frozen=True, slots=True)
class Whose:
    """Who asks: the actor, and the person, None on a single-user install."""

    actor: Actor
    person_id: int | None


def make(session: Session, who: Whose, command: OwnFeedCreate, key: str | None, now: datetime) -> Made:
    """A calendar with its token. The same sending again (``key``) tells another token in the place of the first.

    Raises ``Forbidden``, and ``Refused`` where there are too many, or the first sending's was revoked.
    """
    require(who.actor, "look")
    row = _of_key(session, who, key)
    if row is not None and row.revoked_at is not None:
        raise Refused("This calendar was revoked already. Make another one.")
    if row is None and len(_open(session, who)) >= MOST_OPEN:
        raise Refused(f"You have {MOST_OPEN} calendars of your own here. Revoke those that are not needed.")
    token = PREFIX + new_token()
    if row is None:
        row = OwnFeed(
            token_hash=hash_of(token),
            studio_id=who.actor.studio_id,
            person_id=who.person_id,
            painter=command.painter,
            work_time_id=_line_of(session, who.actor.studio_id, command.painter),
            label=command.label,
            made_by_key=key,
            created_at=now,
        )
    row.token_hash = hash_of(token)
    session.add(row)
    session.flush()
    return Made(row.uid, token, row.label, command.painter)


def all_open(session: Session, who: Whose) -> list[OwnFeedFacts]:
    """The person's own calendars in this studio, the newest first. Raises ``Forbidden``."""
    require(who.actor, "look")
    return [
        OwnFeedFacts(row.uid, row.label, painter, row.created_at, row.last_used_on)
        for row, painter in _open(session, who)
    ]


def revoke(session: Session, who: Whose, uid: str, now: datetime) -> None:
    """Make a calendar's address good for nothing; twice is the same as once. Raises ``NotFound``, ``Forbidden``."""
    require(who.actor, "look")
    query = select(OwnFeed).where(col(OwnFeed.uid) == check_uid(uid), _is_of(who))
    row = session.scalars(query.with_for_update()).first()
    if row is None:
        raise NotFound
    row.revoked_at = row.revoked_at or now
    session.flush()


def find_open(session: Session, token: str) -> tuple[OwnFeed, str, Studio] | None:
    """The calendar that a token opens, with its painter and studio, in one query; None for a token that is unknown or
    revoked, and for one whose person left the studio."""
    belongs = and_(
        col(Membership.person_id) == col(OwnFeed.person_id),
        col(Membership.studio_id) == col(OwnFeed.studio_id),
        col(Membership.ended_at).is_(None),
    )
    query = (
        select(OwnFeed, PAINTER, Studio)
        .join(Studio, col(Studio.id) == col(OwnFeed.studio_id))
        .join(Membership, belongs, isouter=True)
        .join(WorkTime, col(WorkTime.id) == col(OwnFeed.work_time_id), isouter=True)
        .where(
            col(OwnFeed.token_hash) == hash_of(token),
            col(OwnFeed.revoked_at).is_(None),
            or_(col(OwnFeed.person_id).is_(None), col(Membership.id).is_not(None)),
        )
    )
    found = session.execute(query).first()
    return None if found is None else (found[0], found[1], found[2])


def hold_on_to(session: Session, line: WorkTime) -> None:
    """Let calendars that know their painter by name alone know them by this line of hours, which keeps its painter
    whatever they are called."""
    query = select(OwnFeed).where(
        col(OwnFeed.studio_id) == line.studio_id,
        col(OwnFeed.painter) == line.painter,
        col(OwnFeed.work_time_id).is_(None),
    )
    for row in session.scalars(query):
        row.work_time_id = line.id
    session.flush()


def _line_of(session: Session, studio_id: int, painter: str) -> int | None:
    """The newest line of hours of a painter, put away or not."""
    query = select(col(WorkTime.id)).where(col(WorkTime.studio_id) == studio_id, col(WorkTime.painter) == painter)
    return session.scalars(query.order_by(col(WorkTime.id).desc()).limit(1)).first()


def _is_of(who: Whose):  # type: ignore[no-untyped-def]
    person = col(OwnFeed.person_id).is_(None) if who.person_id is None else col(OwnFeed.person_id) == who.person_id
    return and_(col(OwnFeed.studio_id) == who.actor.studio_id, person)


def _open(session: Session, who: Whose) -> list[tuple[OwnFeed, str]]:
    """Each with what its painter is called now."""
    query = (
        select(OwnFeed, PAINTER)
        .join(WorkTime, col(WorkTime.id) == col(OwnFeed.work_time_id), isouter=True)
        .where(_is_of(who), col(OwnFeed.revoked_at).is_(None))
    )
    return [(row, painter) for row, painter in session.execute(query.order_by(col(OwnFeed.id).desc()))]


def _of_key(session: Session, who: Whose, key: str | None) -> OwnFeed | None:
    if key is None:
        return None
    query = select(OwnFeed).where(_is_of(who), col(OwnFeed.made_by_key) == key)
    return session.scalars(query.with_for_update()).first()
