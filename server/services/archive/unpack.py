"""Reading an archive into a new SQLite database, which is then brought up to date.

The threat: an archive comes from a stick or a mail, and may be cut off, changed, or made to harm. Nothing is ever
written under a name that stands in it; every length is bounded by what the manifest declares, that by the size of the
archive; every sum is compared; and all of it happens in a database of its own, before the studio's is touched.
"""

import hashlib
import json
import zipfile
import zlib
from collections.abc import Iterator
from datetime import date, datetime, timezone
from pathlib import Path
from typing import Any

from sqlalchemy import JSON, Boolean, Column, Connection, Date, DateTime, Float, Integer, MetaData, insert
from sqlalchemy import Table as SqlTable
from sqlalchemy.exc import SQLAlchemyError

from server.services.archive.contents import STAYS
from server.services.archive.manifest import MANIFEST, MAX_MANIFEST_BYTES, FileSum, Manifest, from_json, table_file
from server.services.errors import Refused
from server.store.db import WRITES, database_url, make_engine
from server.store.integrity import orphans
from server.store.migrate import known_revisions, migrate
from server.store.transfer import CHUNK, set_last_ids

MAX_LINE_BYTES = 32_000_000
# Columns of integers in which SQLite keeps fractions.
FRACTIONS = frozenset({("panel", "width_mm"), ("panel", "height_mm")})
# Lines of JSON that say the same again and again pack well; a bomb packs a thousandfold.
MAX_RATIO, FREE_BYTES = 200, 50_000_000
_BLOCK = 1 << 20
_NO_VERSION = {"alembic_version"}


def unpack(path: Path, database: Path) -> Manifest:
    """Make the new file ``database`` of an archive, at today's revision. Raises ``Refused`` in plain words."""
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = _checked_manifest(archive, path.stat().st_size)
            url = f"sqlite:///{database}"
            migrate(url, manifest.schema_revision)
            _load(archive, manifest, url)
            _compare_others(archive, manifest)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError) as fault:
        raise Refused(f"This archive is damaged ({fault}).") from None
    migrate(url)
    return manifest


def _checked_manifest(archive: zipfile.ZipFile, size: int) -> Manifest:
    infos = archive.infolist()
    names = [info.filename for info in infos]
    if MANIFEST not in names:
        raise Refused("This is no archive of Umberday: it has no list of contents.")
    if len(set(names)) != len(names):
        raise Refused("This archive has two files of the same name.")
    if any(info.flag_bits & 1 for info in infos):
        raise Refused("This archive is locked with a password. Umberday makes none that are.")
    with archive.open(MANIFEST) as opened:
        data = opened.read(MAX_MANIFEST_BYTES + 1)
    if len(data) > MAX_MANIFEST_BYTES:
        raise Refused("The list of contents in this archive is too long.")
    manifest = from_json(data)
    _check_names(set(names) - {MANIFEST}, manifest)
    if sum(part.bytes for part in manifest.files.values()) > MAX_RATIO * size + FREE_BYTES:
        raise Refused("This archive would unpack to far more than it holds. It was not made by Umberday.")
    for info in infos:
        if info.filename != MANIFEST and info.file_size != manifest.files[info.filename].bytes:
            raise Refused(f"{info.filename} in this archive has another length than its list of contents says.")
    if manifest.schema_revision not in known_revisions():
        raise Refused("This archive was made by a newer version of Umberday. Please update the program.")
    return manifest


def _check_names(found: set[str], manifest: Manifest) -> None:
    listed = set(manifest.files)
    if found - listed:
        raise Refused(f"This archive has a file that its list of contents does not name: {_one(found - listed)}.")
    if listed - found:
        raise Refused(f"A file is missing from this archive: {_one(listed - found)}.")
    if any(".." in name.split("/") for name in listed):
        raise Refused("A file in this archive has a name that leads out of it.")
    missing = {table_file(name) for name in manifest.tables} - listed
    if missing:
        raise Refused(f"A file is missing from this archive: {_one(missing)}.")


def _one(names: set[str]) -> str:
    return min(names)[:100]


