"""A unit of work: one transaction, one entry in the history, at most once for a given key.

    with unit(db, actor, label="Added a panel", key=form.command_key, now=now) as work:
        if not work.repeated:
            panel = panels.create(work.session, actor, command)
            work.location = f"/panels/{panel.uid}"
    return redirect(work.location)

Leaving the block commits, raising rolls everything back, the key included. When the key was used before, also by a
request that is running at this very moment, ``repeated`` is True, ``location`` is where the first one led, and any
change raises ``ReadOnlySession``.

Every changed row must be one that the actor's role may change, and is written to the history with its values before
and after (``Private`` rows are not). Statements that change rows without loading them would pass it by, so the session
refuses them.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import event, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import ORMExecuteState
from sqlmodel import Session, col

from server.services.access import Actor, allow, allow_change
from server.services.images import Image, from_mapping, image_before, image_of, sql_table, table_name
from server.store.db import READ_ONLY, Database
from server.store.tables import Change, ChangeSet, Private, Record, Table, utc_now

_CURRENT = "change_set"  # keys in ``Session.info``
_MOMENT = "moment"


@dataclass(slots=True)
class Unit:
    """``label`` and ``location`` may be set until the block is left; ``change_uid`` is the history's entry."""

    session: Session
    label: str
    change_uid: str
    location: str = ""
    repeated: bool = False


@contextmanager
def unit(
    db: Database, actor: Actor, *, label: str, key: str | None = None, now: datetime | None = None
) -> Iterator[Unit]:
    """See the module. ``label``: what is done, in the painter's words, at most 300 characters; ``now``: when."""
    allow(actor, "update", None)
    label = label[:300]
    with db.write() as session:
        change_set = ChangeSet(
            studio_id=actor.studio_id,
            actor=actor.name[:120],
            person_id=actor.person_id,
            label=label,
            command_key=key,
            at=now or utc_now(),
        )
        session.info[_MOMENT] = change_set.at
        earlier = _claim(session, change_set)
        if earlier is not None:
            session.info[READ_ONLY] = True
            yield Unit(session, earlier.label, earlier.uid, earlier.location, repeated=True)
            return
        session.info[_CURRENT] = change_set
        work = Unit(session, label, change_set.uid)
        recorder = _Recorder(session, change_set)
        with recorder.listening():
            yield work
            session.flush()
        for table in recorder.tables:
            allow_change(actor, table)
        recorder.write()
        if change_set.label == label:
            change_set.label = work.label[:300]
        change_set.location = work.location
        if key is None and not recorder.rows and change_set.undoes_id != change_set.id:
            session.delete(change_set)  # nothing happened, nobody will ask for it again


def moment(session: Session) -> datetime:
    """The instant at which the session's unit of work takes place; the clock's where there is no unit."""
    given = session.info.get(_MOMENT)
    return given if isinstance(given, datetime) else utc_now()


def current_change_set(session: Session) -> ChangeSet:
    """The entry that the running unit writes. Raises RuntimeError outside a unit."""
    found = session.info.get(_CURRENT)
    if not isinstance(found, ChangeSet):
        raise RuntimeError("This needs a unit of work.")
    return found


def studio_of_unit(session: Session) -> int | None:
    """Whose unit of work the session carries out; None where there is none."""
    found = session.info.get(_CURRENT)
    return found.studio_id if isinstance(found, ChangeSet) else None


def leave_tombstone(session: Session, table: str, row_id: int, entry: ChangeSet | None = None) -> None:
    """Note that a row was taken away for ever, and nothing of what it was: neither image is kept. The running entry,
    or another one of the history, undoes itself, which stands for: nothing undoes it."""
    noted = entry or current_change_set(session)
    assert noted.id is not None
    noted.undoes_id = noted.id
    session.add(Change(change_set_id=noted.id, position=0, table_name=table, row_id=row_id))


