"""Databases for tests: the fixtures ``database_url`` and ``database`` run a test on SQLite and on PostgreSQL.

SQLite: a copy of a migrated file. PostgreSQL: a throw-away cluster for the whole run with one migrated database, which
is emptied after each test (making a copy for each takes ten times as long). Without PostgreSQL on the machine its half
is left out, and the end of the run says so; with CI=true it fails instead.
"""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count
from pathlib import Path

import psycopg
import pytest

from server.store.db import Database
from server.store.migrate import migrate
from server.store.tables import Table

IS_CI = os.environ.get("CI", "").lower() in {"1", "true", "yes"}
SERVER_USER = "postgres"  # the server refuses to run as root
MIGRATED = "migrated"


def find_binaries() -> Path | None:
    """The folder of the newest PostgreSQL server on this machine."""
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).resolve().parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    return found[-1].parent if found else None


BINARIES = find_binaries()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if BINARIES is not None or IS_CI:
        return
    left_out = [item for item in items if item.get_closest_marker("postgres")]
    items[:] = [item for item in items if not item.get_closest_marker("postgres")]
    config.hook.pytest_deselected(items=left_out)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    if BINARIES is None and not IS_CI and not hasattr(config, "workerinput"):
        terminalreporter.section("PostgreSQL is not installed here", yellow=True)
        terminalreporter.line("Every test on PostgreSQL was left out. On Debian: apt install postgresql")


@dataclass(frozen=True)
class Cluster:
    """A running server that listens on a socket in its own folder."""

    folder: Path

    def url(self, name: str) -> str:
        return f"postgresql+psycopg://{SERVER_USER}@/{name}?host={self.folder}"

    def execute(self, *statements: str, database: str = "postgres") -> None:
        with psycopg.connect(host=str(self.folder), user=SERVER_USER, dbname=database, autocommit=True) as connection:
            for statement in statements:
                connection.execute(statement.encode())

    def empty(self, database: str) -> None:
        """Take every row out, after ending whatever still holds on to one."""
        end = (
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            f"WHERE datname = '{database}' AND pid <> pg_backend_pid()"
        )
        deletes = [f"DELETE FROM {table.name}" for table in reversed(Table.metadata.sorted_tables)]
        self.execute(end, *deletes, database=database)


def _run(tool: str, *arguments: str) -> None:
    assert BINARIES is not None
    command = [str(BINARIES / tool), *arguments]
    if os.geteuid() == 0:
        command = ["runuser", "-u", SERVER_USER, "--", *command]
    # Output goes to a file: a pipe would stay open in the server and never end.
    with tempfile.TemporaryFile("w+") as output:
        done = subprocess.run(command, stdout=output, stderr=output, stdin=subprocess.DEVNULL, cwd="/", check=False)
        output.seek(0)
        assert done.returncode == 0, output.read()


# The machine may fail, the tests may not wait.
QUICK = {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off"}


@contextmanager
def running_cluster(durability: Mapping[str, str]) -> Iterator[Cluster]:
    """A throw-away cluster, taken away at the end."""
    if BINARIES is None:
        pytest.fail("PostgreSQL is not installed, and in CI nothing is left out.")
    folder = Path(tempfile.mkdtemp(prefix="umberday-pg-"))
    if os.geteuid() == 0:
        user = pwd.getpwnam(SERVER_USER)
        os.chown(folder, user.pw_uid, user.pw_gid)
    data = folder / "data"
    _run("initdb", "-D", str(data), "-U", SERVER_USER, "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
    settings = {
        "listen_addresses": "''",
        "unix_socket_directories": f"'{folder}'",
        **durability,
        "max_connections": "200",
        "shared_buffers": "32MB",
        "timezone": "'Pacific/Auckland'",  # far from UTC, to show who forgets about zones
    }
    options = " ".join(f"-c {name}={value}" for name, value in settings.items())
    try:
        _run("pg_ctl", "-D", str(data), "-l", str(folder / "log"), "-o", options, "-w", "-t", "60", "start")
        yield Cluster(folder)
    finally:
        if (data / "postmaster.pid").exists():
            _run("pg_ctl", "-D", str(data), "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder)


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    with running_cluster(QUICK) as made:
        made.execute(f"CREATE DATABASE {MIGRATED}")
        migrate(made.url(MIGRATED))
        yield made


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sqlite") / "migrated.db"
    migrate(f"sqlite:///{path}")
    return path


_numbers = count(1)


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def engine_name(request: pytest.FixtureRequest) -> str:
    return request.param


@pytest.fixture
def empty_url(engine_name: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of a database in which nothing is, not even tables."""
    if engine_name == "sqlite":
        yield f"sqlite:///{tmp_path / 'new' / 'empty.db'}"
        return
    server: Cluster = request.getfixturevalue("cluster")
    name = f"empty_{next(_numbers)}"
    server.execute(f"CREATE DATABASE {name}")
    yield server.url(name)
    server.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def database_url(engine_name: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of a migrated database without rows."""
    if engine_name == "sqlite":
        path = tmp_path / "studio.db"
        shutil.copyfile(request.getfixturevalue("migrated_file"), path)
        yield f"sqlite:///{path}"
        return
    server: Cluster = request.getfixturevalue("cluster")
    yield server.url(MIGRATED)
    server.empty(MIGRATED)


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    made = Database(database_url)
    yield made
    made.close()
