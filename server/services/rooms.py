"""What the studio's places do to drying: one speed a month, against the reference room."""

from dataclasses import dataclass
from datetime import date

from sqlalchemy import func, select
from sqlmodel import Session, col

from server.science.recipe import Ground, LayerRecipe, MixRecipe, PigmentShare, Room, RoomStep
from server.science.recipe import Paint as PaintInMix
from server.science.results import LayerEstimate, Stage
from server.services import places
from server.services.access import Actor
from server.services.forecasts import FORECASTS
from server.services.recipes import Climate, climate_of
from server.store.tables import Panel, Place

# The reference of the drying model: 21 C, 50 % relative humidity, diffuse daylight of an ordinary room.
REFERENCE_ROOM = Room((RoomStep(0.0, 21.0, 50.0),), light=1.0, light_is_number=True, measured=True)
# Drying speed is told for dry-to-recoat of a neutral layer, 50 um, in linseed.
NEUTRAL = LayerRecipe(
    50.0, Ground.SEALED, (MixRecipe("neutral", 1.0, (PaintInMix(1.0, "linseed", (PigmentShare("PW6"),)),)),)
)
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
    """The studio's places with their year, in three queries and one call of the model."""
    records = places.all_archived(session, actor) if archived else places.all_open(session, actor)
    months = places.months_by_place(session, actor)
    counts = _panels_by_place(session, actor)
    climates = [climate_of(place, months.get(place.id or 0, [])) for place in records]
    years = _years(climates)
    return [
        _facts(place, climate, year, counts.get(place.id or 0, 0), on.month)
        for place, climate, year in zip(records, climates, years, strict=True)
    ]


def speeds(rooms: list[Room]) -> list[float]:
    """Drying speed of constant rooms: time to dry-to-recoat in the reference room over that in the room."""
    found = FORECASTS.of([(NEUTRAL, room) for room in (REFERENCE_ROOM, *rooms)])
    days = [f.stages[Stage.DRY_TO_RECOAT].p50_d if isinstance(f, LayerEstimate) else float("nan") for f in found]
    return [days[0] / d for d in days[1:]]


def _years(climates: list[Climate]) -> list[tuple[MonthFacts, ...]]:
    figures = [_month(climate, month) for climate in climates for month in range(1, 13)]
    rooms = [
        Room((RoomStep(0.0, temperature_c, humidity_pct),), climate.light, climate.light_is_number, climate.measured)
        for climate, (temperature_c, humidity_pct, _) in zip(
            (climate for climate in climates for _ in range(12)), figures, strict=True
        )
    ]
    facts = [
        MonthFacts(number % 12 + 1, temperature_c, humidity_pct, is_own, speed)
        for number, ((temperature_c, humidity_pct, is_own), speed) in enumerate(
            zip(figures, speeds(rooms), strict=True)
        )
    ]
    return [tuple(facts[start : start + 12]) for start in range(0, len(facts), 12)]


def _month(climate: Climate, month: int) -> tuple[float, float, bool]:
    for number, temperature_c, humidity_pct in climate.by_month:
        if number == month:
            return temperature_c, humidity_pct, True
    return climate.temperature_c, climate.relative_humidity_pct, False


def _panels_by_place(session: Session, actor: Actor) -> dict[int, int]:
    query = (
        select(col(Panel.place_id), func.count())
        .where(col(Panel.studio_id) == actor.studio_id, col(Panel.archived_at).is_(None))
        .group_by(col(Panel.place_id))
    )
    return {row[0]: row[1] for row in session.execute(query)}


def _facts(place: Place, climate: Climate, year: tuple[MonthFacts, ...], panels: int, this_month: int) -> PlaceFacts:
    words = "a number of your own" if climate.light_is_number else LIGHT_WORDS.get(place.light, place.light)
    return PlaceFacts(
        uid=place.uid,
        name=place.name,
        light=words,
        light_factor=climate.light,
        measured=place.measured,
        temperature_c=place.temperature_c,
        relative_humidity_pct=place.relative_humidity_pct,
        notes=place.notes,
        panels=panels,
        months=year,
        this_month=year[this_month - 1],
        is_archived=place.archived_at is not None,
    )
