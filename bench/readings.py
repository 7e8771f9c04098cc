"""CPU of taking five years of readings by the ten minutes from a file, against reading and storing the same plainly;
and of Today while a sensor sends."""

import csv
import io
import sqlite3
import tempfile
from datetime import datetime, timedelta, timezone
from functools import partial
from math import sin, tau
from pathlib import Path
from statistics import median
from zoneinfo import ZoneInfo

from sqlmodel import select

from bench.pages import pages
from bench.timing import cpu_s, row, verdict
from server.formats.readings.columns import Columns, columns
from server.services import studios
from server.services.access import Actor
from server.services.readings import files, sensors
from server.services.readings.sensors import SensorCreate
from server.services.unit import unit
from server.store.db import Database
from server.store.migrate import migrate
from server.store.tables import Place

READINGS = 262_800
SENT_AT_ONCE = 4_380
PANELS = 50
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


def sent(first: datetime, count: int) -> Columns:
    """What a sensor sends from ``first`` on, every ten minutes: warm days and cool nights."""
    at = [int((first + timedelta(minutes=10 * n)).timestamp()) for n in range(count)]
    warmth = [18 + 3 * sin(each / 86_400 * tau) for each in at]
    return columns(at, warmth, [55.0] * count, [float("nan")] * count)


def run() -> None:
    _file()
    _sensor()


def _sensor() -> None:
    print(f"Today with {PANELS} panels of 6 layers and a sensor that sends every ten minutes (CPU)")
    with pages(PANELS) as studio:
        with studio.db.read() as session:
            place = session.exec(select(Place)).first()
            assert place is not None
        actor = Actor("bench", place.studio_id)
        with unit(studio.db, actor, label="Sensor", now=studio.now) as work:
            _, token = sensors.create(work.session, actor, place.uid, SensorCreate(name="By the easel"))
        with studio.db.read() as session:
            sensor = sensors.who(session, place.uid, token)
        start = studio.now - timedelta(days=5 * 365)
        batches = range(READINGS // SENT_AT_ONCE)
        step = timedelta(minutes=10 * SENT_AT_ONCE)
        five_years = cpu_s(
            lambda: [sensors.send(studio.db, sensor, sent(start + n * step, SENT_AT_ONCE)) for n in batches], 1
        )
        row(f"five years sent, {SENT_AT_ONCE:,} at once", f"{five_years:.2f} s", verdict(five_years, 10.0))
        row("the first look over five years of readings", f"{cpu_s(lambda: studio.get('/'), 1) * 1000:.0f} ms")
        at, looks = start + len(batches) * step, []
        for _ in range(36):
            sensors.send(studio.db, sensor, sent(at, 1))
            at += timedelta(minutes=10)
            looks.append(cpu_s(lambda: studio.get("/"), 1))
        row("a look after one more reading, median", f"{median(looks) * 1000:.1f} ms")
        row("the look after a full hour, the dearest of six", f"{max(looks) * 1000:.0f} ms")
        row("all looks of six hours", f"{sum(looks):.2f} s")


def _file() -> None:
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
