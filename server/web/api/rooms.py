"""Places through time, and what was read there: typed in, from a file, by sensors; each batch set aside whole."""

from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import StringConstraints
from sqlmodel import Session
from starlette.responses import JSONResponse, Response

from server.formats.rooms_json import (
    CourseHour,
    CourseOut,
    FileColumns,
    FilePreviewOut,
    FileTakenOut,
    ReadingBatchesOut,
    ReadingBatchOut,
    ReadingBatchTurned,
    SensorMade,
    SensorRevoked,
)
from server.services import places, room_course
from server.services.fields import Command, Text120
from server.services.readings import batches, files, sensors
from server.services.readings.batches import ReadingCreate
from server.services.readings.files import FileChoices, Preview
from server.services.readings.sensors import SensorCreate
from server.services.room_course import Course
from server.services.sendings import added_before
from server.store.tables import ReadingBatch
from server.web.api import doing
from server.web.api.doing import Told, changing
from server.web.api.record_schemas import problems
from server.web.api.records import After, Limit, Uid
from server.web.api.sent import Sending, Sent
from server.web.api.slices import slice_of
from server.web.deps import Page, PageRequest

router = APIRouter(tags=["rooms"])
SOURCES = ("read", "bridged", "usual", "to_come")
MOST_TEXT = 400_000  # of a file within a body; the form of the page takes larger ones
SECRET = {"Cache-Control": "no-store"}


class ReadingsFile(Command):
    """A logger's file as text, to be looked at before it is taken."""

    name: Text120 = "a file"
    text: Annotated[str, StringConstraints(min_length=1, max_length=MOST_TEXT)]


BODIES = (ReadingCreate, ReadingsFile, FileChoices, SensorCreate)


@router.get("/places/{uid}/course", summary="A place through time, hour by hour", responses=problems(404, 422))
def course(page: Page, uid: Uid) -> CourseOut:
    """The very air that estimates take: two weeks back, one week ahead."""
    with page.db.read() as session:
        return _course(uid, room_course.course(session, page.actor, uid, page.now, page.zone))


@router.get("/places/{uid}/reading-batches", summary="Readings of a place, by batch", responses=problems(404, 422))
def reading_batches(page: Page, uid: Uid, limit: Limit = 50, after: After = None) -> ReadingBatchesOut:
    """The newest first; of those typed in the last few dozen."""
    with page.db.read() as session:
        found = batches.of_place(session, page.actor, places.get(session, page.actor, uid))
    names = ReadingBatchOut.model_fields
    shown, more = slice_of(found, lambda each: each.uid, limit, after)
    return ReadingBatchesOut(
        items=tuple(ReadingBatchOut(**{name: getattr(each, name) for name in names}) for each in shown),
        next_after=more,
    )


@router.post(
    "/places/{uid}/typed-readings",
    response_model=ReadingBatchTurned,
    **changing("Write down one reading", "ReadingCreate", status=201),
)
def type_reading(page: Page, uid: Uid, given: Sending) -> Any:
    """One look at thermometer and hygrometer. A sensor sends to /places/{uid}/readings with its own token."""
    command = given.command(ReadingCreate)

    def act(session: Session) -> tuple[ReadingBatch, str, str]:
        return batches.type_in(session, page.actor, uid, command), "Wrote down a reading", f"/room/{uid}#readings"

    made = doing.add_once(page, given, ReadingBatch, act)
    return ReadingBatchTurned(uid=made, is_archived=False)


@router.post(
    "/places/{uid}/reading-files",
    response_model=FilePreviewOut,
    **changing("Look at a file of readings", "ReadingsFile"),
)
def look_at_file(page: Page, uid: Uid, given: Sending) -> Any:
    """How it would be read. Nothing is taken; the file is kept for a while under ``choices.upload``."""
    command = given.command(ReadingsFile)
    with page.db.read() as session:
        places.get(session, page.actor, uid)
    upload = files.keep_aside(page.db, page.actor, uid, (command.name, command.text.encode()))
    with page.db.read() as session:
        return _preview(files.preview(session, page.actor, upload, uid, (page.now, page.zone)))


