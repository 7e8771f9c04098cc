"""What instruments said of a place: readings in batches, their hourly means, and what posts them.

A batch is what came together: one reading typed in, a file, everything a sensor ever sent. It alone is a record with a
history, so that it is set aside as a whole, however many readings it holds; the other rows are ``Private``, of which
the history keeps no image. Readings are only ever added; estimates never look at them but at the hours.
"""

from datetime import datetime
from typing import Literal

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from server.store.tables.base import KEEP_IDS, Named, Private, StudioRecord, UtcDateTime, new_uid, one_of, utc_now

ReadingSource = Literal["typed", "file", "sensor"]


class ReadingBatch(StudioRecord, table=True):
    """``name`` is that of the file or the sensor. Archived: its readings are set aside."""

    __tablename__ = "reading_batch"
    __table_args__ = (one_of("source", ReadingSource), KEEP_IDS)
    place_id: int = Field(foreign_key="place.id", index=True)
    source: str = Field(max_length=8)
    name: str = Field(default="", sa_type=Named(120))


class ReadingExtent(Private, table=True):
    """How many readings a batch holds and from when to when; ``revision`` grows when an hour that estimates know does.

    ``known_to`` is the hour, counted from 1970, before which they know it: the one a sensor is still filling is left
    out, so that a reading every ten minutes moves dates once an hour.
    """

    __tablename__ = "reading_extent"
    __table_args__ = (UniqueConstraint("batch_id"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    batch_id: int = Field(foreign_key="reading_batch.id")
    readings: int = 0
    first_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    last_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    known_to: int = 0
    revision: int = 0


class Reading(Private, table=True):
    """One look at the instruments, to the second."""

    __table_args__ = (UniqueConstraint("batch_id", "at"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    batch_id: int = Field(foreign_key="reading_batch.id")
    at: datetime = Field(sa_type=UtcDateTime)
    temperature_c: float
    relative_humidity_pct: float
    light_lx: float | None = None


class ReadingHour(Private, table=True):
    """The mean of a batch's readings within an hour; ``revision`` is the extent's at which it was last changed."""

    __tablename__ = "reading_hour"
    __table_args__ = (UniqueConstraint("batch_id", "hour"), CheckConstraint("readings > 0", name="readings"), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    batch_id: int = Field(foreign_key="reading_batch.id")
    hour: int  # counted from 1970-01-01T00:00Z
    readings: int
    temperature_c: float
    relative_humidity_pct: float
    light_lx: float | None = None
    revision: int


class ReadingUpload(Private, table=True):
    """A file that is being looked at before it is taken: its text, packed. Not kept once that is done."""

    __tablename__ = "reading_upload"
    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(default_factory=new_uid, max_length=32, unique=True)
    studio_id: int = Field(foreign_key="studio.id", index=True)
    place_id: int = Field(foreign_key="place.id")
    name: str = Field(sa_type=Named(120))
    packed: str  # gzip, written in base64
    created_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)


class SensorToken(Private, table=True):
    """What lets a sensor send readings of one place, into a batch of its own, until it is revoked.

    Only the hash of the token is kept.
    """

    __tablename__ = "sensor_token"
    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(default_factory=new_uid, max_length=32, unique=True)
    studio_id: int = Field(foreign_key="studio.id", index=True)
    place_id: int = Field(foreign_key="place.id", index=True)
    batch_id: int = Field(foreign_key="reading_batch.id")
    token_hash: str = Field(max_length=64, unique=True)
    created_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
