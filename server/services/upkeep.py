"""Looking after a whole database: copy it, put a copy back, find out whether it is whole.

Restoring happens in a database of its own first. Only what was read to the end, brought up to date and found whole is
carried over, in one transaction, into an install that nobody has entered anything into.
"""

import os
import tempfile
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path

from sqlmodel import Session

from server.services import history_check
from server.services.archive.pack import pack
from server.services.archive.unpack import unpack
from server.services.errors import Refused
from server.store import integrity, transfer
from server.store.copies import CopyFailed, copy_sqlite, is_sqlite_file
from server.store.db import WRITES, Database, database_url, make_engine
from server.store.migrate import NewerDatabase, PointsNowhere, current_revision, known_revisions, migrate

IN_USE = "There are records here already. Restoring is for an empty install, so that nothing is ever written over."


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check found: ``faults`` in plain words, at most a screenful of each kind."""

    revision: str
    faults: tuple[str, ...]


def back_up(url: str, path: Path, at: datetime) -> None:
    """Write a copy of the database to the new file ``path`` while others may go on working.

    SQLite: the database itself. PostgreSQL: an archive. Raises ``CopyFailed``.
    """
    parsed = database_url(url)
    if parsed.get_backend_name() == "sqlite":
        source = Path(parsed.database or "")
        if not source.exists():
            raise CopyFailed(f"There is no database at {source} yet.")
        copy_sqlite(source, path)
        return
    db = Database(url, pool_size=1)
    try:
        with NewFile(path) as unfinished, unfinished.open("wb") as opened, db.read() as session:
            pack(session, opened, at)
    finally:
        db.close()


class NewFile:
    """``with NewFile(path) as unfinished``: what is written to ``unfinished`` becomes ``path`` when all went well.

    Raises ``CopyFailed`` where ``path`` is taken or cannot be written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.unfinished = path.with_name(f".{path.name}.unfinished")

    def __enter__(self) -> Path:
        if self.path.exists():
            raise CopyFailed(f"There is something at {self.path} already. Name a new file.")
        try:
            self.unfinished.unlink(missing_ok=True)
            os.close(os.open(self.unfinished, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        except OSError as fault:
            raise CopyFailed(f"{self.path} cannot be written ({fault}).") from None
        return self.unfinished

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, _trace: object) -> None:
        try:
            if kind is None:
                with self.unfinished.open("rb") as opened:
                    os.fsync(opened.fileno())
                os.replace(self.unfinished, self.path)
        except OSError as error:
            raise CopyFailed(f"{self.path} cannot be written ({error}).") from None
        finally:
            self.unfinished.unlink(missing_ok=True)
        if isinstance(fault, OSError):
            raise CopyFailed(f"{self.path} cannot be written ({fault}).") from None


def restore(url: str, path: Path) -> int:
    """Put a backup or an archive into the empty install at ``url``; how many rows these were.

    Raises ``Refused`` in plain words: not ours, damaged, newer, or the install is in use. Nothing is half restored.
    """
    if not path.is_file():
        raise Refused(f"There is no file {path}.")
    with tempfile.TemporaryDirectory(prefix="umberday-restore-") as folder:
        aside = Path(folder) / "restored.db"
        if is_sqlite_file(path):
            _copy_of_backup(path, aside)
        else:
            unpack(path, aside)
        return _carry_over(f"sqlite:///{aside}", url)


def _copy_of_backup(path: Path, aside: Path) -> None:
    try:
        copy_sqlite(path, aside)
    except CopyFailed as fault:
        raise Refused(f"This backup is damaged or cannot be read. {fault}") from None
    engine = make_engine(database_url(f"sqlite:///{aside}"))
    try:
        with engine.connect() as connection:
            revision = current_revision(connection)
    finally:
        engine.dispose()
    if revision is None:
        raise Refused("This is a database, but none of Umberday's.")
    try:
        migrate(f"sqlite:///{aside}")
    except NewerDatabase:
        raise Refused("This backup was made by a newer version of Umberday. Please update the program.") from None
    except PointsNowhere:
        raise Refused("What this file holds is not whole: some of its rows name others that are not there.") from None


def _carry_over(source_url: str, url: str) -> int:
    source = make_engine(database_url(source_url))
    try:
        with source.connect() as read:
            faults = integrity.faults(read)
            if faults:
                raise Refused(f"What this file holds is not whole. {faults[0]}")
            migrate(url)
            target = make_engine(database_url(url))
            try:
                with target.execution_options(**{WRITES: True}).begin() as write:
                    if not transfer.is_untouched(write):
                        raise Refused(IN_USE)
                    transfer.clear(write)
                    return transfer.transfer(read, write)
            finally:
                target.dispose()
    finally:
        source.dispose()


def require_database(url: str) -> None:
    """Raises ``Refused`` where there is no file yet that an SQLite database would lie in."""
    parsed = database_url(url)
    if parsed.get_backend_name() == "sqlite" and not Path(parsed.database or "").exists():
        raise Refused(f"There is no database at {parsed.database} yet.")


def check(url: str) -> Checked:
    """Look over the whole database and change nothing. Raises ``Refused`` where there is none."""
    require_database(url)
    db = Database(url, pool_size=1)
    try:
        with db.read() as session:
            revision = current_revision(session.connection()) or ""
            return Checked(revision, tuple(_faults(session, revision)))
    finally:
        db.close()


def _faults(session: Session, revision: str) -> list[str]:
    newest = known_revisions()[-1]
    if revision not in known_revisions():
        return ["It was written by a newer version of Umberday. Please update the program."]
    if revision != newest:
        return [f"It is at revision {revision}; this program works with {newest}. A start brings it there."]
    found = integrity.faults(session.connection())
    return found or list(islice(history_check.faults(session), integrity.MOST_TOLD))