def _load(archive: zipfile.ZipFile, manifest: Manifest, url: str) -> None:
    engine = make_engine(database_url(url), enforce_foreign_keys=False)
    try:
        with engine.execution_options(**{WRITES: True}).begin() as connection:
            tables = _tables_there(connection)
            unknown = set(manifest.tables) - set(tables)
            lacking = set(tables) - set(manifest.tables) - set(manifest.left_out) - STAYS
            if unknown or lacking:
                raise Refused(f"The tables of this archive are not those of its version: {_one(unknown | lacking)}.")
            for name, told in manifest.tables.items():
                rows = _rows(archive, manifest.files[table_file(name)], tables[name])
                if _insert(connection, tables[name], rows) != told.rows:
                    raise Refused(f"{name} in this archive has another number of rows than its list of contents says.")
            set_last_ids(connection, {name: told.last_id for name, told in manifest.tables.items()}, tables.values())
            nowhere = list(orphans(connection, tables.values()))
            if nowhere:
                raise Refused(f"This archive does not hold together. {nowhere[0]}")
    except SQLAlchemyError as fault:
        raise Refused(f"A row of this archive does not fit its table ({type(fault).__name__}).") from None
    finally:
        engine.dispose()


def _tables_there(connection: Connection) -> dict[str, SqlTable]:
    """The tables as they were at the archive's revision: today's classes may know other columns."""
    metadata = MetaData()
    metadata.reflect(connection)
    for table in metadata.tables.values():
        for column in table.columns:
            if isinstance(column.type, JSON):
                column.type = JSON(none_as_null=True)
    return {table.name: table for table in metadata.sorted_tables if table.name not in _NO_VERSION}


def _insert(connection: Connection, table: SqlTable, rows: Iterator[dict[str, Any]]) -> int:
    number = 0
    batch: list[dict[str, Any]] = []
    for row in rows:
        batch.append(row)
        if len(batch) == CHUNK:
            connection.execute(insert(table), batch)
            number += len(batch)
            batch = []
    if batch:
        connection.execute(insert(table), batch)
    return number + len(batch)


def _rows(archive: zipfile.ZipFile, told: FileSum, table: SqlTable) -> Iterator[dict[str, Any]]:
    digest, length, number = hashlib.sha256(), 0, 0
    with archive.open(table_file(table.name)) as opened:
        while line := opened.readline(MAX_LINE_BYTES + 1):
            number += 1
            digest.update(line)
            length += len(line)
            if len(line) > MAX_LINE_BYTES or length > told.bytes:
                raise Refused(f"{table.name} in this archive is longer than its list of contents says.")
            yield _row(table, line, number)
    _compare(table_file(table.name), told, length, digest.hexdigest())


def _row(table: SqlTable, line: bytes, number: int) -> dict[str, Any]:
    try:
        image = json.loads(line)
        if not isinstance(image, dict) or set(image) != {column.name for column in table.columns}:
            raise ValueError("its columns are not the table's")
        return {column.name: _value(column, image[column.name]) for column in table.columns}
    except (ValueError, TypeError, RecursionError) as fault:
        raise Refused(f"Line {number} of {table.name} in this archive cannot be read ({str(fault)[:120]}).") from None


def _value(column: Column[Any], value: Any) -> Any:
    """The Python value of a column. Raises ValueError and TypeError for one of another kind."""
    kind = Float() if (column.table.name, column.name) in FRACTIONS else column.type
    if value is None or isinstance(kind, JSON):
        return value
    if isinstance(kind, DateTime):
        at = datetime.fromisoformat(value)
        if at.tzinfo is None:
            raise ValueError("an instant without a zone")
        return at.astimezone(timezone.utc)
    if isinstance(kind, Date):
        return date.fromisoformat(value)
    wanted: type | tuple[type, ...] = str
    if isinstance(kind, Boolean):
        wanted = bool
    elif isinstance(kind, Integer):
        wanted = int
    elif isinstance(kind, Float):
        wanted = (int, float)
    if not isinstance(value, wanted) or (isinstance(value, bool) and wanted is not bool):
        raise TypeError("a value of another kind")
    return value


def _compare_others(archive: zipfile.ZipFile, manifest: Manifest) -> None:
    """What is for people is not read back, but a sum that is wrong tells that the archive was changed."""
    tables = {table_file(name) for name in manifest.tables}
    for name, told in manifest.files.items():
        if name in tables:
            continue
        digest, length = hashlib.sha256(), 0
        with archive.open(name) as opened:
            while block := opened.read(_BLOCK):
                digest.update(block)
                length += len(block)
                if length > told.bytes:
                    break
        _compare(name, told, length, digest.hexdigest())


def _compare(name: str, told: FileSum, length: int, digest: str) -> None:
    if length != told.bytes or digest != told.sha256:
        raise Refused(f"{name} in this archive was changed or damaged since it was made.")
