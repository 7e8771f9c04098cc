"""Bring a database to the newest shape. Safe to call at every start, also by several processes at once."""

from collections.abc import Callable
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, NullPool

from server.store.copies import keep_before_migration
from server.store.db import WRITES, database_url, make_engine, make_folder

SCRIPTS = Path(__file__).parent / "migrations"
_LOCK_NUMBER = 0x554D4245  # any fixed number: all processes ask PostgreSQL for the same lock


class NewerDatabase(Exception):
    """The database was written by a newer version of the program."""


class PointsNowhere(RuntimeError):
    """Rows name others that are not there; nothing was migrated."""


def configuration(connection: Connection) -> Config:
    """Alembic's configuration for work on an open connection."""
    config = Config()
    config.set_main_option("script_location", str(SCRIPTS).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


def migrate(url: str, revision: str = "head", told: Callable[[str], None] | None = None) -> str:
    """Upgrade the database at ``url``, making it where it is missing; answer the revision it is at.

    All steps are one transaction on both engines: a failing step leaves the database as it was. An SQLite file that
    has steps to take is copied beside itself first, and ``told`` is handed one line about it.
    Raises ``NewerDatabase`` where the database knows steps that this program does not, and ``CopyFailed``.
    """
    parsed = database_url(url)
    make_folder(parsed)
    # Foreign keys off: rebuilding a table in SQLite drops the old one, which would take its children along.
    engine = make_engine(parsed, enforce_foreign_keys=False, poolclass=NullPool)
    try:
        with engine.execution_options(**{WRITES: True}).begin() as connection:
            if connection.dialect.name == "postgresql":
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK_NUMBER})")
            config = configuration(connection)
            _refuse_newer(connection)
            found = current_revision(connection)
            if parsed.get_backend_name() == "sqlite" and found not in {None, _newest(config, revision)}:
                # The write lock is ours and nothing is written yet: the copy is what was committed last.
                keep_before_migration(Path(parsed.database or ""), found or "", told)
            command.upgrade(config, revision)
            _check_references(connection)
            return current_revision(connection) or ""
    finally:
        engine.dispose()


def current_revision(connection: Connection) -> str | None:
    return MigrationContext.configure(connection).get_current_revision()


def known_revisions() -> list[str]:
    """Every revision this program knows, oldest first."""
    return [script.revision for script in ScriptDirectory(str(SCRIPTS)).walk_revisions()][::-1]


def _newest(config: Config, revision: str) -> str | None:
    return ScriptDirectory.from_config(config).get_current_head() if revision == "head" else revision


def _refuse_newer(connection: Connection) -> None:
    found = current_revision(connection)
    if found is not None and found not in known_revisions():
        raise NewerDatabase("This database was written by a newer version of Umberday. Please update the program.")


def _check_references(connection: Connection) -> None:
    if connection.dialect.name == "sqlite":
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
        if broken:
            tables = ", ".join(sorted({row[0] for row in broken}))
            raise PointsNowhere(f"The migration would leave rows that point nowhere, in: {tables}.")
