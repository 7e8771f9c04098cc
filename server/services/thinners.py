"""Thinners on the shelf, under the painter's own labels."""

from typing import Annotated

from pydantic import AfterValidator, StringConstraints
from sqlmodel import Session

from server.science.errors import InputError
from server.science.reference import solvent
from server.services import records
from server.services.access import Actor, allow
from server.services.fields import Command, Notes, Text120, Version
from server.store.tables import Thinner


def known_solvent(name: str) -> str:
    """``name`` when the table has that thinner; raises ValueError in plain words."""
    try:
        return solvent(name).name
    except InputError:
        raise ValueError("Choose one of the list.") from None


Solvent = Annotated[str, StringConstraints(min_length=1, max_length=32), AfterValidator(known_solvent)]


class ThinnerCreate(Command):
    label: Text120
    solvent: Solvent
    notes: Notes = ""


class ThinnerUpdate(ThinnerCreate):
    version: Version


def create(session: Session, actor: Actor, command: ThinnerCreate) -> Thinner:
    """Put a thinner on the shelf."""
    allow(actor, "create", None, Thinner)
    thinner = Thinner(studio_id=actor.studio_id, **command.model_dump())
    session.add(thinner)
    session.flush()
    return thinner


def update(session: Session, actor: Actor, uid: str, command: ThinnerUpdate) -> Thinner:
    """Change a thinner. Raises ``NotFound``, ``Conflict``, ``Refused`` for an archived one."""
    thinner = records.find(session, actor, Thinner, uid, "update")
    records.refuse_archived(thinner, "this thinner")
    records.check_version(thinner, command, public(session, thinner), "this thinner")
    records.change(thinner, command.model_dump(exclude={"version"}))
    session.flush()
    return thinner


def public(session: Session, thinner: Thinner) -> ThinnerUpdate:
    """The thinner as the command that would leave it as it is: what an edit form starts from."""
    return ThinnerUpdate.model_construct(**{name: getattr(thinner, name) for name in ThinnerUpdate.model_fields})


def archive(session: Session, actor: Actor, uid: str) -> Thinner:
    return records.archive(session, actor, Thinner, uid)


def restore(session: Session, actor: Actor, uid: str) -> Thinner:
    return records.restore(session, actor, Thinner, uid)


def get(session: Session, actor: Actor, uid: str) -> Thinner:
    return records.find(session, actor, Thinner, uid)


def all_open(session: Session, actor: Actor) -> list[Thinner]:
    return records.find_all(session, actor, Thinner)


def all_archived(session: Session, actor: Actor) -> list[Thinner]:
    return records.find_all(session, actor, Thinner, archived=True)
