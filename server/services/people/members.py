"""Who belongs to a studio, with which role; a studio never loses its last owner."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlmodel import Session, col

from server.services import studios
from server.services.access import Actor, require
from server.services.errors import Forbidden, NotFound, Refused
from server.services.fields import Command, Text120
from server.services.people import events, sessions
from server.services.people.events import About
from server.services.people.sessions import Identity
from server.services.records import check_uid
from server.services.roles import ROLE_WORDS
from server.store.tables import ApiToken, Membership, OwnFeed, Person, Role, SignIn, Studio

LAST_OWNER = "This is the studio's only owner. Make somebody else an owner first."


class RoleUpdate(Command):
    role: Role


class StudioCreate(Command):
    """A studio more in this install; its clock is the one of the studio that it is made from."""

    name: Text120


@dataclass(frozen=True, slots=True)
class Member:
    """Somebody of the studio. ``uid`` is of the membership: a person has another one in each studio."""

    uid: str
    name: str
    email: str
    role: Role
    since: datetime
    is_me: bool
    is_only_owner: bool


@dataclass(frozen=True, slots=True)
class OwnStudio:
    """A studio that a person belongs to."""

    uid: str
    name: str
    role: Role
    is_chosen: bool


def all_members(session: Session, actor: Actor, who: Identity) -> list[Member]:
    """The studio's members by name. Raises ``Forbidden``."""
    require(actor, "people")
    query = (
        select(Membership, Person)
        .join(Person, col(Person.id) == col(Membership.person_id))
        .where(col(Membership.studio_id) == actor.studio_id, col(Membership.ended_at).is_(None))
        .order_by(col(Person.name), col(Person.id))
    )
    rows = session.execute(query).all()
    owners = sum(membership.role == "owner" for membership, _ in rows)
    return [
        Member(
            uid=membership.uid,
            name=person.name,
            email=person.email,
            role=membership.role,
            since=membership.since,
            is_me=person.id == who.person_id,
            is_only_owner=membership.role == "owner" and owners == 1,
        )
        for membership, person in rows
    ]


def set_role(session: Session, actor: Actor, uid: str, command: RoleUpdate, now: datetime) -> str:
    """Give a member another role; answers their name. Raises ``NotFound``, ``Forbidden``, ``Refused``."""
    membership, person = _locked(session, actor, uid)
    if membership.role == command.role:
        return person.name
    if membership.role == "owner":
        _refuse_last_owner(session, membership)
    before, membership.role = membership.role, command.role
    session.flush()
    label = f"{person.name} is now {ROLE_WORDS[command.role].lower()}"
    about = About(actor.studio_id, person.id, "role", membership.uid, before, command.role)
    events.note(session, about, actor.name, label, now)
    return person.name


def role_of(session: Session, actor: Actor, uid: str) -> Role:
    """A member's role. Raises ``NotFound``, ``Forbidden``."""
    role: Role = _locked(session, actor, uid)[0].role  # type: ignore[assignment]
    return role


def bring_back(session: Session, actor: Actor, uid: str, command: RoleUpdate, now: datetime) -> None:
    """Open a membership again that was ended. Raises ``NotFound`` where it was not, ``Forbidden``."""
    require(actor, "people")
    query = select(Membership).where(
        col(Membership.uid) == check_uid(uid),
        col(Membership.studio_id) == actor.studio_id,
        col(Membership.ended_at).is_not(None),
    )
    membership = session.scalars(query.with_for_update()).first()
    if membership is None:
        raise NotFound
    membership.role, membership.ended_at = command.role, None
    person = session.get_one(Person, membership.person_id)
    about = About(actor.studio_id, person.id, "joined", membership.uid, None, command.role)
    events.note(session, about, actor.name, f"Took {person.name} back into the studio", now)


def remove(session: Session, actor: Actor, uid: str, now: datetime) -> str:
    """Take somebody out of the studio; what they did stays under their name. Answers the name.

    Their sessions stay, without this studio. Raises ``NotFound``, ``Forbidden``, ``Refused``.
    """
    membership, person = _locked(session, actor, uid)
    if membership.role == "owner":
        _refuse_last_owner(session, membership)
    membership.ended_at = now
    here = select(SignIn).where(col(SignIn.person_id) == person.id, col(SignIn.studio_id) == actor.studio_id)
    for sign_in in session.scalars(here):
        sign_in.studio_id = None
    session.flush()
    about = About(actor.studio_id, person.id, "removed", membership.uid, membership.role)
    events.note(session, about, actor.name, f"Took {person.name} out of the studio", now)
    return person.name


