"""Places where panels dry: their light and their climate, one value and, where known, a value for each month."""

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints, ValidationInfo, field_validator
from sqlalchemy import select
from sqlmodel import Session, col

from server.services import records
from server.services.access import Actor, allow
from server.services.errors import Refused
from server.services.fields import Command, Day, HumidityPct, Notes, TemperatureC, Text120, Version
from server.services.whereabouts import panels_in
from server.store.tables import Light, Place, PlaceMonth, PlaceOff

PARTS = {"months", "hours", "away"}  # of a command that are rows of their own
LightFactor = Annotated[float, Field(gt=0, le=20)]


def _both_of_the_night(humidity_pct: float | None, info: ValidationInfo) -> float | None:
    known = "night_temperature_c" in info.data
    if known and (info.data["night_temperature_c"] is None) != (humidity_pct is None):
        raise ValueError("Give the night both its temperature and its humidity, or neither.")
    return humidity_pct


class MonthRow(Command):
    """What the place is like in a month; both figures or neither."""

    month: Annotated[int, Field(ge=1, le=12)]
    temperature_c: TemperatureC | None = None
    relative_humidity_pct: HumidityPct | None = None
    night_temperature_c: TemperatureC | None = None
    night_relative_humidity_pct: HumidityPct | None = Field(default=None, validate_default=True)

    @field_validator("relative_humidity_pct")
    @classmethod
    def _both(cls, humidity_pct: float | None, info: ValidationInfo) -> float | None:
        if "temperature_c" in info.data and (info.data["temperature_c"] is None) != (humidity_pct is None):
            raise ValueError("Give this month both its temperature and its humidity, or neither.")
        return humidity_pct

    @field_validator("night_relative_humidity_pct")
    @classmethod
    def _night(cls, humidity_pct: float | None, info: ValidationInfo) -> float | None:
        _both_of_the_night(humidity_pct, info)
        if humidity_pct is not None and info.data.get("temperature_c", 0) is None:
            raise ValueError("Give this month its days first; its nights come after.")
        return humidity_pct


Weekdays = Literal["1234567", "12345", "67", "1", "2", "3", "4", "5", "6", "7"]
ClockTime = Annotated[str, StringConstraints(pattern=r"^([01][0-9]|2[0-3]):[0-5][0-9]$")]


class OffHours(Command):
    """Hours of every week in which the heating is off; an end that is not later means the next morning."""

    weekdays: Weekdays = "1234567"
    start: ClockTime
    end: ClockTime
    temperature_c: TemperatureC


class OffDays(Command):
    """Days on which it is off, the first and the last of them included."""

    from_on: Day
    until_on: Day = Field(validate_default=True)
    temperature_c: TemperatureC

    @field_validator("until_on")
    @classmethod
    def _in_order(cls, until_on: date, info: ValidationInfo) -> date:
        if "from_on" in info.data and until_on < info.data["from_on"]:
            raise ValueError("The last day lies before the first.")
        return until_on


class PlaceCreate(Command):
    """``light_factor`` only with light "number": 1 is the diffuse daylight of an ordinary room.

    ``measured``: the figures were read off instruments. ``months``: those that differ from the one value.
    """

    name: Text120
    light: Light = "room"
    light_factor: LightFactor | None = Field(default=None, validate_default=True)
    measured: bool = False
    temperature_c: TemperatureC
    relative_humidity_pct: HumidityPct
    night_temperature_c: TemperatureC | None = None
    night_relative_humidity_pct: HumidityPct | None = Field(default=None, validate_default=True)
    hours: Annotated[tuple[OffHours, ...], Field(max_length=14)] = ()
    away: Annotated[tuple[OffDays, ...], Field(max_length=60)] = ()
    months: Annotated[tuple[MonthRow, ...], Field(max_length=12)] = ()
    notes: Notes = ""

    @field_validator("light_factor")
    @classmethod
    def _with_number(cls, factor: float | None, info: ValidationInfo) -> float | None:
        light = info.data.get("light")
        if light == "number" and factor is None:
            raise ValueError("Write the number, or choose one of the words for the light.")
        return factor if light == "number" else None

    @field_validator("night_relative_humidity_pct")
    @classmethod
    def _night(cls, humidity_pct: float | None, info: ValidationInfo) -> float | None:
        return _both_of_the_night(humidity_pct, info)

    @field_validator("months")
    @classmethod
    def _each_once(cls, months: tuple[MonthRow, ...]) -> tuple[MonthRow, ...]:
        given = [row for row in months if row.temperature_c is not None and row.relative_humidity_pct is not None]
        if len({row.month for row in given}) < len(given):
            raise ValueError("A month is given twice.")
        return tuple(sorted(given, key=lambda row: row.month))


class PlaceUpdate(PlaceCreate):
    version: Version


