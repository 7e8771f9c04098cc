"""A file of readings on its way in: kept aside, looked at as often as one likes, taken as a whole or not at all."""

import base64
import gzip
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from pydantic import Field
from sqlalchemy import delete, select
from sqlmodel import Session, col

from server.formats.readings.table import Choices, DateOrder, ReadTable, Sight, Unreadable, look_at, read
from server.services import records
from server.services.access import Actor, allow
from server.services.errors import Invalid, Refused
from server.services.fields import Command, Uid, composed
from server.services.images import sql_table
from server.services.readings.batches import locked_place, take_in
from server.services.readings.taking import Taken
from server.store.db import Database
from server.store.tables import Place, ReadingBatch, ReadingUpload

MOST_BYTES = 24_000_000
UPLOADS_KEPT = 3  # of one studio: those looked at last
AHEAD = timedelta(minutes=10)  # a logger's clock may be a little fast


class FileChoices(Command):
    """How the file is read, as somebody chose. Columns count from 0; ``-1``: there is none."""

    upload: Uid
    at_column: int = Field(default=0, ge=0, le=99)
    clock_column: int = Field(default=-1, ge=-1, le=99)
    temperature_column: int = Field(default=1, ge=0, le=99)
    humidity_column: int = Field(default=2, ge=0, le=99)
    light_column: int = Field(default=-1, ge=-1, le=99)
    date_order: DateOrder = "year"
    clock: Literal["studio", "utc"] = "studio"
    temperature_unit: Literal["c", "f"] = "c"
    humidity_unit: Literal["pct", "share"] = "pct"
    leave_out: bool = False


@dataclass(frozen=True, slots=True)
class Preview:
    """A file as it would be taken. ``fault`` says why it cannot be."""

    upload: str
    name: str
    place: Place
    sight: Sight
    choices: FileChoices
    found: ReadTable

    @property
    def first_at(self) -> datetime | None:
        return _instant(self.found, 0)

    @property
    def last_at(self) -> datetime | None:
        return _instant(self.found, -1)


def _instant(found: ReadTable, place: int) -> datetime | None:
    if not len(found.readings):
        return None
    return datetime.fromtimestamp(int(found.readings.at_s[place]), ZoneInfo("UTC"))


def keep_aside(db: Database, actor: Actor, place_uid: str, file: tuple[str, bytes]) -> str:
    """Keep a file to be looked at; the uid it is kept under. Raises ``Invalid`` at ``file``.

    No unit of work: nothing of the studio changes.
    """
    name, content = file
    text = _text(content)
    try:
        look_at(text)
    except Unreadable as fault:
        raise Invalid.at("file", str(fault)) from None
    packed = base64.b64encode(gzip.compress(text.encode(), 1)).decode()
    with db.write() as session:
        place = records.find(session, actor, Place, place_uid)
        assert place.id is not None
        older = select(ReadingUpload).where(col(ReadingUpload.studio_id) == actor.studio_id)
        for old in list(session.scalars(older.order_by(col(ReadingUpload.id).desc())))[UPLOADS_KEPT - 1 :]:
            session.delete(old)
        shown = str(composed(name)).replace("\\", "/").rpartition("/")[2]
        clean = "".join(c for c in shown if c.isprintable())[:120] or "a file"
        upload = ReadingUpload(studio_id=actor.studio_id, place_id=place.id, name=clean, packed=packed)
        session.add(upload)
        session.flush()
        return upload.uid


def _text(content: bytes) -> str:
    if len(content) > MOST_BYTES:
        raise Invalid.at("file", f"A file may have {MOST_BYTES // 1_000_000} MB. Divide it and send the parts.")
    if not content.strip():
        raise Invalid.at("file", "Choose a file with readings in it.")
    for encoding in ("utf-8-sig", "utf-16" if content[:2] in {b"\xff\xfe", b"\xfe\xff"} else "cp1252"):
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text
    raise Invalid.at("file", "This is not a table of text. Save it as CSV first.")


def guessed(upload: str, sight: Sight) -> FileChoices:
    """The choices that the look of a file suggests."""
    found = sight.choices
    return FileChoices(
        upload=upload,
        at_column=found.at_column,
        clock_column=-1 if found.clock_column is None else found.clock_column,
        temperature_column=found.temperature_column,
        humidity_column=found.humidity_column,
        light_column=-1 if found.light_column is None else found.light_column,
        date_order=found.date_order,
        clock=found.clock,
        temperature_unit="f" if found.fahrenheit else "c",
        humidity_unit="share" if found.fraction else "pct",
    )


def preview(
    session: Session, actor: Actor, given: str | FileChoices, place_uid: str, when: tuple[datetime, ZoneInfo]
) -> Preview:
    """The file read, by ``given`` choices or, for an upload's uid, by those its look suggests. ``when``: now and the
    studio's zone. Raises ``NotFound``; ``Refused`` once the file is no longer kept; ``Invalid``."""
    allow(actor, "read", None)
    place = records.find(session, actor, Place, place_uid)
    uid = given if isinstance(given, str) else given.upload
    query = select(ReadingUpload).where(col(ReadingUpload.uid) == uid, col(ReadingUpload.studio_id) == actor.studio_id)
    upload = session.scalars(query).first()
    if upload is None or upload.place_id != place.id:
        raise Refused("This file is no longer kept here. Choose it again.")
    text = gzip.decompress(base64.b64decode(upload.packed)).decode()
    sight = look_at(text)
    choices = guessed(uid, sight) if isinstance(given, str) else given
    now, zone = when
    try:
        found = read(text, _as_chosen(sight, choices), zone, now + AHEAD)
    except Unreadable as fault:
        raise Invalid.at("file", str(fault)) from None
    return Preview(uid, upload.name, place, sight, choices, found)


def _as_chosen(sight: Sight, choices: FileChoices) -> Choices:
    def maybe(column: int) -> int | None:
        return None if column < 0 else column

    return replace(
        sight.choices,
        at_column=choices.at_column,
        clock_column=maybe(choices.clock_column),
        temperature_column=choices.temperature_column,
        humidity_column=choices.humidity_column,
        light_column=maybe(choices.light_column),
        date_order=choices.date_order,
        clock=choices.clock,
        fahrenheit=choices.temperature_unit == "f",
        fraction=choices.humidity_unit == "share",
    )


def take_file(session: Session, actor: Actor, seen: Preview) -> tuple[ReadingBatch, Taken]:
    """Take a file as it was looked at, all of it or nothing. Needs a unit of work.

    Raises ``Invalid`` at ``leave_out`` while rows are faulty and nobody said to leave them out, and where no reading
    is new.
    """
    place = locked_place(session, actor, seen.place.uid)
    if seen.found.faulty and not seen.choices.leave_out:
        raise Invalid.at("leave_out", "Some rows cannot be read. Say that they may be left out, or choose otherwise.")
    if not len(seen.found.readings):
        raise Invalid.at("at_column", "No row of this file can be read with these choices.")
    batch, taken = take_in(session, place, ("file", seen.name), seen.found.readings)
    if not taken.taken:
        raise Invalid.at("", "All of these readings are here already. Nothing was changed.")
    uploads = sql_table(ReadingUpload)
    session.connection().execute(delete(uploads).where(uploads.c.uid == seen.upload))
    return batch, taken
