"""Sensors that send readings of a place by themselves, each with a token of its own.

Threat: whoever reads the database, a log or a backup sends readings in a sensor's name. The token has 256 random bits;
its hash alone is kept, and it is shown once. It opens one place and nothing else, and is revoked by one button.
"""

import hashlib
import hmac
import secrets
from dataclasses import dataclass

from sqlalchemy import select
from sqlmodel import Session, col

from server.formats.readings.columns import Columns
from server.services import records
from server.services.access import Actor, allow
from server.services.errors import NotFound, Refused
from server.services.fields import Command, Text64
from server.services.readings.batches import add_batch, locked_place
from server.services.readings.taking import Taken, take
from server.services.unit import moment
from server.store.db import Database
from server.store.tables import Place, ReadingBatch, SensorToken

PREFIX = "umb_"


class SensorCreate(Command):
    """What the painter calls it."""

    name: Text64


class WrongToken(Exception):
    """The token is not one of this place, or was revoked."""


@dataclass(frozen=True, slots=True)
class Sensor:
    """Whose token it was: the place it may send of, and the batch its readings go to."""

    studio_id: int
    place_id: int
    batch_id: int
    key: str


def hash_of(token: str) -> str:
    """What is kept of a token. A plain hash serves: nobody can guess 256 bits."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def create(session: Session, actor: Actor, place_uid: str, command: SensorCreate) -> tuple[SensorToken, str]:
    """A sensor with a batch of its own, and its token, which is never told again."""
    place = locked_place(session, actor, place_uid)
    batch = add_batch(session, place, "sensor", command.name)
    token = PREFIX + secrets.token_urlsafe(32)
    assert place.id is not None
    assert batch.id is not None
    sensor = SensorToken(studio_id=actor.studio_id, place_id=place.id, batch_id=batch.id, token_hash=hash_of(token))
    session.add(sensor)
    session.flush()
    return sensor, token


def revoke(session: Session, actor: Actor, uid: str) -> Place:
    """Let a token open nothing any more; its place. What it sent stays. There is no way back but another token."""
    query = select(SensorToken).where(col(SensorToken.uid) == records.check_uid(uid))
    sensor = session.scalars(query).first()
    if sensor is None:
        raise NotFound
    allow(actor, "archive", sensor)
    if sensor.revoked_at is None:
        sensor.revoked_at = moment(session)
        session.flush()
    return session.get_one(Place, sensor.place_id)


def who(session: Session, place_uid: str, token: str) -> Sensor:
    """Whose token this is. Raises ``NotFound`` where there is no such place, ``WrongToken``."""
    if not records.is_uid(place_uid):
        raise NotFound
    place = session.scalars(select(Place).where(col(Place.uid) == place_uid)).first()
    if place is None:
        raise NotFound
    given = hash_of(token)
    query = select(SensorToken).where(col(SensorToken.token_hash) == given, col(SensorToken.place_id) == place.id)
    found = session.scalars(query).first()
    if found is None or found.revoked_at is not None or not hmac.compare_digest(found.token_hash, given):
        raise WrongToken
    return Sensor(found.studio_id, found.place_id, found.batch_id, found.uid)


def send(db: Database, sensor: Sensor, given: Columns) -> Taken:
    """Take what a sensor sent, in one transaction.

    No unit of work: a reading every ten minutes would fill the history with what nobody did. The batch is set aside
    as a whole instead. Raises ``Refused`` for an archived place.
    """
    with db.write() as session:
        lock = select(Place).where(col(Place.id) == sensor.place_id).with_for_update()
        place = session.scalars(lock).one()
        if place.archived_at is not None:
            raise Refused("The place is archived")
        return take(session, session.get_one(ReadingBatch, sensor.batch_id), given)
