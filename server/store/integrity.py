"""Whether a database is whole: its pages, its constraints, and that no row points nowhere."""

from collections.abc import Iterable, Iterator

from sqlalchemy import Connection, ForeignKeyConstraint, and_, exists, func, select
from sqlalchemy import Table as SqlTable

from server.store.tables import Table

MOST_TOLD = 20  # of one kind
CHUNK = 500  # rows read at a time


def faults(connection: Connection) -> list[str]:
    """What is wrong, in plain words; empty when nothing is. Reads every row of a database at the newest revision."""
    looked_over = _sqlite_pages if connection.dialect.name == "sqlite" else _postgresql_catalogue
    pages = list(looked_over(connection))
    # A damaged page makes every later question fail in its own words.
    return pages or [*orphans(connection, Table.metadata.sorted_tables), *_unreadable(connection)]


def _sqlite_pages(connection: Connection) -> Iterator[str]:
    for (told,) in connection.exec_driver_sql(f"PRAGMA integrity_check({MOST_TOLD})"):
        if told != "ok":
            yield f"The file is damaged: {told}."


def _postgresql_catalogue(connection: Connection) -> Iterator[str]:
    """Indexes and constraints that the server itself no longer vouches for."""
    broken = connection.exec_driver_sql(
        "SELECT c.relname FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid "
        "WHERE NOT i.indisvalid AND c.relnamespace = current_schema()::regnamespace"
    )
    yield from (f"The index {name} is not valid. REINDEX makes it anew." for (name,) in broken)
    unproven = connection.exec_driver_sql(
        "SELECT conname FROM pg_constraint WHERE NOT convalidated AND connamespace = current_schema()::regnamespace"
    )
    yield from (f"The constraint {name} was never checked against the rows." for (name,) in unproven)


def orphans(connection: Connection, tables: Iterable[SqlTable]) -> Iterator[str]:
    """Rows that name others which are not there."""
    for table in tables:
        for key in sorted(table.foreign_key_constraints, key=lambda key: str(key.name)):
            found = connection.execute(_pointing_nowhere(key)).scalar_one()
            if found:
                columns = ", ".join(column.name for column in key.columns)
                yield f"{table.name}: {found} rows name a {key.referred_table.name} that is not there ({columns})."


def _pointing_nowhere(key: ForeignKeyConstraint):  # type: ignore[no-untyped-def]
    named = key.referred_table.alias()
    pairs = [(element.parent, named.c[element.column.name]) for element in key.elements]
    is_set = and_(*(column.is_not(None) for column, _ in pairs))
    return select(func.count()).where(is_set, ~exists().where(and_(*(column == other for column, other in pairs))))


def _unreadable(connection: Connection) -> Iterator[str]:
    """Rows whose dates or JSON are none. On PostgreSQL this also makes the server look at each of its pages."""
    for table in Table.metadata.sorted_tables:
        try:
            for _ in connection.execution_options(yield_per=CHUNK).execute(select(table)):
                pass
        except (ValueError, TypeError) as fault:
            yield f"{table.name}: a row cannot be read ({fault})."
