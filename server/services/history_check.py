"""Whether the history tells of the rows that are there: each image follows from the one before, the last is the row."""

from collections.abc import Iterator
from itertools import groupby

from sqlalchemy import select
from sqlmodel import Session, col

from server.services.images import FOLLOWED, Image, from_mapping, same, sql_table
from server.store.tables import Change

CHUNK = 500  # changes, or last images, in memory at a time
_Last = tuple[str, int, Image | None]  # table, row, what the history says of it last


def faults(session: Session) -> Iterator[str]:
    """What does not fit, in plain words. Rows without history are none: a first start makes some.

    A row's images are followed in the order in which they were noted. Columns that a later migration added, and the
    bookkeeping, do not count.
    """
    waiting: list[_Last] = []
    query = select(Change).order_by(col(Change.table_name), col(Change.row_id), col(Change.id))
    changes = session.scalars(query.execution_options(yield_per=CHUNK))
    for (name, row_id), of_row in groupby(changes, key=lambda change: (change.table_name, change.row_id)):
        if name not in FOLLOWED:
            if all(change.before is None and change.after is None for change in of_row):
                continue  # somebody was purged of whom no image was ever kept
            yield f"The history tells of a table {name}, which is not known here."
            continue
        last: Image | None = None
        for number, change in enumerate(of_row):
            session.expunge(change)
            if number and not _agree(last, change.before):
                yield f"The history of {name} {row_id} has a gap before its change {change.id}."
            last = change.after
        waiting.append((name, row_id, last))
        if len(waiting) == CHUNK:
            yield from _compared(session, waiting)
            waiting = []
    yield from _compared(session, waiting)


def _agree(one: Image | None, other: Image | None) -> bool:
    if one is None or other is None:
        return one is other
    return same(one, other)


def _compared(session: Session, waiting: list[_Last]) -> Iterator[str]:
    for name, group in groupby(waiting, key=lambda last: last[0]):
        told = {row_id: image for _, row_id, image in group}
        table = sql_table(FOLLOWED[name])
        found = session.execute(select(table).where(table.c.id.in_(told))).mappings()
        rows = {row["id"]: from_mapping(FOLLOWED[name], row) for row in found}
        for row_id, image in told.items():
            if not _agree(rows.get(row_id), image):
                yield _words(name, row_id, row_id in rows, image is not None)


def _words(name: str, row_id: int, is_there: bool, is_told: bool) -> str:
    if is_there and is_told:
        return f"{name} {row_id} is not as the history left it."
    return f"{name} {row_id} is {'there' if is_there else 'gone'}, and the history does not tell how."
