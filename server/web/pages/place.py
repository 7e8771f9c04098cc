"""One place: what its instruments said, how fast it dries, and what was read there."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter
from starlette.responses import Response

from server.formats.drawings_course import CourseDrawing, Lines, course_drawing
from server.services import places, room_course
from server.services.readings import batches
from server.services.room_course import READ, TO_COME, Course
from server.web.deps import Page, PageRequest
from server.web.forms import FormState

router = APIRouter()


@router.get("/room/{uid}")
def show(page: Page, uid: str) -> Response:
    return place_page(page, uid)


def place_page(
    page: PageRequest, uid: str, forms: Mapping[str, FormState] | None = None, status: int = 200
) -> Response:
    """The page of a place, with the forms that were sent and came back."""
    with page.db.read() as session:
        place = places.get(session, page.actor, uid)
        found = batches.of_place(session, page.actor, place)
        course = room_course.course(session, page.actor, uid, page.now, page.zone)
    given = forms or {}
    context = {
        "place": place,
        "batches": found,
        "course": course,
        "drawing": _drawn(course),
        "rows": _by_day(course),
        "reading": given.get("reading", FormState()),
        "sensor": given.get("sensor", FormState()),
    }
    return page.render("room/place.html", context, status)


@dataclass(frozen=True, slots=True)
class DayRow:
    """One day of the table beside the drawing. ``known`` says how, in words; what was not read is told rounder."""

    at: datetime
    temperature_c: float
    relative_humidity_pct: float
    speed: float
    known: str
    digits: int


def _drawn(course: Course) -> CourseDrawing:
    lines = (
        Lines("Temperature", "°C", course.temperature_c, course.usual_c),
        Lines("Humidity", "%", course.relative_humidity_pct, course.usual_pct),
        Lines("Drying speed", "against the reference room", course.speed, None),
    )
    return course_drawing(lines, course.source == READ, course.first_at, course.now)


def _by_day(course: Course) -> list[DayRow]:
    """The days of the studio's zone, from the first whole one on."""
    days: dict[str, list[int]] = {}
    for hour in range(len(course.source)):
        days.setdefault(f"{course.at(hour):%Y-%m-%d}", []).append(hour)
    return [_day_row(course, hours) for hours in list(days.values())[1:]]


def _day_row(course: Course, hours: list[int]) -> DayRow:
    source = course.source[hours]
    read, to_come = int((source == READ).sum()), int((source == TO_COME).sum())
    if to_come == len(hours):
        known = "still to come"
    elif read == len(hours) - to_come:
        known = "read"
    elif read:
        known = f"read in {read} of {len(hours) - to_come} hours"
    else:
        known = "not read"
    return DayRow(
        course.at(hours[0]),
        float(course.temperature_c[hours].mean()),
        float(course.relative_humidity_pct[hours].mean()),
        float(course.speed[hours].mean()),
        known,
        3 if read else 2,
    )
