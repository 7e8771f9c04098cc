"""What a studio's calendars said last of each entry, so that a client can tell what moved.

An entry keeps its uid for ever. Its SEQUENCE grows when its time or status changes (RFC 5545, 3.8.7.4; RFC 5546,
2.1.4), its stamp is when anything of it changed: the moment of the change in the studio, or, where only time went on,
the ten minutes in which it was first told otherwise. One that goes away is told as cancelled for a while; one that has
passed stays as it was. What is written here is told to clients, and is no record: no history holds it.
"""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any

from sqlalchemy import Row, func, insert, select, update
from sqlmodel import Session, col

from server.formats.ical import Entry, Stamp
from server.services.access import Actor, allow
from server.services.board.facts import Moment
from server.services.board.today import EVERY
from server.store.db import Database
from server.store.tables import ChangeSet, PublishedEvent, Studio

CANCELLED_D = 30
PAST_D = 92
_COLUMNS = (
    *("id", "event_uid", "sequence", "when_hash", "content_hash"),
    *("created_at", "changed_at", "cancelled_at", "content_json"),
)
_EPOCH = datetime.fromisoformat("2000-01-01T00:00:00+00:00")


@dataclass(frozen=True, slots=True)
class Published:
    """Everything the studio's calendars tell, each entry with its stamp; ``changed_at`` is the latest of them,
    ``revised_at`` when anything of the studio, its links too, was changed last."""

    entries: tuple[tuple[Entry, Stamp], ...]
    changed_at: datetime
    revised_at: datetime


@dataclass(frozen=True, slots=True)
class _Told:
    """One entry as it is told now, and what of it is to be stored; ``values`` None: it is stored that way already."""

    entry: Entry
    stamp: Stamp
    values: dict[str, Any] | None = None
    row_id: int | None = None


def publish(db: Database, actor: Actor, entries: Sequence[Entry], moment: Moment) -> Published:
    """The entries with their stamps; what changed since they were told last is noted, nothing else is written."""
    allow(actor, "read", None)
    with db.read() as session:
        revised_at = _revised_at(session, actor.studio_id)
        told = _told(_stored(session, actor.studio_id), entries, moment, revised_at)
    if any(each.values is not None for each in told):
        told = _note(db, actor.studio_id, entries, moment, revised_at)
    stamped = tuple((each.entry, each.stamp) for each in told if _is_shown(each, moment))
    return _published(stamped, revised_at)


def as_told(session: Session, actor: Actor, entries: Sequence[Entry], moment: Moment) -> Published:
    """The same without noting anything: for a copy that nobody subscribes to."""
    allow(actor, "read", None)
    revised_at = _revised_at(session, actor.studio_id)
    told = _told(_stored(session, actor.studio_id), entries, moment, revised_at)
    stamped = tuple((each.entry, each.stamp) for each in told if _is_shown(each, moment))
    return _published(stamped, revised_at)


def _published(stamped: tuple[tuple[Entry, Stamp], ...], revised_at: datetime) -> Published:
    return Published(stamped, max((stamp.changed_at for _, stamp in stamped), default=revised_at), revised_at)


def _note(db: Database, studio_id: int, entries: Sequence[Entry], moment: Moment, revised_at: datetime) -> list[_Told]:
    """The same within one transaction, one process at a time: what another one noted meanwhile counts."""
    with db.write() as session:
        session.execute(select(col(Studio.id)).where(col(Studio.id) == studio_id).with_for_update())
        told = _told(_stored(session, studio_id), entries, moment, revised_at)
        new = [each.values | {"studio_id": studio_id} for each in told if each.values and each.row_id is None]
        if new:
            session.execute(insert(PublishedEvent), new)
        changed = [each.values | {"id": each.row_id} for each in told if each.values and each.row_id is not None]
        if changed:
            session.execute(update(PublishedEvent), changed)  # each row by its id
    return told


def _revised_at(session: Session, studio_id: int) -> datetime:
    """When anything of the studio was changed last."""
    last = session.scalar(select(func.max(col(ChangeSet.at))).where(col(ChangeSet.studio_id) == studio_id))
    return last if isinstance(last, datetime) else _EPOCH


def _stored(session: Session, studio_id: int) -> dict[str, Row[Any]]:
    columns = [getattr(PublishedEvent, name) for name in _COLUMNS]
    rows = session.execute(select(*columns).where(col(PublishedEvent.studio_id) == studio_id))
    return {row.event_uid: row for row in rows}


