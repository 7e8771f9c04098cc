"""The database: one engine, sessions that only read, and sessions that write.

SQLite is the default, PostgreSQL comes by URL. The threat this module answers is the lost record: two writers that
overwrite each other, a writer that is told 'locked', a commit that a power cut takes back. On SQLite a write session
therefore takes the write lock before it reads (``BEGIN IMMEDIATE``), and the log is flushed at every commit. Writers of
one process take their turns in the order in which they came: SQLite itself lets them try again and again, and one who
has bad luck waits for many seconds.
"""

import sqlite3
import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlmodel import Session

POOL_SIZE = 16  # equal to the web server's thread limit: a thread needs one connection at a time
BUSY_TIMEOUT_MS = 30_000  # a machine under load makes writers wait; none may be told so
READ_ONLY = "read_only"  # keys in ``Session.info``
DATABASE = "database"
WRITES = "takes_write_lock"  # execution option


class ReadOnlySession(RuntimeError):
    """Something tried to write through a session that only reads: an error of the program."""


def database_url(url: str) -> URL:
    """``url`` with the driver we ship for PostgreSQL. Raises ValueError for other engines and for SQLite in memory."""
    parsed = make_url(url)
    backend = parsed.get_backend_name()
    if backend in {"postgresql", "postgres"}:
        return parsed.set(drivername="postgresql+psycopg")
    if backend != "sqlite":
        raise ValueError("The database must be SQLite or PostgreSQL.")
    if not parsed.database or parsed.database == ":memory:":
        raise ValueError("The SQLite database must be a file.")
    return parsed


def make_folder(url: URL) -> None:
    """Make the folder an SQLite file lies in, for its owner alone."""
    if url.get_backend_name() == "sqlite" and url.database:
        Path(url.database).parent.mkdir(mode=0o700, parents=True, exist_ok=True)


def make_engine(url: URL, *, enforce_foreign_keys: bool = True, **options: Any) -> Engine:
    """An engine whose errors never print a row's values. Migrations alone turn foreign keys off while they work."""
    engine = create_engine(url, hide_parameters=True, **options)
    if url.get_backend_name() == "sqlite":

        @event.listens_for(engine, "connect")
        def prepare(connection: sqlite3.Connection, _record: object) -> None:
            connection.isolation_level = None  # we say BEGIN ourselves, see below
            connection.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")  # NORMAL may lose the last commits on power loss
            connection.execute("PRAGMA secure_delete = ON")  # what is purged is in no copy of the file either
            connection.execute(f"PRAGMA foreign_keys = {'ON' if enforce_foreign_keys else 'OFF'}")

        @event.listens_for(engine, "begin")
        def begin(connection: Connection) -> None:
            takes_lock = connection.get_execution_options().get(WRITES, False)
            connection.exec_driver_sql("BEGIN IMMEDIATE" if takes_lock else "BEGIN")

    return engine


class Turns:
    """A lock that is handed on in the order in which it was asked for. Who has it and asks again is told so, in place
    of waiting for themselves for ever."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: deque[threading.Event] = deque()
        self._is_taken = False
        self._holder = 0

    def __enter__(self) -> None:
        me = threading.get_ident()
        with self._lock:
            if self._holder == me:
                raise RuntimeError("A write session was opened within another one of the same thread.")
            if not self._is_taken:
                self._is_taken, self._holder = True, me
                return
            mine = threading.Event()
            self._waiting.append(mine)
        mine.wait()
        self._holder = me

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._holder = 0
            if self._waiting:
                self._waiting.popleft().set()
            else:
                self._is_taken = False


def _beside(url: URL) -> Path | None:
    """Where the key of a database file is; None of a database that is no file."""
    if url.get_backend_name() != "sqlite" or not url.database or url.database == ":memory:":
        return None
    return Path(url.database).with_suffix(".key")


class Database:
    """A migrated database. Thread-safe; keep one for the life of the process and ``close()`` it at the end."""

    def __init__(self, url: str, pool_size: int = POOL_SIZE, secret_file: Path | None = None) -> None:
        """``pool_size``: connections kept open; at least the number of threads that use this database. ``secret_file``:
        where the key of what is stored sealed is; of a database file beside it unless said otherwise."""
        self.url = database_url(url)
        self.secret_file = secret_file or _beside(self.url)
        make_folder(self.url)
        self.engine = make_engine(self.url, pool_size=pool_size, max_overflow=4)
        self.is_sqlite = self.engine.dialect.name == "sqlite"
        self._turns = Turns() if self.is_sqlite else nullcontext()
        self._writer = self.engine.execution_options(**{WRITES: True})
        # One snapshot for all queries of a page, as SQLite gives it anyway.
        self._reader = (
            self.engine
            if self.is_sqlite
            else self.engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
        )

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session on one consistent snapshot; a flush with changes in it raises ``ReadOnlySession``."""
        with Session(self._reader, expire_on_commit=False) as session:
            session.info[READ_ONLY] = True
            session.info[DATABASE] = self
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """One transaction: leaving commits, raising rolls everything back."""
        with self._turns, Session(self._writer, expire_on_commit=False) as session:
            session.info[DATABASE] = self
            session.connection()  # take the lock before the first read
            yield session
            session.commit()

    def close(self) -> None:
        self.engine.dispose()


def database_of(session: Session) -> Database:
    """The database a session was opened on. Raises KeyError for a session that none opened."""
    found: Database = session.info[DATABASE]
    return found


@event.listens_for(Session, "before_flush")
def _refuse_write(session: Session, _context: object, _instances: object) -> None:
    if session.info.get(READ_ONLY) and (session.new or session.dirty or session.deleted):
        raise ReadOnlySession("This session only reads.")