def join(session: Session, person: Person, studio_id: int, role: Role, now: datetime) -> bool:
    """Make somebody a member, or open a membership that had ended. False for one who is a member already.

    What opened the studio for them before it ended (tokens for programs, calendars of their own) stays shut.
    """
    query = select(Membership).where(col(Membership.person_id) == person.id, col(Membership.studio_id) == studio_id)
    membership = session.scalars(query.with_for_update()).first()
    if membership is not None and membership.ended_at is None:
        return False
    if membership is None:
        assert person.id is not None
        membership = Membership(person_id=person.id, studio_id=studio_id, role=role, since=now)
        session.add(membership)
    else:
        membership.role, membership.since, membership.ended_at = role, now, None
        _shut_what_opened(session, membership, now)
    session.flush()
    label = f"{person.name} came in as {ROLE_WORDS[role].lower()}"
    about = About(studio_id, person.id, "joined", membership.uid, None, role)
    events.note(session, about, person.name, label, now)
    return True


def _shut_what_opened(session: Session, membership: Membership, now: datetime) -> None:
    for kind in (ApiToken, OwnFeed):
        of_person = col(kind.person_id) == membership.person_id, col(kind.studio_id) == membership.studio_id
        for row in session.scalars(select(kind).where(*of_person, col(kind.revoked_at).is_(None))):
            row.revoked_at = now


def studios_of(session: Session, who: Identity) -> list[OwnStudio]:
    """The studios a person belongs to, by name."""
    query = (
        select(Studio, Membership)
        .join(Membership, col(Membership.studio_id) == col(Studio.id))
        .where(col(Membership.person_id) == who.person_id, col(Membership.ended_at).is_(None))
        .order_by(col(Studio.name), col(Studio.id))
    )
    chosen = who.studio.id if who.studio else None
    return [
        OwnStudio(studio.uid, studio.name, membership.role, studio.id == chosen)
        for studio, membership in session.execute(query)
    ]


def found_studio(session: Session, who: Identity, command: StudioCreate, now: datetime) -> Studio:
    """One studio more, owned by ``who``, who goes on in it. Raises ``Forbidden`` for one who owns none here."""
    if not any(own.role == "owner" for own in studios_of(session, who)):
        raise Forbidden("Only somebody who owns a studio here may set up another.")
    zone = who.studio.time_zone if who.studio else studios.FIRST_TIME_ZONE
    studio = studios.make(session, command.name, zone)
    person = session.get_one(Person, who.person_id)
    assert studio.id is not None
    join(session, person, studio.id, "owner", now)
    sessions.choose(session, who, studio.uid)
    return studio


def _locked(session: Session, actor: Actor, uid: str) -> tuple[Membership, Person]:
    require(actor, "people")
    query = select(Membership).where(
        col(Membership.uid) == check_uid(uid),
        col(Membership.studio_id) == actor.studio_id,
        col(Membership.ended_at).is_(None),
    )
    membership = session.scalars(query).first()
    if membership is None:
        raise NotFound
    # All owners at once, in one order: two who demote each other at the same moment must not both succeed.
    _owners(session, actor.studio_id)
    session.refresh(membership, with_for_update=True)
    if membership.ended_at is not None:
        raise NotFound
    return membership, session.get_one(Person, membership.person_id)


def _owners(session: Session, studio_id: int) -> Sequence[Membership]:
    query = select(Membership).where(
        col(Membership.studio_id) == studio_id,
        col(Membership.role) == "owner",
        col(Membership.ended_at).is_(None),
    )
    locked = query.order_by(col(Membership.id)).with_for_update().execution_options(populate_existing=True)
    return session.scalars(locked).all()


def _refuse_last_owner(session: Session, membership: Membership) -> None:
    if len(_owners(session, membership.studio_id)) == 1:
        raise Refused(LAST_OWNER)
