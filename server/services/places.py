"""Places where panels dry: their light and their climate, one value and, where known, a value for each month."""

from typing import Annotated

from pydantic import Field, ValidationInfo, field_validator
from sqlalchemy import select
from sqlmodel import Session, col

from server.services import records
from server.services.access import Actor, allow
from server.services.errors import Refused
from server.services.fields import Command, HumidityPct, Notes, TemperatureC, Text120, Version
from server.services.whereabouts import panels_in
from server.store.tables import Light, Place, PlaceMonth

LightFactor = Annotated[float, Field(gt=0, le=20)]


class MonthRow(Command):
    """What the place is like in a month; both figures or neither."""

    month: Annotated[int, Field(ge=1, le=12)]
    temperature_c: TemperatureC | None = None
    relative_humidity_pct: HumidityPct | None = None

    @field_validator("relative_humidity_pct")
    @classmethod
    def _both(cls, humidity_pct: float | None, info: ValidationInfo) -> float | None:
        if "temperature_c" in info.data and (info.data["temperature_c"] is None) != (humidity_pct is None):
            raise ValueError("Give this month both its temperature and its humidity, or neither.")
        return humidity_pct


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
    months: Annotated[tuple[MonthRow, ...], Field(max_length=12)] = ()
    notes: Notes = ""

    @field_validator("light_factor")
    @classmethod
    def _with_number(cls, factor: float | None, info: ValidationInfo) -> float | None:
        light = info.data.get("light")
        if light == "number" and factor is None:
            raise ValueError("Write the number, or choose one of the words for the light.")
        return factor if light == "number" else None

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
    place = Place(studio_id=actor.studio_id, **command.model_dump(exclude={"months"}))
    session.add(place)
    session.flush()
    session.add_all(_rows(place, command))
    session.flush()
    return place


def update(session: Session, actor: Actor, uid: str, command: PlaceUpdate) -> Place:
    """Change a place. Raises ``NotFound``, ``Conflict``, ``Refused`` for an archived one."""
    place = records.find(session, actor, Place, uid, "update")
    records.refuse_archived(place, "this place")
    records.check_version(place, command, public(session, place), "this place")
    records.change(place, command.model_dump(exclude={"months", "version"}))
    if records.replace_rows(session, months_of(session, place), _rows(place, command)):
        records.mark_changed(session, place)
    session.flush()
    return place


def public(session: Session, place: Place) -> PlaceUpdate:
    """The place as the command that would leave it as it is: what an edit form starts from."""
    values = {name: getattr(place, name) for name in PlaceUpdate.model_fields if name != "months"}
    rows = tuple(
        MonthRow.model_construct(
            month=row.month, temperature_c=row.temperature_c, relative_humidity_pct=row.relative_humidity_pct
        )
        for row in months_of(session, place)
    )
    return PlaceUpdate.model_construct(**values, months=rows)


def months_of(session: Session, place: Place) -> list[PlaceMonth]:
    """The months of a place that have figures of their own, in order."""
    query = select(PlaceMonth).where(col(PlaceMonth.place_id) == place.id).order_by(col(PlaceMonth.month))
    return list(session.scalars(query))


def months_by_place(session: Session, actor: Actor) -> dict[int, list[PlaceMonth]]:
    """The months of every place of the studio in one query, by the place's id."""
    query = (
        select(PlaceMonth)
        .join(Place, col(Place.id) == col(PlaceMonth.place_id))
        .where(col(Place.studio_id) == actor.studio_id)
        .order_by(col(PlaceMonth.place_id), col(PlaceMonth.month))
    )
    found: dict[int, list[PlaceMonth]] = {}
    for row in session.scalars(query):
        found.setdefault(row.place_id, []).append(row)
    return found


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