def _told(
    stored: Mapping[str, Row[Any]], entries: Sequence[Entry], moment: Moment, revised_at: datetime
) -> list[_Told]:
    found = [_one(stored.get(entry.uid), entry, moment, revised_at) for entry in entries]
    here = {entry.uid for entry in entries}
    return found + [_gone(row, moment, revised_at) for uid, row in stored.items() if uid not in here]


def _one(row: Row[Any] | None, entry: Entry, moment: Moment, revised_at: datetime) -> _Told:
    """An entry that is there."""
    if row is None:
        stamp = Stamp(0, revised_at, revised_at)
        return _Told(entry, stamp, _values(entry, stamp, None))
    entry = _begun(row, entry, moment)
    moved = row.cancelled_at is not None or row.when_hash != _when_hash(entry)
    if not moved and row.content_hash == _content_hash(entry):
        return _Told(entry, Stamp(row.sequence, row.created_at, row.changed_at), None, row.id)
    stamp = Stamp(row.sequence + moved, row.created_at, _later(row, moment, revised_at))
    return _Told(entry, stamp, _values(entry, stamp, None), row.id)


def _begun(row: Row[Any], entry: Entry, moment: Moment) -> Entry:
    """A range of days that has begun keeps the first day it was told with: a forecast's first day is never past."""
    if not entry.is_all_day or row.content_json is None or row.cancelled_at is not None:
        return entry
    before = _entry_of(row)
    if before.is_all_day and before.start < entry.start <= moment.on:
        return replace(entry, start=before.start)
    return entry


def _gone(row: Row[Any], moment: Moment, revised_at: datetime) -> _Told:
    """An entry that is there no more."""
    entry = _entry_of(row)
    is_wanted = entry.status == "NEEDS-ACTION"  # a task that is not wanted any more is not left standing
    if row.cancelled_at is not None or (_ends_at(entry, moment) <= moment.at and not is_wanted):
        return _Told(entry, Stamp(row.sequence, row.created_at, row.changed_at), None, row.id)
    entry = replace(entry, status="CANCELLED")
    stamp = Stamp(row.sequence + 1, row.created_at, _later(row, moment, revised_at))
    return _Told(entry, stamp, _values(entry, stamp, stamp.changed_at), row.id)


def _later(row: Row[Any], moment: Moment, revised_at: datetime) -> datetime:
    changed_at: datetime = row.changed_at
    return revised_at if revised_at > changed_at else max(changed_at, moment.at - EVERY)


def _is_shown(told: _Told, moment: Moment) -> bool:
    if told.entry.status == "CANCELLED":
        return moment.at - told.stamp.changed_at < timedelta(days=CANCELLED_D)
    return _ends_at(told.entry, moment) > moment.at - timedelta(days=PAST_D)


def _ends_at(entry: Entry, moment: Moment) -> datetime:
    if entry.end is None:
        return moment.at + timedelta(days=1)  # open
    return entry.end if isinstance(entry.end, datetime) else datetime.combine(entry.end, time(), moment.zone)


def _values(entry: Entry, stamp: Stamp, cancelled_at: datetime | None) -> dict[str, Any]:
    return {
        "event_uid": entry.uid,
        "sequence": stamp.sequence,
        "when_hash": _when_hash(entry),
        "content_hash": _content_hash(entry),
        "created_at": stamp.created_at,
        "changed_at": stamp.changed_at,
        "cancelled_at": cancelled_at,
        "content_json": {
            "kind": entry.kind,
            "panel": entry.panel_uid,
            "plain": entry.plain,
            "start": entry.start.isoformat(),
            "end": entry.end.isoformat() if entry.end else None,
            "status": entry.status,
            "is_busy": entry.is_busy,
        },
    }


def _entry_of(row: Row[Any]) -> Entry:
    """The entry as it was told last, without its details: those are told only while it is there."""
    told = row.content_json
    return Entry(
        kind=told["kind"],
        uid=row.event_uid,
        panel_uid=told["panel"],
        summary=told["plain"],
        plain=told["plain"],
        start=_time_of(told["start"]),
        end=_time_of(told["end"]) if told["end"] else None,
        status=told["status"],
        is_busy=told["is_busy"],
    )


def _time_of(text: str) -> date:
    return datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)


def _when_hash(entry: Entry) -> str:
    return _hash((entry.start.isoformat(), str(entry.end), entry.status, str(entry.is_busy)))


def _content_hash(entry: Entry) -> str:
    return _hash((_when_hash(entry), entry.summary, entry.description, str(entry.completed_at)))


def _hash(parts: Iterable[str]) -> str:
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()
