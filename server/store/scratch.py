"""A copy of one studio's records in memory, to try something on while nobody has to wait for it.

What a list would do is found out by doing it. Done in the studio's own database and rolled back, it would keep every
other writer waiting for as long as it takes; here it is done on a copy that is thrown away. The history and what
is ``Private`` (people, readings) stay away, so that nothing can be looked up in it that its reader may not know.
"""

from contextlib import nullcontext

from sqlalchemy import ColumnElement, StaticPool, create_engine, event, insert, select
from sqlalchemy import Table as SqlTable
from sqlmodel import Session

from server.store.db import Database
from server.store.tables import Change, ChangeSet, Private, Studio, Table
from server.store.transfer import CHUNK


class Scratch(Database):
    """A database in memory, for one thread."""

    def __init__(self) -> None:
        engine = create_engine(
            "sqlite://", hide_parameters=True, poolclass=StaticPool, connect_args={"check_same_thread": False}
        )

        @event.listens_for(engine, "connect")
        def prepare(connection, _record) -> None:  # type: ignore[no-untyped-def]
            connection.isolation_level = None

        @event.listens_for(engine, "begin")
        def begin(connection) -> None:  # type: ignore[no-untyped-def]
            connection.exec_driver_sql("BEGIN")

        self.url = engine.url
        self.engine = engine
        self._writer = self._reader = engine.execution_options()
        self.is_sqlite = True
        self._turns = nullcontext()


def scratch_of(session: Session, studio_id: int) -> Scratch:
    """A copy of the studio as ``session`` sees it; close it at the end."""
    scratch = Scratch()
    Table.metadata.create_all(scratch.engine)
    with scratch.engine.begin() as target:
        for table in Table.metadata.sorted_tables:
            mine = _of_studio(table, studio_id) if _is_copied(table) else None
            if mine is None:
                continue
            rows = [dict(row) for row in session.execute(select(table).where(mine)).mappings()]
            for start in range(0, len(rows), CHUNK):
                target.execute(insert(table), rows[start : start + CHUNK])
    return scratch


def _is_copied(table: SqlTable) -> bool:
    return table.name not in _AWAY


def _of_studio(table: SqlTable, studio_id: int) -> ColumnElement[bool] | None:
    """Whether a row is the studio's: its own, or part of a row that is. None for a table that belongs to no studio."""
    if table.name == Studio.__tablename__:
        return table.c.id == studio_id
    if "studio_id" in table.columns:
        return table.c.studio_id == studio_id
    for key in sorted(table.foreign_keys, key=lambda each: (bool(each.parent.nullable), each.parent.name)):
        owner = key.column.table
        theirs = _of_studio(owner, studio_id) if _is_copied(owner) else None
        if theirs is not None:
            return key.parent.in_(select(owner.c.id).where(theirs))
    return None


def _away() -> frozenset[str]:
    private = {mapper.local_table.name for mapper in Table._sa_registry.mappers if issubclass(mapper.class_, Private)}  # type: ignore[attr-defined]
    return frozenset({*private, str(ChangeSet.__tablename__), str(Change.__tablename__)})


_AWAY = _away()
