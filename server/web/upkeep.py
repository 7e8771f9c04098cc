"""The commands that look after a database, told in plain lines."""

import sys
from datetime import datetime, timezone
from pathlib import Path

from server.services import upkeep
from server.services.archive.pack import pack
from server.services.errors import Refused
from server.store.copies import CopyFailed
from server.store.db import Database
from server.store.migrate import NewerDatabase, migrate
from server.web.settings import DEMO_FILE, Settings, default_url


def which(demo: bool) -> str:
    """The database that is meant: the demo's, or the painter's own."""
    return default_url(DEMO_FILE) if demo else default_url()


def back_up(file: str, *, demo: bool) -> int:
    """Returns the exit status, as all of these."""
    path = Path(file)
    try:
        upkeep.back_up(which(demo), path, datetime.now(timezone.utc))
    except CopyFailed as fault:
        return _refused(fault)
    return _done(f"Backed up to {path} ({path.stat().st_size:,} bytes). Whoever has it can read everything in it.")


def export(file: str, *, demo: bool) -> int:
    """Everything of the install in one archive, the database brought up to date first."""
    from server.web.archive_files import files_of_install  # the whole model: none of the other commands needs it
    from server.web.render import Templates
    from server.web.static_files import hashed_files

    path, now = Path(file), datetime.now(timezone.utc)
    url = which(demo)
    try:
        upkeep.require_database(url)
        migrate(url, told=_say)
        db = Database(url, pool_size=1)
        settings = Settings(url)
        templates = Templates(settings.templates_dir, hashed_files(settings.static_dir))
        try:
            with upkeep.NewFile(path) as unfinished, unfinished.open("wb") as opened, db.read() as session:
                pack(session, opened, now, extras=files_of_install(session, now, templates))
        finally:
            db.close()
    except (Refused, CopyFailed, NewerDatabase) as fault:
        return _refused(fault)
    return _done(f"Everything is in {path} ({path.stat().st_size:,} bytes). Whoever has it can read it.")


def restore(file: str, *, demo: bool) -> int:
    try:
        rows = upkeep.restore(which(demo), Path(file))
    except (Refused, CopyFailed, OSError) as fault:
        return _refused(fault)
    return _done(f"Restored {rows:,} rows from {file}.")


def check(*, demo: bool) -> int:
    try:
        found = upkeep.check(which(demo))
    except Refused as fault:
        return _refused(fault)
    for fault_words in found.faults:
        sys.stdout.write(f"{fault_words}\n")
    if found.faults:
        return 1
    return _done(f"All is well: revision {found.revision}, every row whole and as the history tells.")


def _say(line: str) -> None:
    sys.stderr.write(f"{line}\n")


def _done(words: str) -> int:
    sys.stdout.write(f"{words}\n")
    return 0


def _refused(fault: Exception) -> int:
    sys.stderr.write(f"{fault}\n")
    return 1
