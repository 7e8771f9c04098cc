"""Many studios in one install to put a server under load with, each with an owner who is signed in and a calendar to
subscribe to. Invented throughout.

A few studios are painted through the services, as a person would; the others are copies of their rows with other
thicknesses and other hours of painting, so that nothing worked out for one studio serves another.
"""

import random
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Connection, insert, select
from sqlalchemy import Table as SqlTable
from sqlmodel import col

from bench.studio import fill
from server.services import share_links, studios
from server.services.access import Actor
from server.services.people import sessions
from server.services.people.sessions import Browser
from server.services.share_links import ShareLinkCreate
from server.services.unit import unit
from server.store.db import Database
from server.store.tables import ApiToken, Change, Layer, Membership, Mix, Paint, Panel, Person, Studio, Table
from server.store.tables.base import new_uid
from server.store.transfer import last_ids, set_last_ids

PAINTED_STUDIOS = 4
LAYERS_EACH = 4
APART = 1_000_000  # between the ids of a studio's rows and those of its next copy
SEED = 8_200
# Who signs in is made for each; what the history noted of a row is not as its copy is.
NOT_COPIED = {model.__tablename__ for model in (Person, Membership, ApiToken, Change)} | {"sign_in", "share_key"}


@dataclass(frozen=True, slots=True)
class Seat:
    """A studio as its people reach it: the owner's session, the calendar's token, and the uids of what is in it;
    ``pressable`` are the layers on top."""

    session_token: str
    feed_token: str
    pressable: tuple[str, ...]
    panels: tuple[str, ...]
    mixes: tuple[str, ...]
    paints: tuple[str, ...]


def many(db: Database, now: datetime, studio_count: int, panel_count: int) -> list[Seat]:
    """Fill an empty, migrated database with studios of ``panel_count`` panels."""
    painted = []
    for number in range(min(PAINTED_STUDIOS, studio_count)):
        with db.write() as session:
            made = studios.make(session, f"Studio {number}", "Europe/Lisbon")
        painted.append(fill(db, now, panel_count, LAYERS_EACH, made).studio_id)
    with db.engine.begin() as connection:
        _copy(connection, painted, studio_count)
    with db.read() as session:
        every = list(session.scalars(select(col(Studio.id)).order_by(col(Studio.id))))
    return [_seat(db, studio_id, now) for studio_id in every if studio_id is not None]


def _copy(connection: Connection, painted: list[int], studio_count: int) -> None:
    """Copies of the painted studios, until there are enough."""
    rows = {table: _rows(connection, table) for table in Table.metadata.sorted_tables if table.name not in NOT_COPIED}
    owner = _owners(rows)
    rng = random.Random(SEED)
    for number in range(len(painted), studio_count):
        source, offset = painted[number % len(painted)], (number // len(painted)) * APART
        hours = rng.uniform(-60, 60)
        for table, found in rows.items():
            mine = [row for row in found if owner[table.name, row["id"]] == source]
            copies = [_moved(table, row, offset) | _otherwise(table.name, row, hours, rng) for row in mine]
            if copies:
                connection.execute(insert(table), copies)
    set_last_ids(connection, last_ids(connection))


def _rows(connection: Connection, table: SqlTable) -> list[Mapping[str, Any]]:
    return [dict(row) for row in connection.execute(select(table).order_by(table.c.id)).mappings()]


def _owners(rows: Mapping[SqlTable, list[Mapping[str, Any]]]) -> dict[tuple[str, int], int]:
    """The studio of every row, by its table and id: its own, or that of the row it hangs on."""
    owner: dict[tuple[str, int], int] = {}
    for table, found in rows.items():
        for row in found:
            key = (table.name, row["id"])
            owner[key] = row["id"] if table.name == "studio" else row.get("studio_id") or _of_parent(table, row, owner)
    return owner


def _of_parent(table: SqlTable, row: Mapping[str, Any], owner: Mapping[tuple[str, int], int]) -> int:
    parents = [(each.column.table.name, row[each.parent.name]) for each in table.foreign_keys]
    return next((owner[parent] for parent in parents if parent in owner), 0)


def _moved(table: SqlTable, row: Mapping[str, Any], offset: int) -> dict[str, Any]:
    """The row under another id, with what it points to moved as far."""
    moved = dict(row)
    for name in {"id", *(each.parent.name for each in table.foreign_keys)}:
        moved[name] = None if row[name] is None else row[name] + offset
    return moved | ({"uid": new_uid()} if "uid" in row else {})


def _otherwise(table: str, row: Mapping[str, Any], hours: float, rng: random.Random) -> dict[str, Any]:
    """What sets a copy apart: a layer's thickness and the hour it was painted at."""
    if table == Layer.__tablename__:
        painted_at = row["painted_at"]
        earlier = None if painted_at is None else painted_at - timedelta(hours=60 + hours)
        return {"wet_thickness_um": row["wet_thickness_um"] + rng.uniform(0, 4), "painted_at": earlier}
    if table == Panel.__tablename__:
        return {"title": f"{row['title']}, {rng.randrange(100, 1000)}"}
    return {}


def _seat(db: Database, studio_id: int, now: datetime) -> Seat:
    """An owner with a session, and a calendar's token."""
    email = f"owner{studio_id}@studio.example"
    with db.write() as session:
        person = Person(name=f"Owner {studio_id}", email=email, password_hash="none")
        session.add(person)
        session.flush()
        session.add(Membership(person_id=person.id or 0, studio_id=studio_id, role="owner"))
        opened = sessions.begin(session, person, Browser("A wall screen", "192.0.2.1"), now, studio_id)
        newest = (
            select(col(Layer.uid), col(Layer.panel_id))
            .where(col(Layer.studio_id) == studio_id, col(Layer.painted_at).is_not(None))
            .order_by(col(Layer.panel_id), col(Layer.position))
        )
        last_on = {panel_id: uid for uid, panel_id in session.execute(newest)}
        tables = (Panel, Mix, Paint)
        uids = [
            tuple(session.scalars(select(col(table.uid)).where(col(table.studio_id) == studio_id))) for table in tables
        ]
    actor = Actor("bench", studio_id, "owner")
    with unit(db, actor, label="Made a calendar", now=now) as work:
        command = ShareLinkCreate(label="Calendar", kind="feed", lasts="always")
        token = share_links.create(work.session, actor, command, now, ZoneInfo("UTC"))[1]
    return Seat(opened.session_token, token, tuple(last_on.values()), *uids)
