"""What the studio's places do to drying: one speed a month, against the reference room."""

from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.science.climate import reference_clock
from server.science.recipe import Room, RoomStep
from server.services import places
from server.services.access import Actor
from server.services.climates import Climate
from server.services.stack import zone_of
from server.services.usual_year import speeds_by_month, usual
from server.services.whereabouts import panels_in, whereabouts
from server.store.tables import Place

# The reference of the drying model: 21 C, 50 % relative humidity, diffuse daylight of an ordinary room.
REFERENCE_ROOM = Room((RoomStep(0.0, 21.0, 50.0),), light=1.0, light_is_number=True, measured=True)
LIGHT_WORDS = {
    "dark": "in the dark",
    "dim": "dim room",
    "room": "diffuse daylight of an ordinary room",
    "bright": "bright window",
    "sun_glass": "sun through glass",
}


@dataclass(frozen=True, slots=True)
class MonthFacts:
    """A month in a place. ``is_own``: it has figures of its own; ``speed`` 1 is the reference room."""

    month: int
    temperature_c: float
    relative_humidity_pct: float
    is_own: bool
    speed: float


@dataclass(frozen=True, slots=True)
class PlaceFacts:
    """A place as the page of the room shows it. ``panels``: how many open panels dry there."""

    uid: str
    name: str
    light: str
    light_factor: float
    measured: bool
    temperature_c: float
    relative_humidity_pct: float
    notes: str
    panels: int
    months: tuple[MonthFacts, ...]
    this_month: MonthFacts
    is_archived: bool


def read(session: Session, actor: Actor, on: date, *, archived: bool = False) -> list[PlaceFacts]:
    """The studio's places with their year, with a number of queries that does not grow."""
    records = places.all_archived(session, actor) if archived else places.all_open(session, actor)
    climates = {place_id: row.climate for place_id, row in whereabouts(session, actor.studio_id).places.items()}
    panels = panels_in(session, actor.studio_id)
    zone = zone_of(session, actor.studio_id)
    return [_facts(place, (climates[place.id or 0], zone), len(panels.get(place.id or 0, ())), on) for place in records]


def speeds(rooms: list[Room]) -> list[float]:
    """Drying speed of constant rooms: time to dry-to-recoat in the reference room over that in the room."""
    return [float(reference_clock(room).rate[0, 0]) for room in rooms]


def year_of(climate: Climate, zone: ZoneInfo, year: int) -> tuple[MonthFacts, ...]:
    """Every month of a year as the place is usually like, and how fast it dries in all of it, nights and cold too."""
    bare = usual(climate)
    speeds = speeds_by_month(climate, zone, year)
    return tuple(MonthFacts(month, *_month(bare, month), speed) for month, speed in enumerate(speeds, 1))


def _month(climate: Climate, month: int) -> tuple[float, float, bool]:
    for number, temperature_c, humidity_pct in climate.by_month:
        if number == month:
            return temperature_c, humidity_pct, True
    return climate.temperature_c, climate.relative_humidity_pct, False


def _facts(place: Place, described: tuple[Climate, ZoneInfo], panels: int, on: date) -> PlaceFacts:
    climate, zone = described
    words = "a number of your own" if climate.light_is_number else LIGHT_WORDS.get(place.light, place.light)
    year = year_of(climate, zone, on.year)
    return PlaceFacts(
        uid=place.uid,
        name=place.name,
        light=words,
        light_factor=climate.light,
        measured=climate.measured,
        temperature_c=place.temperature_c,
        relative_humidity_pct=place.relative_humidity_pct,
        notes=place.notes,
        panels=panels,
        months=year,
        this_month=year[on.month - 1],
        is_archived=place.archived_at is not None,
    )
