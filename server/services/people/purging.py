"""Taking a person away for ever who left: their account, everything that opened a door to them, and their name.

Threats: somebody who still works in another studio of the install loses their account there (refused while they belong
to any), a studio that nobody could administer any more (its last owner cannot leave it, and so cannot be purged), and a
name that stays behind in an old image (``forgetting`` goes through what the program itself wrote). What they did stays
in the history, under a neutral name. What painters wrote of somebody in titles and notes cannot be told apart: it
stays.
"""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, select
from sqlmodel import Session, col

from server.services.access import Actor, require
from server.services.errors import Invalid, NotFound, Refused
from server.services.images import sql_table
from server.services.people import events, forgetting, one_time_codes
from server.services.people.events import About
from server.services.people.forgetting import Gone
from server.services.people.throttle import of_account
from server.services.people.tokens import hash_of
from server.services.records import check_uid
from server.services.unit import leave_tombstone, moment
from server.store.tables import (
    ApiToken,
    ChangeSet,
    ConsoleCode,
    Membership,
    OwnFeed,
    Person,
    RecoveryCode,
    SignIn,
    SignInTry,
    Studio,
    Table,
    WorkTime,
)

PURGED = "Purged a person who left"
ELSEWHERE = "The owner of another studio"  # who did it, as the history of a studio is told that it was not done from
# What goes with a person, row by row; what only names them is left without the name.
OF_A_PERSON: tuple[type[Table], ...] = (SignIn, ApiToken, RecoveryCode, ConsoleCode, OwnFeed, Membership)


@dataclass(frozen=True, slots=True)
class Left:
    """Somebody who was taken out of the studio, or left it. ``uid`` is of the membership."""

    uid: str
    name: str
    ended_at: datetime


@dataclass(frozen=True, slots=True)
class Purgeable:
    """What would go: a person, and their name from ``entries`` of the history. ``hangs`` says in sentences what stands
    against it."""

    uid: str
    name: str
    entries: int
    hangs: tuple[str, ...]


def all_left(session: Session, actor: Actor) -> list[Left]:
    """Who left the studio, the last one first. Raises ``Forbidden``."""
    require(actor, "people")
    query = (
        select(Membership, Person)
        .join(Person, col(Person.id) == col(Membership.person_id))
        .where(col(Membership.studio_id) == actor.studio_id, col(Membership.ended_at).is_not(None))
        .order_by(col(Membership.ended_at).desc(), col(Membership.id).desc())
    )
    return [Left(membership.uid, person.name, membership.ended_at) for membership, person in session.execute(query)]


def look(session: Session, actor: Actor, uid: str) -> Purgeable:
    """What purging somebody would take away. Raises ``NotFound``, ``Forbidden``."""
    person = _who_left(session, actor, uid)
    gone = _gone(session, person)
    entries = len(forgetting.sets_of(session.connection(), gone))
    return Purgeable(uid, person.name, entries, _hangs(session, gone))


def purge(session: Session, actor: Actor, uid: str, typed_name: str) -> None:
    """Take somebody out of the database. Needs a unit of work.

    Raises ``NotFound``, ``Forbidden``, ``Refused``, and ``Invalid`` at ``name`` for another name.
    """
    person = one_time_codes.locked(session, _who_left(session, actor, uid).id or 0)
    gone = _gone(session, person)
    if typed_name.strip() != person.name:
        raise Invalid.at("name", f"This is not their name. To purge them, write: {person.name}")
    hangs = _hangs(session, gone)
    if hangs:
        raise Refused(" ".join(hangs))
    email = person.email
    session.expunge(person)  # what was read of them is not what is there any more
    connection = session.connection()
    forgetting.forget(connection, gone)
    for kind in OF_A_PERSON:
        table = sql_table(kind)
        connection.execute(delete(table).where(table.c.person_id == gone.person_id))
    tries = sql_table(SignInTry)
    connection.execute(delete(tries).where(tries.c.key_hash == hash_of(of_account(email).key)))
    persons = sql_table(Person)
    connection.execute(delete(persons).where(persons.c.id == gone.person_id))
    leave_tombstone(session, persons.name, gone.person_id)
    _tell_other_studios(session, actor, gone)
    events.note(session, About(actor.studio_id), actor.name, PURGED, moment(session))


def _who_left(session: Session, actor: Actor, uid: str) -> Person:
    require(actor, "purge")
    query = (
        select(Person)
        .join(Membership, col(Membership.person_id) == col(Person.id))
        .where(
            col(Membership.uid) == check_uid(uid),
            col(Membership.studio_id) == actor.studio_id,
            col(Membership.ended_at).is_not(None),
        )
    )
    found = session.scalars(query).first()
    if found is None:
        raise NotFound
    return found


def _gone(session: Session, person: Person) -> Gone:
    """The person, with where they were, and the names that nobody else there has."""
    assert person.id is not None
    own = select(col(Membership.uid), col(Membership.studio_id)).where(col(Membership.person_id) == person.id)
    belonged = session.execute(own).all()
    studios = frozenset(row.studio_id for row in belonged)
    others = (
        select(col(Person.name))
        .join(Membership, col(Membership.person_id) == col(Person.id))
        .where(col(Membership.studio_id).in_(studios), col(Person.id) != person.id)
    )
    names = forgetting.names_of(session.connection(), person.id, person.name)
    return Gone(
        person_id=person.id,
        studio_ids=studios,
        memberships=frozenset(row.uid for row in belonged),
        names=names,
        own_names=names - frozenset(session.scalars(others)),
    )


def _hangs(session: Session, gone: Gone) -> tuple[str, ...]:
    """What stands against it, in sentences; of other studios no more than that there is one."""
    belongs = session.scalars(
        select(Membership).where(col(Membership.person_id) == gone.person_id, col(Membership.ended_at).is_(None))
    ).all()
    told = []
    if any(_is_only_owner(session, each) for each in belongs):
        told.append("They are the only owner of another studio here. Somebody else has to own it before they can go.")
    elif belongs:
        told.append("They still belong to another studio here. They can be purged once they have left that as well.")
    works = select(col(WorkTime.id)).where(
        col(WorkTime.studio_id).in_(gone.studio_ids),
        col(WorkTime.painter).in_(gone.own_names),
        col(WorkTime.archived_at).is_(None),
    )
    if session.scalars(works.limit(1)).first() is not None:
        told.append("Their working hours still stand, and plans count on them. Take those away first.")
    return tuple(told)


def _is_only_owner(session: Session, membership: Membership) -> bool:
    query = select(col(Membership.id)).where(
        col(Membership.studio_id) == membership.studio_id,
        col(Membership.role) == "owner",
        col(Membership.ended_at).is_(None),
    )
    return membership.role == "owner" and len(session.scalars(query).all()) == 1


def _tell_other_studios(session: Session, actor: Actor, gone: Gone) -> None:
    """Their history lost a name too: an entry says so, which also ends what is kept of it in memory."""
    now = moment(session)
    for studio_id in sorted(gone.studio_ids - {actor.studio_id}):
        if session.get(Studio, studio_id) is None:
            continue
        entry = ChangeSet(studio_id=studio_id, actor=ELSEWHERE, label=PURGED, at=now)
        session.add(entry)
        session.flush()
        leave_tombstone(session, "person", gone.person_id, entry)
        events.note(session, About(studio_id), ELSEWHERE, PURGED, now)
