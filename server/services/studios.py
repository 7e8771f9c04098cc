"""The studio: its name, its clock, and what it counts on."""

from dataclasses import dataclass, fields
from typing import Annotated
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from pydantic import AfterValidator, Field, StringConstraints
from sqlalchemy import select
from sqlmodel import Session, col

from server.services import records
from server.services.access import Actor, require
from server.services.errors import NotFound, Refused
from server.services.fields import Command, Text120, Version
from server.store.db import Database
from server.store.tables import Place, Studio
from server.store.tables.base import (
    ClockHours,
    DateOrder,
    DecimalMark,
    FilmUnit,
    Language,
    LengthUnit,
    TemperatureUnit,
    VolumeUnit,
    WeekStart,
)
from server.store.tables.studio import SHARE_WAIT_D

FIRST_NAME = "My studio"
FIRST_PLACE = "Easel room"
FIRST_TIME_ZONE = "UTC"
# Names that are no places: they stand for offsets, or for old spellings nobody would look for.
_NOT_PLACES = ("Etc/", "posix/", "right/", "SystemV/")


def known_zone(name: str) -> str:
    """``name`` when the time zone is known; raises ValueError in plain words."""
    # Looked up in the list, never opened: a name is also a path.
    if name not in available_timezones():
        raise ValueError("Choose one of the list, such as Europe/Madrid.")
    ZoneInfo(name)
    return name


def zone_names() -> list[str]:
    """Time zones to choose from, in the order of the alphabet."""
    return sorted(n for n in available_timezones() if n == "UTC" or ("/" in n and not n.startswith(_NOT_PLACES)))


ShareWaitDays = Annotated[float, Field(ge=0, le=60)]
TimeZone = Annotated[str, StringConstraints(min_length=1, max_length=64), AfterValidator(known_zone)]


class StudioUpdate(Command):
    """``confidence_pct``: how sure a plan wants to be that a layer is ready. ``drops_per_ml``: counted once.
    ``share_wait_d``: for how many days a panel may wait in a plan to share a mix with another one. The rest is how
    pages tell quantities, days and numbers; what is stored and sent to programs stays metric."""

    name: Text120
    time_zone: TimeZone
    confidence_pct: Annotated[int, Field(ge=50, le=99)]
    drops_per_ml: Annotated[int, Field(ge=1, le=100)]
    share_wait_d: ShareWaitDays = SHARE_WAIT_D
    length_unit: LengthUnit = "cm"
    volume_unit: VolumeUnit = "ml"
    temperature_unit: TemperatureUnit = "c"
    film_unit: FilmUnit = "um"
    week_start: WeekStart = "auto"
    date_order: DateOrder = "auto"
    clock: ClockHours = "auto"
    decimal_mark: DecimalMark = "auto"
    language: Language = "auto"
    version: Version


class StudioForm(StudioUpdate):
    """The same with nothing left to its default: an empty box is no answer."""

    share_wait_d: ShareWaitDays


@dataclass(frozen=True, slots=True)
class Choices:
    """How pages tell quantities, days and numbers; auto: as the language of the device asks."""

    length_unit: LengthUnit = "cm"
    volume_unit: VolumeUnit = "ml"
    temperature_unit: TemperatureUnit = "c"
    film_unit: FilmUnit = "um"
    week_start: WeekStart = "auto"
    date_order: DateOrder = "auto"
    clock: ClockHours = "auto"
    decimal_mark: DecimalMark = "auto"
    language: Language = "auto"


AS_USUAL = Choices()


def choices_of(studio: Studio) -> Choices:
    return Choices(**{each.name: getattr(studio, each.name) for each in fields(Choices)})


def the_studio(session: Session) -> Studio:
    """The one studio of this install. Raises ``NotFound`` before the first start made it."""
    studio = session.scalars(select(Studio).order_by(col(Studio.id)).limit(1)).first()
    if studio is None:
        raise NotFound
    return studio


def ensure_studio(db: Database, time_zone: str = FIRST_TIME_ZONE) -> Studio:
    """The studio, made with one place in an ordinary room when there is none yet.

    ``time_zone`` is a first guess; one that is not known is left aside.
    """
    with db.read() as session:
        studio = session.scalars(select(Studio).order_by(col(Studio.id)).limit(1)).first()
        if studio is not None:
            return studio
    with db.write() as session:
        studio = session.scalars(select(Studio).order_by(col(Studio.id)).limit(1)).first()
        if studio is None:
            zone = time_zone if time_zone in available_timezones() else FIRST_TIME_ZONE
            studio = make(session, FIRST_NAME, zone)
        return studio


def all_with_zones(session: Session) -> list[tuple[int, ZoneInfo]]:
    """Every studio of the install by its record id, with its clock: for what is done to the install as a whole."""
    query = select(col(Studio.id), col(Studio.time_zone)).order_by(col(Studio.id))
    return [(studio_id, zone_or_utc(name)) for studio_id, name in session.execute(query) if studio_id is not None]


def zone_or_utc(name: str) -> ZoneInfo:
    """The zone, or UTC for a name that this machine does not know."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return ZoneInfo("UTC")


def make(session: Session, name: str, time_zone: str) -> Studio:
    """A new studio with one place in an ordinary room."""
    studio = Studio(name=name, time_zone=time_zone)
    session.add(studio)
    session.flush()
    assert studio.id is not None
    session.add(Place(studio_id=studio.id, name=FIRST_PLACE, light="room"))
    session.flush()
    return studio


def get(session: Session, actor: Actor) -> Studio:
    """The actor's studio."""
    studio = session.get(Studio, actor.studio_id)
    if studio is None:
        raise NotFound
    return studio


def update(session: Session, actor: Actor, command: StudioUpdate) -> Studio:
    """Change the settings. Raises ``Conflict`` and ``Forbidden``."""
    require(actor, "studio")
    query = select(Studio).where(col(Studio.id) == actor.studio_id).with_for_update()
    studio = session.scalars(query.execution_options(populate_existing=True)).one()
    records.check_version(studio, command, public(studio), "the studio's settings")
    records.change(studio, command.model_dump(exclude={"version"}))
    session.flush()
    return studio


def set_zone(session: Session, actor: Actor, time_zone: str) -> Studio:
    """Count days by another clock and leave the rest as it is. Raises ``Refused`` for a zone nobody knows."""
    try:
        known_zone(time_zone)
    except ValueError as fault:
        raise Refused(f"This time zone is not known here. {fault}") from None
    command = public(get(session, actor))
    return update(session, actor, command.model_copy(update={"time_zone": time_zone, "version": command.version}))


def public(studio: Studio) -> StudioUpdate:
    """The settings as the command that would leave them as they are."""
    return StudioUpdate.model_construct(**{name: getattr(studio, name) for name in StudioUpdate.model_fields})
