"""The room: places where panels dry, what their light and climate are, and how fast that dries."""

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.formats.drawings_year import YearDrawing, year_drawing
from server.science.reference import lights
from server.services import places, rooms
from server.services.places import PlaceCreate, PlaceUpdate
from server.services.rooms import PlaceFacts
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState
from server.web.pages.changes import Done, FormPage, change_by_button
from server.web.pages.record_forms import Reads, save
from server.web.words import MONTHS, WEEKDAYS

router = APIRouter(prefix="/room")
# Every month has its row; its number alone says nothing about it.
QUIET = ("month", "weekdays")
MONTH_FIGURES = ("temperature_c", "relative_humidity_pct", "night_temperature_c", "night_relative_humidity_pct")
MONTH_NUMBERS = frozenset(str(n) for n in range(1, 13))


WEEKLY = (
    ("1234567", "every day"),
    ("12345", "Monday to Friday"),
    ("67", "Saturday and Sunday"),
    *((str(n), day) for n, day in enumerate(WEEKDAYS, 1)),
)


@dataclass(frozen=True, slots=True)
class PlaceShown:
    """A place with the drawing of its year."""

    place: PlaceFacts
    year: YearDrawing


class PlaceForm(FormPage):
    """A form whose months stand at their own numbers, whichever of them were stored."""

    def show(self, page: PageRequest, form: FormState, status: int = 200) -> Response:
        form.values = _all_months(by_month(form.values))
        if form.theirs:
            form.theirs = _all_months(by_month(form.theirs))
        return super().show(page, form, status)


def by_month(values: dict[str, str]) -> dict[str, str]:
    """The form's texts with each month at row month - 1 instead of where it stood in the list."""
    numbers = {
        name.split("-")[1]: int(month) - 1
        for name, month in values.items()
        if name.startswith("months-") and name.endswith("-month") and month in MONTH_NUMBERS
    }
    moved = {}
    for name, value in values.items():
        parts = name.split("-")
        if parts[0] == "months" and len(parts) == 3 and parts[1] in numbers:
            moved[f"months-{numbers[parts[1]]}-{parts[2]}"] = value
        else:
            moved[name] = value
    return moved


def _all_months(values: dict[str, str]) -> dict[str, str]:
    blank = {f"months-{n}-{name}": "" for n in range(12) for name in MONTH_FIGURES}
    return blank | {f"months-{n}-month": str(n + 1) for n in range(12)} | values


@router.get("")
def all_of_them(page: Page, archived: bool = False) -> Response:
    with page.db.read() as session:
        found = rooms.read(session, page.actor, page.today, archived=archived)
    shown = [PlaceShown(p, year_drawing([m.speed for m in p.months], page.today.month)) for p in found]
    return page.render("room/page.html", {"places": shown, "is_archived": archived, "months": MONTHS})


@router.get("/new")
def new(page: Page) -> Response:
    return _form().show(page, FormState())


@router.post("/new")
def add(page: Page, posted: Posted) -> Response:
    def act(session: Session, command: Any) -> Done:
        place = places.create(session, page.actor, command)
        return Done(f"Added the place “{place.name}”", f"/room#{place.uid}")

    return save(page, posted, Reads(PlaceCreate, QUIET), _form(), act)


@router.get("/{uid}/edit")
def edit(page: Page, uid: str) -> Response:
    with page.db.read() as session:
        place = places.get(session, page.actor, uid)
        form = FormState.of(places.public(session, place))
    return _form(uid, place.archived_at is not None).show(page, form)


@router.post("/{uid}/edit")
def change(page: Page, posted: Posted, uid: str) -> Response:
    with page.db.read() as session:
        place = places.get(session, page.actor, uid)

    def act(session: Session, command: Any) -> Done:
        changed = places.update(session, page.actor, uid, command)
        return Done(f"Changed the place “{changed.name}”", f"/room#{uid}")

    return save(page, posted, Reads(PlaceUpdate, QUIET), _form(uid, place.archived_at is not None), act)


@router.post("/{uid}/archive")
def archive(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        place = places.archive(session, page.actor, uid)
        return Done(f"Archived the place “{place.name}”", "/room")

    return change_by_button(page, posted, act, f"/room/{uid}/edit")


@router.post("/{uid}/restore")
def restore(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        place = places.restore(session, page.actor, uid)
        return Done(f"Brought back the place “{place.name}”", f"/room#{uid}")

    return change_by_button(page, posted, act, "/room?archived=true")


def _form(uid: str = "", is_archived: bool = False) -> FormPage:
    lights_told = [(row.name, row.label[0].upper() + row.label[1:], f"factor {row.factor:g}") for row in lights()]
    context = {
        "uid": uid,
        "is_archived": is_archived,
        "action": f"/room/{uid}/edit" if uid else "/room/new",
        "lights": [*lights_told, ("number", "A number of your own", "write it below")],
        "months": MONTHS,
        "weekdays": WEEKLY,
    }
    return PlaceForm("room/form.html", lambda: context)
