"""The promises of the database: nothing lost, nobody told 'locked', nothing printed, times in UTC."""

import subprocess
import sys
import threading
import time
from contextlib import suppress
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from sqlalchemy.exc import IntegrityError, StatementError
from sqlmodel import select

from server.store.db import Database, ReadOnlySession, Turns, database_url
from server.store.tables import Place, Studio

WRITERS, ROUNDS = 16, 15


def add_studio(db: Database, name: str = "Invented") -> Studio:
    with db.write() as session:
        studio = Studio(name=name, time_zone="UTC")
        session.add(studio)
    return studio


def test_sqlite_is_set_up_to_lose_nothing(tmp_path: Path) -> None:
    db = Database(f"sqlite:///{tmp_path / 'deep' / 'studio.db'}")
    with db.engine.connect() as connection:
        settings = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        }
    db.close()
    assert settings == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1, "busy_timeout": 30_000}
    assert (tmp_path / "deep").stat().st_mode & 0o777 == 0o700


@pytest.mark.parametrize("url", ["sqlite://", "sqlite:///:memory:", "mysql://localhost/x"])
def test_other_databases_are_refused(url: str) -> None:
    with pytest.raises(ValueError, match="database must be"):
        database_url(url)


@pytest.mark.parametrize("url", ["postgresql://localhost/x", "postgresql+psycopg://localhost/x"])
def test_postgresql_gets_the_driver_we_ship(url: str) -> None:
    assert database_url(url).drivername == "postgresql+psycopg"


def test_leaving_commits_and_raising_rolls_back(database: Database) -> None:
    add_studio(database, "kept")
    with suppress(ZeroDivisionError), database.write() as session:
        session.add(Studio(name="lost", time_zone="UTC"))
        session.flush()
        raise ZeroDivisionError
    with database.read() as session:
        assert [studio.name for studio in session.exec(select(Studio))] == ["kept"]


def test_a_read_session_cannot_write(database: Database) -> None:
    with database.read() as session:
        session.add(Studio(name="x", time_zone="UTC"))
        with pytest.raises(ReadOnlySession):
            session.flush()
        session.rollback()


def test_a_read_session_sees_one_moment(database: Database) -> None:
    studio = add_studio(database, "before")
    with database.read() as session:
        assert session.exec(select(Studio.name)).one() == "before"
        with database.write() as other:
            other.get_one(Studio, studio.id).name = "after"
        assert session.exec(select(Studio.name)).one() == "before"
    with database.read() as session:
        assert session.exec(select(Studio.name)).one() == "after"


def test_a_row_that_points_nowhere_is_refused(database: Database) -> None:
    with pytest.raises(IntegrityError), database.write() as session:
        session.add(Place(studio_id=4711, name="nowhere", light="room"))


def test_errors_never_print_values(database: Database) -> None:
    with pytest.raises(IntegrityError) as caught, database.write() as session:
        session.add(Place(studio_id=4711, name="private words", light="room"))
    assert "private words" not in str(caught.value)


def test_times_come_back_in_utc(database: Database) -> None:
    auckland = datetime(2026, 7, 1, 8, 30, 15, 123456, tzinfo=timezone(timedelta(hours=12)))
    with database.write() as session:
        session.add(Studio(name="x", time_zone="UTC", created_at=auckland))
    with database.read() as session:
        found = session.exec(select(Studio)).one().created_at
    assert found == auckland
    assert found.utcoffset() == timedelta(0)


def test_a_naive_time_is_an_error(database: Database) -> None:
    with pytest.raises(StatementError, match="naive"), database.write() as session:
        session.add(Studio(name="x", time_zone="UTC", created_at=datetime(2026, 7, 1)))  # noqa: DTZ001


def test_a_row_id_is_never_used_twice(database: Database) -> None:
    first = add_studio(database)
    with database.write() as session:
        session.delete(session.get_one(Studio, first.id))
    second = add_studio(database)
    assert first.id is not None
    assert second.id is not None
    assert second.id > first.id


def test_sixteen_writers_lose_no_update(database: Database) -> None:
    """Read, add one, write; on SQLite with the default mode most of these would be lost or answered 'locked'."""
    studio = add_studio(database)
    faults: list[BaseException] = []
    start = threading.Barrier(WRITERS)

    def write() -> None:
        try:
            start.wait()
            for _ in range(ROUNDS):
                with database.write() as session:
                    row = session.exec(select(Studio).where(Studio.id == studio.id).with_for_update()).one()
                    row.version += 1
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=write) for _ in range(WRITERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    with database.read() as session:
        assert session.exec(select(Studio.version)).one() == 1 + WRITERS * ROUNDS


# Starts one writer after the other and kills each with a write under way. A writer says a name only after its commit.
KILLER = """
import os, random, signal, sys, time
from server.store.db import Database
from server.store.tables import Studio

def write(generation, pipe):
    db = Database(sys.argv[1])
    number = 0
    while True:
        number += 1
        name = f"{generation}-{number}"
        with db.write() as session:
            session.add(Studio(name=name, time_zone="UTC"))
            session.flush()
            session.add(Studio(name=name + "-twin", time_zone="UTC"))
        os.write(pipe, f"{name}\\n".encode())

chance = random.Random(4)
for generation in range(int(sys.argv[2])):
    heard, pipe = os.pipe()
    writer = os.fork()
    if writer == 0:
        write(generation, pipe)
    os.close(pipe)
    said = os.read(heard, 1000)
    time.sleep(chance.random() * 0.05)
    os.kill(writer, signal.SIGKILL)
    os.waitpid(writer, 0)
    while said:
        sys.stdout.write(said.decode())
        said = os.read(heard, 1000)
    os.close(heard)
"""
KILLS = 25


def test_a_killed_writer_loses_no_acknowledged_record(database_url: str) -> None:
    command = [sys.executable, "-c", KILLER, database_url, str(KILLS)]
    done = subprocess.run(
        command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2], check=True, timeout=120
    )
    said = set(done.stdout.split())
    db = Database(database_url)
    with db.read() as session:
        kept = set(session.exec(select(Studio.name)))
    db.close()
    assert len({name.split("-")[0] for name in said}) == KILLS
    assert said <= kept
    # Each write was two rows: both are there or neither.
    halves = {name.removesuffix("-twin") for name in kept}
    assert kept == halves | {name + "-twin" for name in halves}


def test_writers_of_one_process_take_their_turns_in_the_order_they_came() -> None:
    turns, order = Turns(), []
    threads = []

    def take(number: int) -> None:
        with turns:
            order.append(number)

    with turns:
        for number in range(8):
            threads.append(threading.Thread(target=take, args=(number,)))
            threads[-1].start()
            while len(turns._waiting) <= number:
                time.sleep(0.001)
    for thread in threads:
        thread.join()
    assert order == list(range(8))
    with pytest.raises(ValueError, match="under way"), turns:
        raise ValueError("under way")
    with turns, pytest.raises(RuntimeError, match="within another"), turns:
        pass
    with turns:
        pass  # given back
