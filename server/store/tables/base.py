"""What every table stands on: ids, stamps, column types, closed lists."""

import secrets
from datetime import datetime, timezone
from typing import Any, Literal, get_args

from sqlalchemy import JSON, CheckConstraint, DateTime, Float, Integer, MetaData
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator
from sqlmodel import AutoString, Field, SQLModel

NAMING_CONVENTION = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


# Closed lists, kept as text with a CHECK behind them. The command models use the same types.
Light = Literal["dark", "dim", "room", "bright", "sun_glass", "number"]
MediumPartKind = Literal["oil", "solvent", "alkyd_medium", "wax", "inert", "soft_resin"]
MixPartKind = Literal["paint", "medium", "thinner", "drier", "clove_oil"]
GroundKind = Literal["acrylic", "oil", "glue_chalk", "none"]
GroundSurface = Literal["absorbent", "matte", "sealed", "gloss"]
LayerMaterial = Literal["oil", "alkyd", "acrylic", "retouch_varnish", "old_painting"]
PanelFinish = Literal["", "temporary_varnish", "final_varnish", "frame", "frame_glazed", "wrap"]
Texture = Literal["smooth", "fine_canvas", "coarse"]
Surface = Literal["matte", "gloss"]
TouchStage = Literal["wet", "tacky", "touch_dry", "firm"]
# How a studio wants quantities, days and numbers told; auto: as the language of the device asks.
LengthUnit = Literal["cm", "in"]
VolumeUnit = Literal["ml", "fl_oz"]
TemperatureUnit = Literal["c", "f"]
FilmUnit = Literal["um", "mil"]
WeekStart = Literal["auto", "monday", "sunday", "saturday"]
DateOrder = Literal["auto", "dmy", "mdy", "ymd"]
ClockHours = Literal["auto", "24", "12"]
DecimalMark = Literal["auto", "point", "comma"]
Language = Literal["auto", "en", "nl"]

KEEP_IDS = {"sqlite_autoincrement": True}  # PostgreSQL's sequences do so by themselves


def one_of(column: str, choices: Any) -> CheckConstraint:
    """The CHECK of a closed list; an empty (NULL) column passes."""
    words = ", ".join(f"'{word}'" for word in get_args(choices))
    return CheckConstraint(f"{column} in ({words})", name=column)


def json_or_null() -> JSON:
    """A JSON column in which None is SQL's NULL, not the JSON word null."""
    return JSON(none_as_null=True)


class Millimetres(TypeDecorator[float]):
    """A length that was once kept in whole millimetres. SQLite keeps a fraction in the column of integers as it is, so
    that the table need not be made anew there."""

    impl = Float
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> Any:
        return dialect.type_descriptor(Integer() if dialect.name == "sqlite" else Float(53))

    def process_bind_param(self, value: float | None, dialect: Any) -> float | None:
        return None if value is None else round(float(value), 4)

    def process_result_value(self, value: float | None, dialect: Any) -> float | None:
        return None if value is None else float(value)


class Name(str):
    """Words that somebody typed to call something by. They are told as they stand, in every language."""

    __slots__ = ()


class Named(TypeDecorator[str]):
    """A text that comes out of the database as a ``Name``."""

    impl = AutoString
    cache_ok = True

    def process_result_value(self, value: str | None, dialect: Any) -> Name | None:
        return None if value is None else Name(value)


class UtcDateTime(TypeDecorator[datetime]):
    """An aware instant, stored as UTC on every engine; a naive one is a programming error."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("naive datetime")
        return value.astimezone(timezone.utc)

    def process_result_value(self, value: datetime | None, dialect: Any) -> datetime | None:
        if value is None:
            return None
        # SQLite hands back a naive value that was stored as UTC.
        return value.replace(tzinfo=timezone.utc) if value.tzinfo is None else value.astimezone(timezone.utc)


def new_uid() -> str:
    """A random, unguessable public id of 96 bits."""
    return secrets.token_urlsafe(12)


def utc_now() -> datetime:
    return datetime.now(timezone.utc)


class Table(SQLModel):
    metadata = MetaData(naming_convention=NAMING_CONVENTION)
    __table_args__: Any = KEEP_IDS


class Private(Table):
    """Rows that the history neither keeps nor shows, since they hold hashes and whereabouts of people."""


class Record(Table):
    """What every top-level record has."""

    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(default_factory=new_uid, max_length=32, unique=True)
    version: int = Field(default=1)
    created_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    updated_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    archived_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class StudioRecord(Record):
    """A record that belongs to one studio; nobody outside it ever sees the record."""

    studio_id: int = Field(foreign_key="studio.id", index=True)