def _claim(session: Session, change_set: ChangeSet) -> ChangeSet | None:
    """Enter the change set. None when it is ours; the earlier one when its key was taken.

    The unique constraint decides: on PostgreSQL the insert waits for a rival that has not committed yet.
    """
    if change_set.command_key is not None:
        earlier = _by_key(session, change_set)
        if earlier is not None:
            return earlier
    try:
        with session.begin_nested():
            session.add(change_set)
            session.flush()
    except IntegrityError:
        earlier = _by_key(session, change_set)
        if earlier is None:
            raise
        return earlier
    return None


def _by_key(session: Session, change_set: ChangeSet) -> ChangeSet | None:
    return session.scalars(
        select(ChangeSet).where(
            col(ChangeSet.studio_id) == change_set.studio_id, col(ChangeSet.command_key) == change_set.command_key
        )
    ).first()


@dataclass(slots=True)
class _Row:
    row: Table
    before: Image | None
    deleted: bool = False


class _Recorder:
    """Notes the first state of every row that a session changes, and in the end the last."""

    def __init__(self, session: Session, change_set: ChangeSet) -> None:
        self.session = session
        self.change_set = change_set
        self.rows: dict[tuple[str, int], _Row] = {}
        self._added: list[Table] = []

    @contextmanager
    def listening(self) -> Iterator[None]:
        listeners = (
            ("before_flush", self._before_flush),
            ("after_flush", self._after_flush),
            ("do_orm_execute", self._refuse_bulk),
        )
        for name, listener in listeners:
            event.listen(self.session, name, listener)
        try:
            yield
        finally:
            for name, listener in listeners:
                event.remove(self.session, name, listener)

    @property
    def tables(self) -> set[str]:
        """The names of the tables whose rows were changed."""
        return {name for name, _ in self.rows}

    def write(self) -> None:
        """Add a ``Change`` for every row that is not as it was."""
        for key in [key for key, noted in self.rows.items() if noted.before is None and noted.deleted]:
            del self.rows[key]
        change_set_id = self.change_set.id
        assert change_set_id is not None
        for position, ((name, row_id), noted) in enumerate(self.rows.items()):
            after = None if noted.deleted else image_of(noted.row)
            self.session.add(
                Change(
                    change_set_id=change_set_id,
                    position=position,
                    table_name=name,
                    row_id=row_id,
                    before=noted.before,
                    after=after,
                )
            )

    def _before_flush(self, session: Session, _context: object, _instances: object) -> None:
        self._added = [row for row in session.new if _is_followed(row)]
        for row in self._added:
            if isinstance(row, Record):
                row.created_at = row.updated_at = self.change_set.at
        for row in session.dirty:
            if _is_followed(row) and session.is_modified(row):
                self._note(row)
        for row in session.deleted:
            if _is_followed(row):
                self._note(row).deleted = True

    def _after_flush(self, _session: Session, _context: object) -> None:
        for row in self._added:
            self.rows.setdefault(_key(row), _Row(row, before=None))
        self._added = []

    def _note(self, row: Table) -> _Row:
        key = _key(row)
        if key not in self.rows:
            self.rows[key] = _Row(row, image_before(row) or self._stored(row))
            if isinstance(row, Record):
                row.version += 1
                row.updated_at = self.change_set.at
        return self.rows[key]

    def _stored(self, row: Table) -> Image:
        table = sql_table(type(row))
        found = self.session.connection().execute(select(table).where(table.c.id == _key(row)[1])).mappings().one()
        return from_mapping(type(row), found)

    @staticmethod
    def _refuse_bulk(state: ORMExecuteState) -> None:
        if state.is_insert or state.is_update or state.is_delete:
            raise RuntimeError("Load rows and change them: a bulk statement would leave no trace in the history.")


def _is_followed(row: Any) -> bool:
    return isinstance(row, Table) and not isinstance(row, ChangeSet | Change | Private)


def _key(row: Table) -> tuple[str, int]:
    return table_name(row), int(row.id)  # type: ignore[attr-defined]
