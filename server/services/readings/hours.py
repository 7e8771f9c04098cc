"""What estimates know of a place's readings: one record of hourly means a place, kept by the process.

Asking whether anything is new takes one small query. Only the hours that changed since are read then, so that a sensor
which sends every ten minutes costs nothing but once an hour, and then one row.
"""

from collections import defaultdict
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from sqlalchemy import Pool, Row, and_, func, or_, select
from sqlmodel import Session, col

from server.science.room_record import Record
from server.services.kept import Kept
from server.store.tables import ReadingBatch, ReadingExtent, ReadingHour

BATCHES_KEPT = 2000
RECORDS_KEPT = 40


@dataclass(slots=True)
class _Hours:
    """The hours of one batch as far as they are known: hour -> (readings, temperature_c, relative_humidity_pct)."""

    revision: int
    known_to: int
    means: dict[int, tuple[int, float, float]] = field(default_factory=dict)


_batches: "WeakKeyDictionary[Pool, Kept[_Hours]]" = WeakKeyDictionary()
_records: "WeakKeyDictionary[Pool, Kept[Record]]" = WeakKeyDictionary()


def stamp_of(studio_id: int) -> Any:
    """Grows whenever a record of the studio would be another one; part of a query."""
    return (
        select(func.sum(col(ReadingExtent.revision)))
        .join(ReadingBatch, col(ReadingBatch.id) == col(ReadingExtent.batch_id))
        .where(col(ReadingBatch.studio_id) == studio_id)
        .scalar_subquery()
    )


def records_of(session: Session, studio_id: int) -> dict[int, Record]:
    """The record of every place of a studio that has readings, by the place's id."""
    rows = session.execute(
        select(
            col(ReadingBatch.place_id),
            col(ReadingExtent.batch_id),
            col(ReadingExtent.revision),
            col(ReadingExtent.known_to),
        )
        .join(ReadingExtent, col(ReadingExtent.batch_id) == col(ReadingBatch.id))
        .where(
            col(ReadingBatch.studio_id) == studio_id,
            col(ReadingBatch.archived_at).is_(None),
            col(ReadingExtent.revision) > 0,
        )
        .order_by(col(ReadingBatch.id))
    ).all()
    if not rows:
        return {}
    kept = _records.setdefault(session.get_bind().engine.pool, Kept(RECORDS_KEPT))
    by_place: dict[int, list[Row[Any]]] = defaultdict(list)
    for row in rows:
        by_place[row.place_id].append(row)
    keys: dict[int, Hashable] = {place: tuple(tuple(row) for row in each) for place, each in by_place.items()}
    found = {place: record for place, key in keys.items() if (record := kept.get(key)) is not None}
    missing = [row for place, each in by_place.items() if place not in found for row in each]
    if missing:
        hours = _hours(session, missing)
        for place in set(by_place) - set(found):
            record = _joined([hours[row.batch_id] for row in by_place[place]])
            if record is not None:
                found[place] = record
                kept.keep({keys[place]: record})
    return found


def _hours(session: Session, wanted: Sequence[Row[Any]]) -> Mapping[int, _Hours]:
    """The hours of batches, those that are not known yet read in one query."""
    kept = _batches.setdefault(session.get_bind().engine.pool, Kept(BATCHES_KEPT))
    known = {row.batch_id: kept.get(row.batch_id) or _Hours(-1, 0) for row in wanted}
    new = []
    for row in wanted:
        had = known[row.batch_id]
        changed = or_(col(ReadingHour.revision) > had.revision, col(ReadingHour.hour) >= had.known_to)
        new.append(and_(col(ReadingHour.batch_id) == row.batch_id, changed, col(ReadingHour.hour) < row.known_to))
    means: dict[int, dict[int, tuple[int, float, float]]] = {batch: dict(had.means) for batch, had in known.items()}
    query = select(
        col(ReadingHour.batch_id),
        col(ReadingHour.hour),
        col(ReadingHour.readings),
        col(ReadingHour.temperature_c),
        col(ReadingHour.relative_humidity_pct),
    ).where(or_(*new))
    for batch_id, hour, count, warmth, damp in session.execute(query):
        means[batch_id][hour] = (count, warmth, damp)
    made = {row.batch_id: _Hours(row.revision, row.known_to, means[row.batch_id]) for row in wanted}
    kept.keep(dict(made))
    return made


def _joined(batches: Sequence[_Hours]) -> Record | None:
    """The hours of all batches of a place; where several have an hour, the mean of all their readings."""
    rows = [(hour, *mean) for batch in batches for hour, mean in batch.means.items()]
    if not rows:
        return None
    hour, count, warmth, damp = np.array(rows, dtype=float).T
    hours, place = np.unique(hour.astype(np.int64), return_inverse=True)
    counts = np.bincount(place, count)
    return Record.of(hours, np.bincount(place, count * warmth) / counts, np.bincount(place, count * damp) / counts)