def create(session: Session, actor: Actor, command: PlaceCreate) -> Place:
    """Add a place."""
    allow(actor, "create", None, Place)
    place = Place(studio_id=actor.studio_id, **command.model_dump(exclude=PARTS))
    session.add(place)
    session.flush()
    session.add_all([*_rows(place, command), *_off_rows(place, command)])
    session.flush()
    return place


def update(session: Session, actor: Actor, uid: str, command: PlaceUpdate) -> Place:
    """Change a place. Raises ``NotFound``, ``Conflict``, ``Refused`` for an archived one."""
    place = records.find(session, actor, Place, uid, "update")
    records.refuse_archived(place, "this place")
    records.check_version(place, command, public(session, place), "this place")
    records.change(place, command.model_dump(exclude=PARTS | {"version"}))
    other_months = records.replace_rows(session, months_of(session, place), _rows(place, command))
    other_hours = records.replace_rows(session, off_of(session, place), _off_rows(place, command))
    if other_months or other_hours:
        records.mark_changed(session, place)
    session.flush()
    return place


def public(session: Session, place: Place) -> PlaceUpdate:
    """The place as the command that would leave it as it is: what an edit form starts from."""
    values = {name: getattr(place, name) for name in PlaceUpdate.model_fields if name not in PARTS}
    rows = tuple(
        MonthRow.model_construct(**{name: getattr(row, name) for name in MonthRow.model_fields})
        for row in months_of(session, place)
    )
    off = off_of(session, place)
    hours = tuple(OffHours.model_construct(**_hours(row)) for row in off if row.weekdays)
    away = tuple(
        OffDays.model_construct(**{name: getattr(row, name) for name in OffDays.model_fields})
        for row in off
        if not row.weekdays
    )
    return PlaceUpdate.model_construct(**values, months=rows, hours=hours, away=away)


def months_of(session: Session, place: Place) -> list[PlaceMonth]:
    """The months of a place that have figures of their own, in order."""
    query = select(PlaceMonth).where(col(PlaceMonth.place_id) == place.id).order_by(col(PlaceMonth.month))
    return list(session.scalars(query))


def off_of(session: Session, place: Place) -> list[PlaceOff]:
    """When the heating of a place is off, in the order given."""
    query = select(PlaceOff).where(col(PlaceOff.place_id) == place.id).order_by(col(PlaceOff.position))
    return list(session.scalars(query))


def archive(session: Session, actor: Actor, uid: str) -> Place:
    """Hide a place. Raises ``Refused`` while a panel that is not archived dries there, or when it is the only one."""
    place = records.find(session, actor, Place, uid, "archive")
    if place.archived_at is None:
        _refuse_in_use(session, actor, place)
    return records.archive(session, actor, Place, uid)


def restore(session: Session, actor: Actor, uid: str) -> Place:
    return records.restore(session, actor, Place, uid)


def get(session: Session, actor: Actor, uid: str) -> Place:
    return records.find(session, actor, Place, uid)


def all_open(session: Session, actor: Actor) -> list[Place]:
    return records.find_all(session, actor, Place)


def all_archived(session: Session, actor: Actor) -> list[Place]:
    return records.find_all(session, actor, Place, archived=True)


def _refuse_in_use(session: Session, actor: Actor, place: Place) -> None:
    titles = panels_in(session, actor.studio_id).get(place.id or 0)
    if titles:
        raise Refused(f"“{titles[0]}” is in this place. Move its panels elsewhere first.")
    if len(all_open(session, actor)) == 1:
        raise Refused("This is the only place of the studio. Add another one first.")


def _rows(place: Place, command: PlaceCreate) -> list[PlaceMonth]:
    assert place.id is not None
    return [PlaceMonth(place_id=place.id, **row.model_dump()) for row in command.months]


def _off_rows(place: Place, command: PlaceCreate) -> list[PlaceOff]:
    assert place.id is not None
    weekly = [
        PlaceOff(
            place_id=place.id,
            position=n,
            weekdays=row.weekdays,
            start_min=_minute(row.start),
            end_min=_minute(row.end),
            temperature_c=row.temperature_c,
        )
        for n, row in enumerate(command.hours)
    ]
    dated = [
        PlaceOff(place_id=place.id, position=n, **row.model_dump()) for n, row in enumerate(command.away, len(weekly))
    ]
    return weekly + dated


def _hours(row: PlaceOff) -> dict[str, Any]:
    start, end = _clock(row.start_min), _clock(row.end_min)
    return {"weekdays": row.weekdays, "start": start, "end": end, "temperature_c": row.temperature_c}


def _minute(clock: str) -> int:
    return int(clock[:2]) * 60 + int(clock[3:])


def _clock(minute: int | None) -> str:
    return f"{(minute or 0) // 60:02}:{(minute or 0) % 60:02}"
