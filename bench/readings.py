"""CPU of taking five years of readings by the ten minutes from a file, against reading and storing the same plainly."""

import csv
import io
import sqlite3
import tempfile
from datetime import datetime, timedelta, timezone
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlmodel import select

from bench.timing import cpu_s, row, verdict
from server.services import studios
from server.services.access import Actor
from server.services.readings import files
from server.services.unit import unit
from server.store.db import Database
from server.store.migrate import migrate
from server.store.tables import Place

READINGS = 262_800
FIRST = datetime(2021, 6, 1, tzinfo=timezone.utc)
NOW = datetime(2026, 11, 25, 9, tzinfo=timezone.utc)
ZONE = ZoneInfo("Europe/Prague")


def file_of(count: int) -> str:
    """A logger's table by the wall clock, with a few years of summer time in it."""
    lines = ["when,temperature °C,humidity %"]
    for n in range(count):
        at = (FIRST + timedelta(minutes=10 * n)).astimezone(ZONE)
        lines.append(f"{at:%Y-%m-%d %H:%M:%S},{18 + n % 7 * 0.3:.1f},{50 + n % 9:.1f}")
    return "\n".join(lines)


def plainly(text: str, folder: str) -> None:
    """The least that could be done: the columns as they stand, into a table with the same key."""
    connection = sqlite3.connect(Path(folder) / "plain.db")
    connection.execute("drop table if exists plain")
    connection.execute("create table plain (batch int, at text, t real, rh real, unique (batch, at))")
    rows = csv.reader(io.StringIO(text))
    next(rows)
    connection.executemany(
        "insert or ignore into plain values (1, ?, ?, ?)", ((r[0], float(r[1]), float(r[2])) for r in rows)
    )
    connection.commit()
    connection.close()


def take(db: Database, actor: Actor, place_uid: str, text: str) -> int:
    """A file from the upload to the last row, as the pages do it."""
    uid = files.keep_aside(db, actor, place_uid, ("logger.csv", text.encode()))
    with db.read() as session:
        seen = files.preview(session, actor, uid, place_uid, (NOW, ZONE))
    with unit(db, actor, label="Import", now=NOW) as work:
        return files.take_file(work.session, actor, seen)[1].taken


def run() -> None:
    print(f"Readings: a file of {READINGS:,} (CPU)")
    text = file_of(READINGS)
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        migrate(url)
        db = Database(url)
        studios.ensure_studio(db, ZONE.key)
        with db.read() as session:
            place = session.exec(select(Place)).first()
            assert place is not None
        actor = Actor("bench", place.studio_id)
        taken = cpu_s(partial(take, db, actor, place.uid, text), 1)
        plain = cpu_s(partial(plainly, text, folder), 3)
        db.close()
    row("looked at and taken", f"{taken:.2f} s", verdict(taken, 10.0))
    row("the columns read and stored plainly", f"{plain:.2f} s")
    row("taken over plainly", f"{taken / plain:.1f} x")
