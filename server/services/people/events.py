"""What happened to people, append-only: told to owners on the people page, and to each person on their own."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlmodel import Session, col

from server.store.tables import PeopleEvent

SHOWN = 30


@dataclass(frozen=True, slots=True)
class Happened:
    """``actor`` did what ``label`` says."""

    at: datetime
    actor: str
    label: str


@dataclass(frozen=True, slots=True)
class About:
    """Whom an event is told to: the owners of a studio, a person, or both."""

    studio_id: int | None = None
    person_id: int | None = None


def note(session: Session, about: About, actor: str, label: str, now: datetime) -> None:
    session.add(
        PeopleEvent(studio_id=about.studio_id, person_id=about.person_id, at=now, actor=actor[:120], label=label[:300])
    )
    session.flush()


def of_studio(session: Session, studio_id: int) -> list[Happened]:
    """The last events of a studio, newest first."""
    return _told(session, col(PeopleEvent.studio_id) == studio_id)


def of_person(session: Session, person_id: int) -> list[Happened]:
    """The last events of a person's own account, newest first."""
    return _told(session, (col(PeopleEvent.person_id) == person_id) & col(PeopleEvent.studio_id).is_(None))


def _told(session: Session, which: object) -> list[Happened]:
    query = select(PeopleEvent).where(which).order_by(col(PeopleEvent.id).desc()).limit(SHOWN)  # type: ignore[arg-type]
    return [Happened(row.at, row.actor, row.label) for row in session.scalars(query)]
