"""The studio, its limits of the rules, its places and their climate."""

from datetime import date

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from server.store.tables.base import (
    KEEP_IDS,
    ClockHours,
    DateOrder,
    DecimalMark,
    FilmUnit,
    LengthUnit,
    Light,
    Named,
    Record,
    StudioRecord,
    Table,
    TemperatureUnit,
    VolumeUnit,
    WeekStart,
    one_of,
)

SHARE_WAIT_D = 7.0


class Studio(Record, table=True):
    __table_args__ = (
        CheckConstraint("confidence_pct between 50 and 99", name="confidence_pct"),
        CheckConstraint("drops_per_ml between 1 and 100", name="drops_per_ml"),
        CheckConstraint("share_wait_d between 0 and 60", name="share_wait_d"),
        one_of("length_unit", LengthUnit),
        one_of("volume_unit", VolumeUnit),
        one_of("temperature_unit", TemperatureUnit),
        one_of("film_unit", FilmUnit),
        one_of("week_start", WeekStart),
        one_of("date_order", DateOrder),
        one_of("clock", ClockHours),
        one_of("decimal_mark", DecimalMark),
        KEEP_IDS,
    )
    name: str = Field(sa_type=Named(120))
    time_zone: str = Field(max_length=64)  # IANA name
    confidence_pct: int = Field(default=90)  # the quantile that "ready" waits for
    drops_per_ml: int = Field(default=20)  # the painter's own count
    share_wait_d: float = Field(default=SHARE_WAIT_D)  # for so long a panel may wait so that a mix serves two
    # How quantities, days and numbers are told; auto: as the language of the device asks.
    length_unit: str = Field(default="cm", max_length=8)
    volume_unit: str = Field(default="ml", max_length=8)
    temperature_unit: str = Field(default="c", max_length=8)
    film_unit: str = Field(default="um", max_length=8)
    week_start: str = Field(default="auto", max_length=8)
    date_order: str = Field(default="auto", max_length=8)
    clock: str = Field(default="auto", max_length=8)
    decimal_mark: str = Field(default="auto", max_length=8)
    language: str = Field(default="auto", max_length=8)  # BCP 47; without a CHECK, so that a new one is only a file
    is_invented: bool = Field(default=False)  # the demo studio says so on every page


class RuleLimit(StudioRecord, table=True):
    """A limit of the soundness rules that a studio set otherwise than its default; archived: back at the default."""

    __tablename__ = "rule_limit"
    __table_args__ = (UniqueConstraint("studio_id", "name"), KEEP_IDS)
    name: str = Field(max_length=64)  # as in the table of thresholds, with the same unit
    value: float


class Place(StudioRecord, table=True):
    """Where panels dry, with its climate by day and night: one value, overruled month by month."""

    __table_args__ = (one_of("light", Light), KEEP_IDS)
    name: str = Field(sa_type=Named(120))
    light: str = Field(max_length=16)  # dark, dim, room, bright, sun_glass, number
    light_factor: float | None = None  # only with light = number
    measured: bool = False  # True: the figures below were read off instruments
    temperature_c: float = 20.0
    relative_humidity_pct: float = 50.0
    night_temperature_c: float | None = None  # None: nights are like days
    night_relative_humidity_pct: float | None = None
    notes: str = Field(default="", max_length=4000)


class PlaceMonth(Table, table=True):
    __tablename__ = "place_month"
    __table_args__ = (
        UniqueConstraint("place_id", "month"),
        CheckConstraint("month between 1 and 12", name="month"),
        KEEP_IDS,
    )
    id: int | None = Field(default=None, primary_key=True)
    place_id: int = Field(foreign_key="place.id", index=True)
    month: int
    temperature_c: float
    relative_humidity_pct: float
    night_temperature_c: float | None = None
    night_relative_humidity_pct: float | None = None


class PlaceOff(Table, table=True):
    """Hours of every week, or a span of days, in which the heating of a place is off.

    ``weekdays`` ("67" is the weekend) with minutes of the day, over midnight where the end is not later; or none, with
    the first and the last day.
    """

    __tablename__ = "place_off"
    id: int | None = Field(default=None, primary_key=True)
    place_id: int = Field(foreign_key="place.id", index=True)
    position: int
    weekdays: str = Field(default="", max_length=7)
    start_min: int | None = None
    end_min: int | None = None
    from_on: date | None = None
    until_on: date | None = None
    temperature_c: float
