"""Readings of a place: typed in, taken from a file after a look at it, sent by a sensor; each batch set aside whole."""

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from server.services import places
from server.services.errors import Invalid, Refused
from server.services.readings import batches, files, sensors
from server.services.readings.batches import ReadingCreate
from server.services.readings.files import FileChoices, Preview
from server.services.readings.sensors import SensorCreate
from server.web.deps import Page, PageRequest, Posted, PostedFile
from server.web.forms import FormState, parse
from server.web.pages.changes import Done, FormPage, change, change_by_button
from server.web.pages.place import place_page
from server.web.pages.record_forms import Reads, save
from server.web.words import count_words, quantity

router = APIRouter()


@router.post("/room/{uid}/readings")
def type_in(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session, command: Any) -> Done:
        batches.type_in(session, page.actor, uid, command)
        words = f"{quantity(command.temperature_c, '°C', 3)}, {command.relative_humidity_pct:.3g} %"
        return Done(f"Wrote down a reading: {words}", f"/room/{uid}#readings")

    return save(page, posted, Reads(ReadingCreate), PlaceForm("room/place.html", dict, uid, "reading"), act)


@dataclass(frozen=True, slots=True)
class PlaceForm(FormPage):
    """The page of a place with one of its forms as it was sent."""

    uid: str = ""
    name: str = ""

    def show(self, page: PageRequest, form: FormState, status: int = 200) -> Response:
        return place_page(page, self.uid, {self.name: form}, status)


@router.get("/room/{uid}/import")
def choose_file(page: Page, uid: str) -> Response:
    return _file_form(page, uid, FormState())


@router.post("/room/{uid}/import")
async def look_at_file(page: Page, posted: PostedFile, uid: str) -> Response:
    given = posted.get("file")
    content = await given.read() if isinstance(given, UploadFile) else b""
    name = given.filename or "" if isinstance(given, UploadFile) else ""
    return await run_in_threadpool(_first_look, page, uid, (name, content))


def _first_look(page: PageRequest, uid: str, file: tuple[str, bytes]) -> Response:
    with page.db.read() as session:
        places.get(session, page.actor, uid)
    form = FormState()
    try:
        upload = files.keep_aside(page.db, page.actor, uid, file)
        with page.db.read() as session:
            seen = files.preview(session, page.actor, upload, uid, (page.now, page.zone))
    except Invalid as fault:
        form.add_errors(fault.errors)
        return _file_form(page, uid, form, 422)
    return _shown(page, seen, FormState.of(seen.choices))


@router.post("/room/{uid}/import/check")
def take_file(page: Page, posted: Posted, uid: str) -> Response:
    with page.db.read() as session:
        places.get(session, page.actor, uid)
    choices, form = parse(posted, FileChoices, zone=page.zone)
    upload = str(posted.get("upload", ""))[:32]
    try:
        with page.db.read() as session:
            seen = files.preview(session, page.actor, choices or upload, uid, (page.now, page.zone))
    except Invalid as fault:
        form.add_errors(fault.errors)
        return _file_form(page, uid, form, 422)
    except Refused as fault:
        return _sent_before(page, posted) or _gone(page, uid, fault)
    if choices is None:
        return _shown(page, seen, form, 422)
    if posted.get("_act") != "take":
        return _shown(page, seen, form)
    return _take(page, posted, seen, form)


def _take(page: PageRequest, posted: FormData, seen: Preview, form: FormState) -> Response:
    def act(session: Session) -> Done:
        _, taken = files.take_file(session, page.actor, seen)
        words = f"Took {count_words(taken.taken, 'reading')} from “{seen.name}” into “{seen.place.name}”"
        return Done(words, f"/room/{seen.place.uid}#batches")

    try:
        return change(page, posted, act)
    except Invalid as fault:
        form.add_errors(fault.errors)
        return _shown(page, seen, form, 422)


def _sent_before(page: PageRequest, posted: FormData) -> Response | None:
    """Where the same sending led before, if it did: its file is not kept any more then."""
    with page.unit("", posted) as work:
        return page.saved(work) if work.repeated else None


def _gone(page: PageRequest, uid: str, fault: Refused) -> Response:
    form = FormState()
    form.add_error("file", fault.message)
    return _file_form(page, uid, form, 409)


def _file_form(page: PageRequest, uid: str, form: FormState, status: int = 200) -> Response:
    with page.db.read() as session:
        place = places.get(session, page.actor, uid)
    return page.render("room/import.html", {"form": form, "place": place, "seen": None}, status)


def _shown(page: PageRequest, seen: Preview, form: FormState, status: int = 200) -> Response:
    names = [(str(n), f"{n + 1}: {name}"[:60]) for n, name in enumerate(seen.sight.names)]
    context = {"form": form, "place": seen.place, "seen": seen, "names": names, "zone_name": page.studio.time_zone}
    return page.render("room/import.html", context, status)


@router.post("/readings/{uid}/set-aside")
def set_aside(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        batch, place = batches.set_aside(session, page.actor, uid)
        return Done(f"Set readings aside: {batch.name or 'one typed in'}", f"/room/{place.uid}#batches")

    return change_by_button(page, posted, act, "/room")


@router.post("/readings/{uid}/restore")
def bring_back(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        batch, place = batches.bring_back(session, page.actor, uid)
        return Done(f"Readings count again: {batch.name or 'one typed in'}", f"/room/{place.uid}#batches")

    return change_by_button(page, posted, act, "/room")


@router.post("/room/{uid}/sensors")
def add_sensor(page: Page, posted: Posted, uid: str) -> Response:
    command, form = parse(posted, SensorCreate, zone=page.zone)
    if command is None:
        return place_page(page, uid, {"sensor": form}, 422)
    token = ""
    with page.unit(f"Let the sensor “{command.name}” send readings", posted) as work:
        if not work.repeated:
            _, token = sensors.create(work.session, page.actor, uid, command)
            work.location = f"/room/{uid}#batches"
    if not token:
        return page.saved(work)
    with page.db.read() as session:
        place = places.get(session, page.actor, uid)
    # No redirect: the token is in this one answer and nowhere else.
    context = {"place": place, "name": command.name, "token": token, "base": str(page.request.base_url).rstrip("/")}
    return page.render("room/sensor.html", context, headers={"Cache-Control": "no-store"})


@router.post("/sensors/{uid}/revoke")
def revoke(page: Page, posted: Posted, uid: str) -> Response:
    with page.unit("Revoked a sensor's token", posted) as work:
        if not work.repeated:
            place = sensors.revoke(work.session, page.actor, uid)
            work.location = f"/room/{place.uid}#batches"
    # Nothing is offered to be undone: a token that was let go of never opens anything again.
    return page.see_other(work.location)
