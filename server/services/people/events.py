"""What happened to people, append-only: told to owners on the people page, and to each person on their own."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlmodel import Session, col

from server.store.tables import PeopleEvent

SHOWN = 30
_UNDOES = "undoes_people_event"  # key in ``Session.info``


@dataclass(frozen=True, slots=True)
class Happened:
    """``actor`` did what ``label`` says. ``can_undo``: nothing was done to the same since, and it can be taken back."""

    at: datetime
    actor: str
    label: str
    uid: str = ""
    can_undo: bool = False


@dataclass(frozen=True, slots=True)
class About:
    """Whom an event is told to: the owners of a studio, a person, or both. What may be taken back says as well what
    was done (``what``) to the membership or invitation of ``subject_uid``, and what its role was and is."""

    studio_id: int | None = None
    person_id: int | None = None
    what: str | None = None
    subject_uid: str | None = None
    before: str | None = None
    after: str | None = None


def note(session: Session, about: About, actor: str, label: str, now: datetime) -> None:
    undoes_uid = session.info.get(_UNDOES)
    told = f"Undid: {label}" if undoes_uid else label
    session.add(
        PeopleEvent(
            studio_id=about.studio_id,
            person_id=about.person_id,
            at=now,
            actor=actor[:120],
            label=told[:300],
            what=about.what,
            subject_uid=about.subject_uid,
            before=about.before,
            after=about.after,
            undoes_uid=undoes_uid,
        )
    )
    session.flush()


@contextmanager
def undoing(session: Session, uid: str) -> Iterator[None]:
    """What is noted within takes back the event ``uid``."""
    session.info[_UNDOES] = uid
    try:
        yield
    finally:
        del session.info[_UNDOES]


def of_studio(session: Session, studio_id: int) -> list[Happened]:
    """The last events of a studio, newest first."""
    return _told(session, col(PeopleEvent.studio_id) == studio_id)


def of_person(session: Session, person_id: int) -> list[Happened]:
    """The last events of a person's own account, newest first."""
    return _told(session, (col(PeopleEvent.person_id) == person_id) & col(PeopleEvent.studio_id).is_(None))


def _told(session: Session, which: object) -> list[Happened]:
    query = select(PeopleEvent).where(which).order_by(col(PeopleEvent.id).desc()).limit(SHOWN)  # type: ignore[arg-type]
    found: list[Happened] = []
    later: set[str] = set()
    for row in session.scalars(query):
        can_undo = bool(row.uid and row.what and row.subject_uid) and row.subject_uid not in later
        later |= {row.subject_uid or ""}
        found.append(Happened(row.at, row.actor, row.label, row.uid or "", can_undo))
    return found
