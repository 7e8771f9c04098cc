"""All rows from one database into another, whatever the engines. Both are at the newest revision."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select, text
from sqlalchemy import Table as SqlTable

from server.store.tables import Table

CHUNK = 500  # rows in memory at a time
MADE_AT_FIRST_START = {"studio": 1, "place": 1, "console_code": 10}  # rows at most


def is_untouched(connection: Connection) -> bool:
    """Whether nobody has entered anything: no rows but those of a first start, no history."""
    return all(
        connection.execute(select(func.count()).select_from(table)).scalar_one()
        <= MADE_AT_FIRST_START.get(table.name, 0)
        for table in Table.metadata.sorted_tables
    )


def clear(connection: Connection) -> None:
    """Take out every row."""
    for table in reversed(Table.metadata.sorted_tables):
        connection.execute(delete(table))


def transfer(source: Connection, target: Connection) -> int:
    """Copy every row of ``source`` with its id into ``target``, which has none; how many these were."""
    copied = 0
    for table in Table.metadata.sorted_tables:
        for batch in batches(source, table):
            target.execute(insert(table), batch)
            copied += len(batch)
    set_last_ids(target, last_ids(source))
    return copied


def batches(connection: Connection, table: SqlTable) -> Iterator[list[dict[str, Any]]]:
    """The rows of a table in the order they were added, so that each comes after those it names."""
    query = select(table).order_by(*table.primary_key.columns)
    found = connection.execution_options(yield_per=CHUNK).execute(query).mappings()
    for batch in found.partitions(CHUNK):
        yield [dict(row) for row in batch]


def last_ids(connection: Connection) -> dict[str, int]:
    """The highest id that each table ever gave: one that is gone is never given again. Tables without rows ever are
    left out."""
    found = {}
    for table in _counting(Table.metadata.tables.values()):
        highest = connection.execute(select(func.max(table.c.id))).scalar() or 0
        found[table.name] = max(highest, _given(connection, table))
    return {name: number for name, number in found.items() if number}


def set_last_ids(
    connection: Connection, ids: Mapping[str, int], tables: Iterable[SqlTable] = Table.metadata.tables.values()
) -> None:
    """Let the tables go on counting after ``ids``."""
    for table in _counting(tables):
        number = ids.get(table.name, 0)
        if not number:
            continue
        if connection.dialect.name == "sqlite":
            connection.execute(text("DELETE FROM sqlite_sequence WHERE name = :name"), {"name": table.name})
            values = {"name": table.name, "number": number}
            connection.execute(text("INSERT INTO sqlite_sequence (name, seq) VALUES (:name, :number)"), values)
        else:
            values = {"name": table.name, "number": number}
            connection.execute(text("SELECT setval(pg_get_serial_sequence(:name, 'id'), :number)"), values)


def _counting(tables: Iterable[SqlTable]) -> Iterator[SqlTable]:
    """Tables that number their rows."""
    for table in tables:
        column = table.autoincrement_column
        if column is not None and column.name == "id":
            yield table


def _given(connection: Connection, table: SqlTable) -> int:
    if connection.dialect.name == "sqlite":
        query = text("SELECT seq FROM sqlite_sequence WHERE name = :name")
        return connection.execute(query, {"name": table.name}).scalar() or 0
    sequence = connection.execute(text("SELECT pg_get_serial_sequence(:name, 'id')"), {"name": table.name}).scalar_one()
    last, is_called = connection.exec_driver_sql(f"SELECT last_value, is_called FROM {sequence}").one()  # noqa: S608
    return last if is_called else 0
