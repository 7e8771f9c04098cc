"""Writing an archive: one snapshot of the database, row by row, with no more than a few hundred of them in memory."""

import hashlib
import json
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import IO, Any

from sqlalchemy import ColumnElement, Connection, select
from sqlalchemy import Table as SqlTable
from sqlmodel import Session

from server.services.archive import contents
from server.services.archive.manifest import (
    FORMAT_NAME,
    FORMAT_VERSION,
    MANIFEST,
    PROGRAM_VERSION,
    FileSum,
    Manifest,
    TableSum,
    table_file,
    to_json,
)
from server.services.images import to_json as value_to_json
from server.store.migrate import current_revision
from server.store.tables import Table
from server.store.transfer import CHUNK, last_ids

Extra = tuple[str, bytes]  # a file's name in the archive, and what is in it


@dataclass(slots=True)
class _Writer:
    """A zip under way, with the sums of what went in."""

    archive: zipfile.ZipFile
    at: datetime
    files: dict[str, FileSum] = field(default_factory=dict)

    def add(self, name: str, parts: Iterable[bytes]) -> None:
        if name in self.files:
            raise ValueError(f"{name} is in the archive already")
        digest, length = hashlib.sha256(), 0
        info = zipfile.ZipInfo(name, self.at.timetuple()[:6])
        info.compress_type = zipfile.ZIP_DEFLATED
        info.external_attr = 0o600 << 16
        with self.archive.open(info, "w", force_zip64=True) as opened:
            for part in parts:
                digest.update(part)
                length += len(part)
                opened.write(part)
        self.files[name] = FileSum(bytes=length, sha256=digest.hexdigest())


def pack(
    session: Session, target: IO[bytes], at: datetime, studio_id: int | None = None, extras: Iterable[Extra] = ()
) -> Manifest:
    """Write an archive of the install, or of one studio, as of the session's snapshot; ``at``: when it was made.

    ``extras`` are asked for one by one; they are for people and are not read back.
    """
    connection = session.connection()
    given = last_ids(connection)
    tables: dict[str, TableSum] = {}
    with zipfile.ZipFile(target, "w", allowZip64=True) as archive:
        writer = _Writer(archive, at)
        chosen = list(contents.leaving(studio_id))
        names = frozenset(table.name for table, _ in chosen)
        for table, scope in chosen:
            counted = _Counted(_lines(connection, table, scope, contents.blanked(table, names)))
            writer.add(table_file(table.name), counted)
            tables[table.name] = TableSum(rows=counted.number, last_id=given.get(table.name, 0))
        for name, content in extras:
            writer.add(name, (content,))
        manifest = Manifest(
            format=FORMAT_NAME,
            format_version=FORMAT_VERSION,
            program_version=PROGRAM_VERSION,
            schema_revision=current_revision(connection) or "",
            made_at=value_to_json(at),
            holds="install" if studio_id is None else "studio",
            tables=tables,
            left_out=sorted(set(Table.metadata.tables) - set(tables)),
            files=dict(writer.files),
        )
        writer.add(MANIFEST, (to_json(manifest),))
    return manifest


class _Counted:
    def __init__(self, lines: Iterable[bytes]) -> None:
        self.lines = lines
        self.number = 0

    def __iter__(self) -> Iterator[bytes]:
        for line in self.lines:
            self.number += 1
            yield line


def _lines(
    connection: Connection, table: SqlTable, scope: ColumnElement[bool] | None, blanked: dict[str, Any]
) -> Iterator[bytes]:
    query = select(table).order_by(*table.primary_key.columns)
    if scope is not None:
        query = query.where(scope)
    for row in connection.execution_options(yield_per=CHUNK).execute(query).mappings():
        image = {column.key: value_to_json(row[column.key]) for column in table.columns} | blanked
        yield json.dumps(image, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode() + b"\n"
