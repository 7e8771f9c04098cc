"""Putting readings into a batch: each instant of a place once, and the hours kept in step with them.

The rows are written past the unit of work's history, which notes the batch alone: a quarter of a million readings are
one thing that was done. A reading of an instant that the place has one of already, in a batch that stands, is left out:
what came first stays, so that anything may be sent twice.
"""

from dataclasses import dataclass
from datetime import datetime, timezone
from math import isnan
from typing import Any

import numpy as np
from sqlalchemy import bindparam, insert, or_, select, update
from sqlmodel import Session, col

from server.formats.readings.columns import Columns
from server.services.images import sql_table
from server.store.tables import Reading, ReadingBatch, ReadingExtent, ReadingHour

HOUR_S = 3600
AT_ONCE = 20_000  # rows of one statement


@dataclass(frozen=True, slots=True)
class Taken:
    """How many readings were taken, and how many were there already."""

    taken: int
    already_there: int


def take(session: Session, batch: ReadingBatch, given: Columns) -> Taken:
    """Add readings to a batch that stands in the session. Needs the lock on the batch's place."""
    assert batch.id is not None
    ordered = given.in_order()
    if not len(ordered):
        return Taken(0, len(given))
    new = ordered.of(~np.isin(ordered.at_s, _there(session, batch, ordered)))
    if len(new):
        _write(session, batch.id, new)
        _keep_hours(session, batch, new)
    return Taken(len(new), len(given) - len(new))


def _there(session: Session, batch: ReadingBatch, given: Columns) -> np.ndarray:
    """The instants between the first and the last given that the place has already."""
    first, last = _instant(given.at_s[0]), _instant(given.at_s[-1])
    query = (
        select(col(Reading.at))
        .join(ReadingBatch, col(ReadingBatch.id) == col(Reading.batch_id))
        .where(
            col(ReadingBatch.place_id) == batch.place_id,
            or_(col(ReadingBatch.archived_at).is_(None), col(ReadingBatch.id) == batch.id),
            col(Reading.at).between(first, last),
        )
    )
    return np.array([at.timestamp() for at in session.scalars(query)], dtype=float).round().astype(np.int64)


def _instant(seconds: Any) -> datetime:
    return datetime.fromtimestamp(int(seconds), timezone.utc)


def _or_none(values: np.ndarray) -> list[float | None]:
    return [None if isnan(value) else value for value in values.tolist()]


def _write(session: Session, batch_id: int, new: Columns) -> None:
    connection = session.connection()
    statement = insert(sql_table(Reading))
    for start in range(0, len(new), AT_ONCE):
        some = new.of(np.arange(start, min(start + AT_ONCE, len(new))))
        columns = (some.at_s.tolist(), some.temperature_c.tolist(), some.relative_humidity_pct.tolist())
        rows = [
            {"batch_id": batch_id, "at": _instant(at), "temperature_c": t, "relative_humidity_pct": rh, "light_lx": lx}
            for at, t, rh, lx in zip(*columns, _or_none(some.light_lx), strict=True)
        ]
        connection.execute(statement, rows)


@dataclass(frozen=True, slots=True)
class _Means:
    """Means by the hour, with how many readings each is of."""

    hours: np.ndarray
    counts: np.ndarray
    temperature_c: np.ndarray
    relative_humidity_pct: np.ndarray
    light_lx: np.ndarray


def _means(new: Columns) -> _Means:
    hours, place = np.unique(new.at_s // HOUR_S, return_inverse=True)
    counts = np.bincount(place)
    lit = ~np.isnan(new.light_lx)
    with np.errstate(invalid="ignore", divide="ignore"):
        light = np.bincount(place[lit], new.light_lx[lit], len(hours)) / np.bincount(place[lit], minlength=len(hours))
    return _Means(
        hours,
        counts,
        np.bincount(place, new.temperature_c) / counts,
        np.bincount(place, new.relative_humidity_pct) / counts,
        light,
    )


def _keep_hours(session: Session, batch: ReadingBatch, new: Columns) -> None:
    means = _means(new)
    extent = _extent(session, batch)
    known_to = _known_to(batch, extent, means)
    # What a sensor is still filling waits for its hour to end; then the hour is known, with all that came of it.
    grew = known_to > extent.known_to or bool((means.hours < extent.known_to).any())
    stored = _stored_hours(session, batch.id or 0, means)
    revision = extent.revision + 1
    table, connection = sql_table(ReadingHour), session.connection()
    rows = [_hour_row(batch.id or 0, n, means, stored, revision) for n in range(len(means.hours))]
    added = [row for row in rows if row["hour"] not in stored]
    changed = [{"b_" + name: value for name, value in row.items()} for row in rows if row["hour"] in stored]
    if added:
        connection.execute(insert(table), added)
    if changed:
        names = ("readings", "temperature_c", "relative_humidity_pct", "light_lx", "revision")
        statement = (
            update(table)
            .where(table.c.batch_id == bindparam("b_batch_id"), table.c.hour == bindparam("b_hour"))
            .values({name: bindparam("b_" + name) for name in names})
        )
        connection.execute(statement, changed)
    extents = sql_table(ReadingExtent)
    connection.execute(
        update(extents)
        .where(extents.c.batch_id == batch.id)
        .values(
            readings=extent.readings + len(new),
            first_at=min(extent.first_at or _instant(new.at_s[0]), _instant(new.at_s[0])),
            last_at=max(extent.last_at or _instant(new.at_s[-1]), _instant(new.at_s[-1])),
            known_to=known_to,
            revision=revision if grew else extent.revision,
        )
    )


def _extent(session: Session, batch: ReadingBatch) -> Any:
    table = sql_table(ReadingExtent)
    wanted = select(table).where(table.c.batch_id == batch.id)
    found = session.connection().execute(wanted).first()
    if found is None:
        session.connection().execute(insert(table).values(batch_id=batch.id, readings=0, known_to=0, revision=0))
        found = session.connection().execute(wanted).one()
    return found


def _known_to(batch: ReadingBatch, extent: Any, means: _Means) -> int:
    last = int(means.hours[-1])
    return max(extent.known_to, last if batch.source == "sensor" else last + 1)


def _stored_hours(session: Session, batch_id: int, means: _Means) -> dict[int, Any]:
    table = sql_table(ReadingHour)
    query = select(table).where(
        table.c.batch_id == batch_id, table.c.hour.between(int(means.hours[0]), int(means.hours[-1]))
    )
    given = set(means.hours.tolist())
    return {row.hour: row for row in session.connection().execute(query) if row.hour in given}


def _hour_row(batch_id: int, n: int, means: _Means, stored: dict[int, Any], revision: int) -> dict[str, Any]:
    hour, count, light = int(means.hours[n]), int(means.counts[n]), float(means.light_lx[n])
    row = {
        "batch_id": batch_id,
        "hour": hour,
        "readings": count,
        "temperature_c": float(means.temperature_c[n]),
        "relative_humidity_pct": float(means.relative_humidity_pct[n]),
        "light_lx": None if isnan(light) else light,
        "revision": revision,
    }
    before = stored.get(hour)
    if before is not None:
        row["readings"] = before.readings + count
        for name in ("temperature_c", "relative_humidity_pct", "light_lx"):
            row[name] = _joined((getattr(before, name), before.readings), (row[name], count))
    return row


def _joined(one: tuple[float | None, int], other: tuple[float | None, int]) -> float | None:
    (value, count), (more, added) = one, other
    if value is None or more is None:
        return more if value is None else value
    return (value * count + more * added) / (count + added)
