"""Copies of an SQLite database while others work on it.

The threat: the file alone is no copy. What was committed last may still lie in the write-ahead log beside it, so every
copy goes through SQLite's own online backup, is looked over, and only then gets its name.
"""

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import datetime, timezone
from pathlib import Path
from urllib.parse import quote

KEPT_BEFORE_MIGRATIONS = 5
SQLITE_MAGIC = b"SQLite format 3\x00"


class CopyFailed(Exception):
    """A copy could not be made; the message is for the person at the keyboard, and the original is untouched."""


def is_sqlite_file(path: Path) -> bool:
    with path.open("rb") as opened:
        return opened.read(len(SQLITE_MAGIC)) == SQLITE_MAGIC


def copy_sqlite(source: Path, target: Path) -> None:
    """Copy a database that may be in use to the new file ``target``, readable by its owner alone.

    Raises ``CopyFailed`` when ``target`` is there already, when there is no room, and when the copy is damaged.
    """
    if target.exists():
        raise CopyFailed(f"There is something at {target} already. Name a new file.")
    unfinished = target.with_name(f".{target.name}.unfinished")
    try:
        unfinished.unlink(missing_ok=True)
        os.close(os.open(unfinished, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        address = f"file:{quote(str(source.resolve()))}?mode=ro"
        with closing(sqlite3.connect(address, uri=True)) as original, closing(sqlite3.connect(unfinished)) as made:
            original.backup(made)
            made.execute("PRAGMA journal_mode = DELETE")  # one file, with no log beside it
            told = made.execute("PRAGMA integrity_check").fetchone()[0]
            if told != "ok":
                raise CopyFailed(f"The copy of {source.name} is damaged ({told}). Run the command check.")
        _flush(unfinished)
        os.replace(unfinished, target)
    except (sqlite3.Error, OSError) as fault:
        raise CopyFailed(f"{source.name} could not be copied to {target} ({fault}).") from None
    finally:
        unfinished.unlink(missing_ok=True)


def keep_before_migration(database: Path, revision: str, told: Callable[[str], None] | None = None) -> Path:
    """Copy a database that is about to be migrated, beside it; older such copies leave, all but the newest few.

    Raises ``CopyFailed``: without a copy nothing is migrated.
    """
    at = datetime.now(timezone.utc).strftime("%Y%m%dT%H%M%SZ")
    kept = _free_name(database, f"{at}-{revision}")
    copy_sqlite(database, kept)
    for old in sorted(database.parent.glob(f"{database.stem}.before-*{database.suffix}"))[:-KEPT_BEFORE_MIGRATIONS]:
        old.unlink(missing_ok=True)
    if told is not None:
        told(f"The database is brought up to date; as it was, it is kept as {kept}")
    return kept


def _free_name(database: Path, word: str) -> Path:
    name = database.with_name(f"{database.stem}.before-{word}{database.suffix}")
    number = 1
    while name.exists():
        number += 1
        name = database.with_name(f"{database.stem}.before-{word}-{number}{database.suffix}")
    return name


def _flush(path: Path) -> None:
    opened = os.open(path, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
