"""The batches of a place: one reading typed in, and every batch set aside or brought back as a whole."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated

from pydantic import Field
from sqlalchemy import select
from sqlmodel import Session, col

from server.formats.readings.columns import EARLIEST_S, MOST_LX, columns
from server.services import records
from server.services.access import Actor, allow
from server.services.errors import Invalid, Refused
from server.services.fields import Command, HumidityPct, Instant, TemperatureC
from server.services.readings.taking import Taken, take
from server.services.unit import moment
from server.store.tables import Place, ReadingBatch, ReadingExtent, SensorToken

LightLx = Annotated[float, Field(ge=0, le=MOST_LX)]
TYPED_SHOWN = 60


class ReadingCreate(Command):
    """One look at thermometer and hygrometer. ``at`` None: now."""

    at: Instant | None = None
    temperature_c: TemperatureC
    relative_humidity_pct: HumidityPct
    light_lx: LightLx | None = None


@dataclass(frozen=True, slots=True)
class BatchFacts:
    """A batch as its place's page lists it. ``token_uid`` where a sensor may still send; ``""`` once it is revoked."""

    uid: str
    source: str
    name: str
    readings: int
    first_at: datetime | None
    last_at: datetime | None
    created_at: datetime
    is_archived: bool
    token_uid: str


def locked_place(session: Session, actor: Actor, place_uid: str) -> Place:
    """The place, locked until the transaction ends, so that two batches never take the same instant.

    Raises ``NotFound``, ``Refused`` for an archived place.
    """
    place = records.find(session, actor, Place, place_uid, "update")
    records.refuse_archived(place, "this place")
    return place


def add_batch(session: Session, place: Place, source: str, name: str = "") -> ReadingBatch:
    """A batch without readings yet."""
    assert place.id is not None
    batch = ReadingBatch(studio_id=place.studio_id, place_id=place.id, source=source, name=name[:120])
    session.add(batch)
    session.flush()
    return batch


def type_in(session: Session, actor: Actor, place_uid: str, command: ReadingCreate) -> ReadingBatch:
    """Take one reading. Raises ``Invalid`` at ``at`` for one to come, and where the place has one of that instant."""
    place = locked_place(session, actor, place_uid)
    now = moment(session)
    at = (command.at or now).replace(microsecond=0)
    if at > now + timedelta(minutes=1):
        raise Invalid.at("at", "This is still to come. Write when the instruments were read.")
    if at.timestamp() < EARLIEST_S:
        raise Invalid.at("at", "Readings are taken from 1990 on.")
    light = float("nan") if command.light_lx is None else command.light_lx
    given = columns([int(at.timestamp())], [command.temperature_c], [command.relative_humidity_pct], [light])
    batch = add_batch(session, place, "typed")
    if not take(session, batch, given).taken:
        raise Invalid.at("at", "There is a reading of that moment already. Set that one aside first, if it is wrong.")
    return batch


def take_in(session: Session, place: Place, source: tuple[str, str], given: object) -> tuple[ReadingBatch, Taken]:
    """A new batch of ``source`` (kind, name) with these columns."""
    batch = add_batch(session, place, *source)
    return batch, take(session, batch, given)  # type: ignore[arg-type]


def set_aside(session: Session, actor: Actor, uid: str) -> tuple[ReadingBatch, Place]:
    """Leave a batch's readings out of everything."""
    batch = records.archive(session, actor, ReadingBatch, uid)
    return batch, session.get_one(Place, batch.place_id)


def bring_back(session: Session, actor: Actor, uid: str) -> tuple[ReadingBatch, Place]:
    """Count them again."""
    batch = records.restore(session, actor, ReadingBatch, uid)
    place = session.get_one(Place, batch.place_id)
    if place.archived_at is not None:
        raise Refused("The place of these readings is archived. Bring that back first.")
    return batch, place


def of_place(session: Session, actor: Actor, place: Place) -> list[BatchFacts]:
    """The batches of a place, the newest first; of those typed in the last few dozen."""
    allow(actor, "read", place)
    query = (
        select(ReadingBatch, ReadingExtent, col(SensorToken.uid))
        .join(ReadingExtent, col(ReadingExtent.batch_id) == col(ReadingBatch.id), isouter=True)
        .join(
            SensorToken,
            (col(SensorToken.batch_id) == col(ReadingBatch.id)) & col(SensorToken.revoked_at).is_(None),
            isouter=True,
        )
        .where(col(ReadingBatch.place_id) == place.id)
        .order_by(col(ReadingBatch.id).desc())
        .limit(TYPED_SHOWN * 5)
    )
    return list(_few_typed(_facts(*row) for row in session.execute(query)))


def _few_typed(facts: Iterable[BatchFacts]) -> Iterable[BatchFacts]:
    typed = 0
    for fact in facts:
        typed += fact.source == "typed"
        if fact.source != "typed" or typed <= TYPED_SHOWN:
            yield fact


def _facts(batch: ReadingBatch, extent: ReadingExtent | None, token_uid: str | None) -> BatchFacts:
    return BatchFacts(
        uid=batch.uid,
        source=batch.source,
        name=batch.name,
        readings=extent.readings if extent else 0,
        first_at=extent.first_at if extent else None,
        last_at=extent.last_at if extent else None,
        created_at=batch.created_at,
        is_archived=batch.archived_at is not None,
        token_uid=token_uid or "",
    )
