"""Every database, however old, becomes today's; and today's tables are what the migrations make."""

import sqlite3
import subprocess
import sys
import time
from argparse import Namespace
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect, text
from sqlalchemy.exc import IntegrityError

from server.store import integrity
from server.store.db import Database, database_url
from server.store.migrate import SCRIPTS, NewerDatabase, configuration, current_revision, migrate
from server.store.tables import Table
from tests.store.old_rows import OLD_ROWS, REVISIONS, insert_rows, reflected, rows_of


def test_the_tables_are_what_the_migrations_make(database: Database) -> None:
    with database.engine.connect() as connection:
        command.check(configuration(connection))  # raises when a table or column differs


def test_checks_are_in_the_database(database: Database) -> None:
    """``alembic check`` does not look at CHECK constraints, so they are compared here by name."""
    found = inspect(database.engine)
    for table in Table.metadata.sorted_tables:
        wanted = {c.name for c in table.constraints if type(c).__name__ == "CheckConstraint"}
        assert {c["name"] for c in found.get_check_constraints(table.name)} == wanted


def test_migrating_twice_changes_nothing(empty_url: str) -> None:
    first = migrate(empty_url)
    assert migrate(empty_url) == first == REVISIONS[-1]


@pytest.mark.parametrize("revision", REVISIONS)
def test_a_database_of_every_earlier_migration_keeps_its_rows(empty_url: str, revision: str) -> None:
    migrate(empty_url, revision)
    engine = create_engine(database_url(empty_url))
    with engine.begin() as connection:
        insert_rows(connection, revision)
        assert current_revision(connection) == revision
    migrate(empty_url)
    with engine.begin() as connection:
        for table, rows in OLD_ROWS[revision].items():
            assert rows_of(connection, table, rows) == rows
        assert integrity.faults(connection) == []
    engine.dispose()


@pytest.mark.parametrize("revision", [one for one in REVISIONS if one < "0025"])
def test_a_studio_of_an_earlier_release_lets_panels_wait_a_week_to_share_a_mix(empty_url: str, revision: str) -> None:
    migrate(empty_url, revision)
    engine = create_engine(database_url(empty_url))
    with engine.begin() as connection:
        insert_rows(connection, revision)
    migrate(empty_url)
    with engine.begin() as connection:
        assert connection.scalars(text("SELECT share_wait_d FROM studio")).all() == [7.0]
    with pytest.raises(IntegrityError), engine.begin() as connection:
        connection.execute(text("UPDATE studio SET share_wait_d = 60.5"))
    engine.dispose()


@pytest.mark.parametrize("revision", REVISIONS)
def test_the_old_rows_fill_every_table_and_column_there_was(tmp_path: Path, revision: str) -> None:
    url = f"sqlite:///{tmp_path / 'old.db'}"
    migrate(url, revision)
    engine = create_engine(url)
    with engine.connect() as connection:
        there = {table.name: set(table.columns.keys()) for table in reflected(connection).sorted_tables}
    engine.dispose()
    del there["alembic_version"]
    assert {name: set(rows[0]) for name, rows in OLD_ROWS[revision].items()} == there


def test_every_migration_and_table_is_in_the_upgrade_test() -> None:
    scripts = ScriptDirectory(str(SCRIPTS)).walk_revisions()
    assert {script.revision for script in scripts} == set(REVISIONS)
    for rows in OLD_ROWS.values():
        assert all(rows.values())
    assert set(OLD_ROWS[REVISIONS[-1]]) == set(Table.metadata.tables)


def test_down_and_up_again(empty_url: str) -> None:
    migrate(empty_url)
    engine = create_engine(database_url(empty_url))
    with engine.begin() as connection:
        command.downgrade(configuration(connection), "base")
        assert set(inspect(connection).get_table_names()) <= {"alembic_version"}
    engine.dispose()
    migrate(empty_url)


def test_processes_that_start_together_do_not_trip_over_each_other(empty_url: str) -> None:
    program = "import sys; from server.store.migrate import migrate; sys.stdin.read(); print(migrate(sys.argv[1]))"
    running = [
        subprocess.Popen(
            [sys.executable, "-c", program, empty_url],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[2],
        )
        for _ in range(3)
    ]
    time.sleep(2)  # all have loaded and wait for the end of their input
    for process in running:
        assert process.stdin is not None
        process.stdin.close()
        process.stdin = None
    assert [process.communicate(timeout=60)[0].strip() for process in running] == [REVISIONS[-1]] * 3


def test_the_command_line_of_developers_works(empty_url: str) -> None:
    options = Namespace(x=[f"url={empty_url}"])
    command.upgrade(Config(str(SCRIPTS.parent / "alembic.ini"), cmd_opts=options), "head")
    assert migrate(empty_url) == REVISIONS[-1]


def test_a_newer_database_is_refused(empty_url: str) -> None:
    migrate(empty_url)
    engine = create_engine(database_url(empty_url))
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(NewerDatabase, match="newer version"):
        migrate(empty_url)
    engine.dispose()


def test_a_migration_that_would_orphan_rows_is_rolled_back(tmp_path: Path) -> None:
    path = tmp_path / "studio.db"
    migrate(f"sqlite:///{path}")
    with sqlite3.connect(path) as raw:  # without foreign keys switched on
        raw.execute("INSERT INTO layer_mix (layer_id, position, mix_id, region, area_share) VALUES (7, 0, 7, '', 1.0)")
    raw.close()
    with pytest.raises(RuntimeError, match="layer_mix"):
        migrate(f"sqlite:///{path}")


def test_the_check_constraints_bite(database: Database) -> None:
    statement = "INSERT INTO place_month (place_id, month, temperature_c, relative_humidity_pct) VALUES (1, 13, 20, 50)"
    with pytest.raises(IntegrityError), database.engine.begin() as connection:
        connection.execute(text(statement))