@router.post(
    "/places/{uid}/reading-files/take",
    response_model=FileTakenOut,
    **changing("Take a file of readings", "FileChoices", status=201),
)
def take_file(page: Page, uid: Uid, given: Sending) -> Any:
    """All of it as it was looked at, with choices of your own, or nothing."""
    command = given.command(FileChoices)
    counted = (0, 0)
    with page.api_unit(given.key) as work:
        if work.repeated:
            made = added_before(work, ReadingBatch)[0]
        else:
            seen = files.preview(work.session, page.actor, command, uid, (page.now, page.zone))
            batch, taken = files.take_file(work.session, page.actor, seen)
            made, counted = batch.uid, (taken.taken, taken.already_there)
            work.label, work.location = f"Took readings from “{seen.name}”", f"/room/{uid}#batches"
    return FileTakenOut(batch_uid=made, taken=counted[0], already_there=counted[1])


@router.post("/reading-batches/{uid}/set-aside", response_model=ReadingBatchTurned, **changing("Set readings aside"))
def set_aside(page: Page, uid: Uid, given: Sending) -> Any:
    """They are left out of everything."""
    return _turn(page, uid, given, batches.set_aside, "Set readings aside")


@router.post("/reading-batches/{uid}/restore", response_model=ReadingBatchTurned, **changing("Count readings again"))
def bring_back(page: Page, uid: Uid, given: Sending) -> Any:
    """Those that were set aside."""
    return _turn(page, uid, given, batches.bring_back, "Readings count again")


@router.post(
    "/places/{uid}/sensors", response_model=SensorMade, **changing("Let a sensor send", "SensorCreate", status=201)
)
def add_sensor(page: Page, uid: Uid, given: Sending) -> Response:
    """Its token is in this answer alone."""
    command = given.command(SensorCreate)
    token: str | None = None
    with page.api_unit(given.key) as work:
        if not work.repeated:
            _, token = sensors.create(work.session, page.actor, uid, command)
            work.label, work.location = f"Let the sensor “{command.name}” send readings", f"/room/{uid}#batches"
    return JSONResponse(SensorMade(place_uid=uid, token=token).model_dump(), 201, SECRET)


@router.post("/sensors/{uid}/revoke", response_model=SensorRevoked, **changing("Revoke a sensor's token"))
def revoke_sensor(page: Page, uid: Uid, given: Sending) -> Any:
    """By the ``token_uid`` of its batch. What it sent stays."""
    doing.check_empty(given)
    found = {}

    def act(session: Session) -> Told:
        found["place"] = sensors.revoke(session, page.actor, uid).uid
        return "Revoked a sensor's token", f"/room/{found['place']}#batches"

    work = doing.do_once(page, given, act)
    return SensorRevoked(place_uid=found.get("place") or work.location.removeprefix("/room/").partition("#")[0])


def _turn(page: PageRequest, uid: str, given: Sent, does: Any, label: str) -> ReadingBatchTurned:
    doing.check_empty(given)

    def act(session: Session) -> Told:
        _, place = does(session, page.actor, uid)
        return label, f"/room/{place.uid}#batches"

    doing.do_once(page, given, act)
    return ReadingBatchTurned(uid=uid, is_archived=does is batches.set_aside)


def _course(uid: str, found: Course) -> CourseOut:
    hours = tuple(
        CourseHour(
            at=found.at(hour),
            temperature_c=float(found.temperature_c[hour]),
            relative_humidity_pct=float(found.relative_humidity_pct[hour]),
            usual_c=float(found.usual_c[hour]),
            usual_pct=float(found.usual_pct[hour]),
            speed=float(found.speed[hour]),
            source=SOURCES[int(found.source[hour])],
        )
        for hour in range(len(found.source))
    )
    return CourseOut(
        place_uid=uid,
        now=found.now,
        week_speed=found.week_speed,
        next_speed=found.next_speed,
        read_share=found.read_share,
        has_readings=found.has_readings,
        hours=hours,
    )


def _preview(seen: Preview) -> FilePreviewOut:
    return FilePreviewOut(
        name=seen.name,
        headings=seen.sight.names,
        choices=FileColumns.model_validate(seen.choices.model_dump()),
        readings=len(seen.found.readings),
        first_at=seen.first_at,
        last_at=seen.last_at,
        faults=tuple(f"row {each.row}: {each.reason}" for each in seen.found.faults),
    )
