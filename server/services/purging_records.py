"""Taking other records than panels away for ever: tubes, mediums, thinners, mixes, places, stacks.

As with a panel: only what is archived, only by who types its name, the owner's alone; a note without content stays. It
is refused as long as anything names the record, archived or not, and said what does: a mix without one of its paints,
or a layer without its mix, would no longer say what it was.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, delete, func, select
from sqlalchemy import Table as SqlTable
from sqlmodel import Session

from server.services import records
from server.services.access import Action, Actor, require
from server.services.errors import Invalid, NotFound, Refused
from server.services.images import sql_table
from server.services.purging import Rows, forget, forget_in_plans, of_rows
from server.services.unit import leave_tombstone
from server.store.tables import Change, Medium, Mix, Paint, Place, StackPlan, StudioRecord, Table, Thinner

MOST_TOLD = 12
Part = tuple[str, str, str]  # a table, its column, and the table whose row it names


@dataclass(frozen=True, slots=True)
class Kind:
    """``name`` is the column of its name, ``parts`` the rows that are its own, from the record outwards."""

    table: type[StudioRecord]
    word: str
    name: str = "label"
    parts: tuple[Part, ...] = ()


KINDS: Mapping[str, Kind] = {
    "paints": Kind(Paint, "tube", parts=(("paint_pigment", "paint_id", "paint"),)),
    "mediums": Kind(Medium, "medium", parts=(("medium_part", "medium_id", "medium"),)),
    "thinners": Kind(Thinner, "thinner"),
    "mixes": Kind(Mix, "mix", parts=(("mix_part", "mix_id", "mix"),)),
    "stacks": Kind(StackPlan, "stack", parts=(("stack_layer", "stack_plan_id", "stack_plan"),)),
    "places": Kind(
        Place,
        "place",
        "name",
        (
            ("place_month", "place_id", "place"),
            ("place_off", "place_id", "place"),
            ("reading_batch", "place_id", "place"),
            ("reading_extent", "batch_id", "reading_batch"),
            ("reading", "batch_id", "reading_batch"),
            ("reading_hour", "batch_id", "reading_batch"),
            ("reading_upload", "place_id", "place"),
            ("sensor_token", "place_id", "place"),
        ),
    ),
}
# What names such a record: how it is told, and the way to the name of it, by (table, column).
TOLD: Mapping[str, tuple[str, tuple[tuple[str, str], ...], str]] = {
    "mix_part": ("The mix “{}” is made with it.", (("mix", "mix_id"),), "label"),
    "layer_mix": ("A layer of “{}” is painted with it.", (("layer", "layer_id"), ("panel", "panel_id")), "title"),
    "layer": ("A layer of “{}” is thinned with it.", (("panel", "panel_id"),), "title"),
    "stack_layer": ("The stack “{}” plans it.", (("stack_plan", "stack_plan_id"),), "label"),
    "panel": ("“{}” began there.", (), "title"),
    "panel_move": ("“{}” was put there.", (("panel", "panel_id"),), "title"),
    "sitting_mix": ("The end of a sitting tells how much of it was left.", (), ""),
}
OTHERWISE = "Something else in the studio names it."


@dataclass(frozen=True, slots=True)
class Purgeable:
    """What would go: a record with ``readings`` and ``changes`` of the history. ``hangs`` says in sentences what names
    it; while there is any it stays."""

    kind: str
    word: str
    uid: str
    name: str
    readings: int
    changes: int
    hangs: tuple[str, ...]


def look(session: Session, actor: Actor, kind: str, uid: str) -> Purgeable:
    """What purging a record would take away. Raises ``NotFound``, ``Forbidden``, ``Refused`` for one in use."""
    asked, record = _purgeable(session, actor, kind, uid)
    connection = session.connection()
    rows = _rows(connection, asked, record.id or 0)
    changes = session.execute(select(func.count()).select_from(Change).where(of_rows(rows))).scalar_one()
    name = getattr(record, asked.name)
    hangs = _hangs(connection, rows)
    return Purgeable(kind, asked.word, record.uid, name, len(rows.get("reading", ())), changes, hangs)


def purge(session: Session, actor: Actor, named: tuple[str, str], typed_name: str) -> str:
    """Take the record of ``named`` (kind, uid) and its images out of the database; the word for what it was. Needs a
    unit of work.

    Raises ``NotFound``, ``Forbidden``, ``Refused``, and ``Invalid`` at ``name`` for another name.
    """
    asked, record = _purgeable(session, actor, *named, "hold")
    name, record_id, table = getattr(record, asked.name), record.id or 0, sql_table(asked.table)
    if typed_name.strip() != name:
        raise Invalid.at("name", f"This is not its name. To purge it, write: {name}")
    connection = session.connection()
    rows = _rows(connection, asked, record_id)
    hangs = _hangs(connection, rows)
    if hangs:
        raise Refused(f"This {asked.word} cannot be purged. {' '.join(hangs)}")
    forget_in_plans(session, actor, record.uid, name)
    session.expunge(record)  # what was read of it is not what is there any more
    forget(connection, rows, name)
    for part in reversed((table.name, *(part for part, _, _ in asked.parts))):
        if rows[part]:
            found = Table.metadata.tables[part]
            connection.execute(delete(found).where(found.c.id.in_(rows[part])))
    leave_tombstone(session, table.name, record_id)
    return asked.word


def _purgeable(
    session: Session, actor: Actor, kind: str, uid: str, action: Action = "read"
) -> tuple[Kind, StudioRecord]:
    asked = KINDS.get(kind)
    if asked is None:
        raise NotFound
    record = records.find(session, actor, asked.table, uid, action)
    require(actor, "purge")
    if record.archived_at is None:
        raise Refused(f"This {asked.word} is not archived. Only what is put away can be purged.")
    return asked, record


def _rows(connection: Connection, kind: Kind, record_id: int) -> Rows:
    """The rows of a record, by table."""
    rows: Rows = {sql_table(kind.table).name: {record_id}}
    for name, column, owner in kind.parts:
        table = Table.metadata.tables[name]
        query = select(table.c.id).where(table.c[column].in_(rows[owner]))
        rows[name] = set(connection.execute(query).scalars())
    return rows


def _hangs(connection: Connection, rows: Rows) -> tuple[str, ...]:
    """What names one of the rows and is none of them, in sentences."""
    told: dict[str, None] = {}
    for table, column, named in _names_of(rows):
        own = rows.get(table.name, set())
        for row in connection.execute(select(table).where(table.c[column].in_(rows[named]))).mappings():
            if row["id"] not in own:
                told[_told(connection, table, row)] = None
    sentences = tuple(told)
    more = len(sentences) - MOST_TOLD
    return sentences if more <= 0 else (*sentences[:MOST_TOLD], f"So do {more} more.")


def _names_of(rows: Iterable[str]) -> Iterable[tuple[SqlTable, str, str]]:
    """Every column that names a row of these tables: (table, column, table named)."""
    wanted = set(rows)
    for table in Table.metadata.sorted_tables:
        for column in table.columns:
            for key in column.foreign_keys:
                if key.column.table.name in wanted:
                    yield table, column.name, key.column.table.name


def _told(connection: Connection, table: SqlTable, row: Mapping[Any, Any]) -> str:
    sentence, way, name = TOLD.get(table.name, (OTHERWISE, (), ""))
    found: Mapping[Any, Any] = row
    for owner, column in way:
        owners = Table.metadata.tables[owner]
        found = connection.execute(select(owners).where(owners.c.id == found[column])).mappings().one()
    return sentence.format(found[name]) if name else sentence
