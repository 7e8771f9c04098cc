"""How much a studio holds, for the page on which it is taken along."""

from dataclasses import dataclass

from sqlalchemy import func, select
from sqlmodel import Session, col

from server.services.access import Actor, allow
from server.store.tables import ChangeSet, Layer, Mix, Paint, Panel, StudioRecord, TouchTest


@dataclass(frozen=True, slots=True)
class Holdings:
    """Numbers of records, put away ones included. ``changes`` are entries of the history."""

    panels: int
    layers: int
    tests: int
    paints: int
    mixes: int
    changes: int


def count(session: Session, actor: Actor) -> Holdings:
    """What the actor's studio holds."""
    allow(actor, "read", None)

    kinds: tuple[type[StudioRecord] | type[ChangeSet], ...] = (Panel, Layer, TouchTest, Paint, Mix, ChangeSet)
    numbers = []
    for kind in kinds:
        query = select(func.count()).select_from(kind).where(col(kind.studio_id) == actor.studio_id)
        numbers.append(session.execute(query).scalar_one())
    return Holdings(*numbers)
