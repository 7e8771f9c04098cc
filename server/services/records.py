"""What every service does with a record: find it, compare its version, change it, archive it, bring it back."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import BaseModel
from sqlalchemy import select
from sqlalchemy.orm.attributes import flag_modified
from sqlmodel import Session, col

from server.services.access import Action, Actor, allow
from server.services.errors import Conflict, Invalid, NotFound, Refused
from server.services.unit import moment
from server.store.tables import Record, StudioRecord, Table

R = TypeVar("R", bound=StudioRecord)
T = TypeVar("T", bound=Table)


_UID = re.compile(r"[A-Za-z0-9_-]{1,32}")


def check_uid(uid: str) -> str:
    """``uid`` when it can be one. Raises ``NotFound``: not every text is one that a database takes."""
    if not is_uid(uid):
        raise NotFound
    return uid


def is_uid(text: str) -> bool:
    return _UID.fullmatch(text) is not None


def find(session: Session, actor: Actor, kind: type[R], uid: str, action: Action = "read") -> R:
    """The record of that uid, archived or not. Raises ``NotFound``, also for one of another studio.

    For any action but "read" the row is read afresh and locked until the transaction ends, so that a version that
    was compared is the version that is written over (SQLite's write transaction has the lock already).
    """
    query = select(kind).where(col(kind.uid) == check_uid(uid))
    if action != "read":
        query = query.with_for_update().execution_options(populate_existing=True)
    record = session.scalars(query).first()
    if record is None:
        raise NotFound
    allow(actor, action, record)
    return record


def find_named(session: Session, actor: Actor, kind: type[R], uid: str, field: str) -> R:
    """A record that a form's ``field`` names. Raises ``Invalid`` at that field when there is no such record."""
    try:
        return find(session, actor, kind, uid)
    except NotFound:
        raise Invalid.at(field, "Choose one of the list.") from None


def uid_of(session: Session, kind: type[R], record_id: int) -> str:
    """The public id of a record that another one names by its number."""
    return session.scalars(select(col(kind.uid)).where(col(kind.id) == record_id)).one()


def find_all(session: Session, actor: Actor, kind: type[R], *, archived: bool = False) -> list[R]:
    """The studio's records of a kind in one query, in the order they were made."""
    allow(actor, "read", None)
    is_archived = col(kind.archived_at).is_not(None) if archived else col(kind.archived_at).is_(None)
    query = select(kind).where(col(kind.studio_id) == actor.studio_id, is_archived).order_by(col(kind.id))
    return list(session.scalars(query))


@dataclass(frozen=True, slots=True)
class Slice:
    """A part of a long list in the order it was made: ``limit`` records after the one named ``after``, or the first.

    ``of``: only those that belong to a record, given as (column, id).
    """

    limit: int
    after: str | None = None
    archived: bool = False
    of: tuple[str, int] | None = None


def find_slice(session: Session, actor: Actor, kind: type[R], wanted: Slice) -> tuple[list[R], bool]:
    """The records, and whether more follow. Raises ``Invalid`` at ``after`` for a record that is not there."""
    allow(actor, "read", None)
    is_archived = col(kind.archived_at).is_not(None) if wanted.archived else col(kind.archived_at).is_(None)
    query = select(kind).where(col(kind.studio_id) == actor.studio_id, is_archived)
    if wanted.of is not None:
        column, owner = wanted.of
        query = query.where(getattr(kind, column) == owner)
    if wanted.after is not None:
        query = query.where(col(kind.id) > find_named(session, actor, kind, wanted.after, "after").id)
    found = list(session.scalars(query.order_by(col(kind.id)).limit(wanted.limit + 1)))
    return found[: wanted.limit], len(found) > wanted.limit


def refuse_archived(record: StudioRecord, what: str) -> None:
    """Raises ``Refused`` for an archived record; ``what`` as in "this panel"."""
    if record.archived_at is not None:
        raise Refused(f"{what[0].upper()}{what[1:]} is archived. Bring it back first, then change it.")


def check_version(record: Record, command: BaseModel, stored: BaseModel, what: str) -> None:
    """Compare versions before a change.

    ``stored`` is the record written as the same kind of command. Raises ``Conflict`` when the record has moved on and
    says something else than ``command``; the very same values from two people are no conflict.
    """
    if command.model_dump()["version"] != record.version:
        fault = conflict(command, stored, what)
        if fault.fields:
            raise fault


def conflict(command: BaseModel, stored: BaseModel, what: str) -> Conflict:
    """The ``Conflict`` between what was sent and what is stored, both written as the same kind of command."""
    theirs, ours = stored.model_dump(), command.model_dump()
    fields = [name for name in theirs if name != "version" and theirs[name] != ours.get(name)]
    return Conflict(
        theirs,
        f"Somebody changed {what} while you were typing. What you typed is still here, with what is stored now "
        "beside it. Save again to put yours in its place.",
        fields,
    )


def change(record: Table, values: Mapping[str, Any]) -> bool:
    """Set the values that differ. True when any did."""
    changed = {name: value for name, value in values.items() if getattr(record, name) != value}
    for name, value in changed.items():
        setattr(record, name, value)
    return bool(changed)


def mark_changed(session: Session, record: StudioRecord) -> None:
    """Make the record's version grow although only rows that belong to it changed."""
    record.updated_at = moment(session)
    flag_modified(record, "updated_at")


def replace_rows(session: Session, old: Sequence[T], new: Sequence[T]) -> bool:
    """Put ``new`` in the place of ``old`` unless they say the same. True when anything changed.

    The old ones leave first, so that a unique column may come back with the same value.
    """
    if [_content(row) for row in old] == [_content(row) for row in new]:
        return False
    for row in old:
        session.delete(row)
    session.flush()
    session.add_all(new)
    session.flush()
    return True


def _content(row: Table) -> dict[str, Any]:
    return row.model_dump(exclude={"id"})


def archive(session: Session, actor: Actor, kind: type[R], uid: str) -> R:
    """Hide a record. Doing it twice is the same as once."""
    record = find(session, actor, kind, uid, "archive")
    if record.archived_at is None:
        record.archived_at = moment(session)
        session.flush()
    return record


def restore(session: Session, actor: Actor, kind: type[R], uid: str) -> R:
    """Bring an archived record back. Doing it twice is the same as once."""
    record = find(session, actor, kind, uid, "restore")
    if record.archived_at is not None:
        record.archived_at = None
        session.flush()
    return record
