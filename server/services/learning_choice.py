"""A studio's choice about learning: learn, stop learning more, show the book's dates, begin anew."""

from datetime import datetime

from sqlalchemy import select
from sqlmodel import Session, col

from server.services import records
from server.services.access import Actor, allow
from server.services.fields import Command
from server.services.unit import moment
from server.store.tables import LearningChoice, LearningMode


class ChoiceUpdate(Command):
    """``on``: every test teaches; ``frozen``: what is known stays; ``off``: dates are the book's."""

    mode: LearningMode


def get(session: Session, actor: Actor) -> LearningChoice:
    """The studio's choice as it stands; one that was never made is the usual one, and is not stored."""
    found = _stored(session, actor)
    if found is None or found.archived_at is not None:
        return LearningChoice(studio_id=actor.studio_id)
    return found


def choose(session: Session, actor: Actor, command: ChoiceUpdate, now: datetime | None = None) -> LearningChoice:
    """Choose a mode."""
    choice = _to_change(session, actor)
    values = {"mode": command.mode, "frozen_at": (now or moment(session)) if command.mode == "frozen" else None}
    records.change(choice, values)
    session.flush()
    return choice


def begin_anew(session: Session, actor: Actor, now: datetime | None = None) -> LearningChoice:
    """Forget what was learned: only tests pressed from now on teach. The tests themselves stay."""
    choice = _to_change(session, actor)
    records.change(choice, {"since_at": now or moment(session)})
    session.flush()
    return choice


def count_all_again(session: Session, actor: Actor) -> LearningChoice:
    """Let all tests teach again, those from before learning was begun anew as well."""
    choice = _to_change(session, actor)
    records.change(choice, {"since_at": None})
    session.flush()
    return choice


def version(session: Session, actor: Actor, lock: bool = False) -> int:
    """How often the choice was made, 0 before the first; with ``lock`` nobody changes it until the transaction ends."""
    allow(actor, "hold" if lock else "read", None)
    found = _stored(session, actor, lock)
    return 0 if found is None else found.version


def _stored(session: Session, actor: Actor, lock: bool = False) -> LearningChoice | None:
    query = select(LearningChoice).where(col(LearningChoice.studio_id) == actor.studio_id)
    if lock:
        query = query.with_for_update().execution_options(populate_existing=True)
    return session.scalars(query).first()


def _to_change(session: Session, actor: Actor) -> LearningChoice:
    allow(actor, "update", None, LearningChoice)
    choice = _stored(session, actor, lock=True)
    if choice is None:
        choice = LearningChoice(studio_id=actor.studio_id)
        session.add(choice)
        session.flush()
    elif choice.archived_at is not None:
        # A choice that was taken back is put away: what is chosen now begins from the usual.
        records.change(choice, {"archived_at": None, "mode": "on", "frozen_at": None, "since_at": None})
    return choice
