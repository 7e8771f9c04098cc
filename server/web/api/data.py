"""Your data for programs: lists out and in, the whole studio in one archive, the calendar as a file."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path
from pydantic import Field, StringConstraints
from starlette.responses import Response

from server.formats import csv_text
from server.formats.csv_read import Unreadable
from server.formats.rooms_json import ListFault, ListLine, ListNames, ListOutcome
from server.services.errors import Invalid, NotFound
from server.services.fields import Command, Text64
from server.services.lists.fields import FIELDS, KINDS, Kind
from server.services.lists.kinds import run
from server.services.lists.take_in import At, Outcome
from server.services.lists.write import lists
from server.web.api.doing import changing
from server.web.api.record_schemas import problems
from server.web.api.sent import Sending, Sent
from server.web.deps import Page, PageRequest
from server.web.errors import problem
from server.web.list_reading import CONSTANT, Asked, NothingKept, asked_of, preview, taken_words
from server.web.pages.data import MAKING, archived
from server.web.pages.feeds import calendar_file
from server.web.plain_words import message_for

router = APIRouter(tags=["data"])
CSV, ZIP, ICAL = "text/csv", "application/zip", "text/calendar"
MOST_TEXT = 400_000
ListName = Annotated[str, Path(description="panels, layers, tests, shelf; for reading also mixes")]


class ListTaken(Command):
    """A list as text. What is not said is guessed from it, as on the page. ``columns``: of a field its column from 0,
    or a text that holds for every line. ``check_only``: say what would become of it, and take nothing."""

    text: Annotated[str, StringConstraints(min_length=1, max_length=MOST_TEXT)]
    delimiter: Literal[",", ";", "\t", "|", ""] = ""
    decimal: Literal[".", ",", ""] = ""
    order: Literal["dmy", "mdy", "ymd", ""] = ""
    columns: Annotated[dict[Text64, Annotated[int, Field(ge=0, le=999)] | Text64], Field(max_length=40)] = {}
    units: Annotated[dict[Text64, Text64], Field(max_length=40)] = {}
    check_only: bool = False


BODIES = (ListTaken,)
LIST_FILE: dict[int | str, Any] = {200: {"description": "The list", "content": {CSV: {"schema": {"type": "string"}}}}}
ARCHIVE_FILE: dict[int | str, Any] = {
    200: {"description": "The studio", "content": {ZIP: {"schema": {"type": "string", "format": "binary"}}}}
}
CALENDAR_FILE: dict[int | str, Any] = {
    200: {"description": "The calendar", "content": {ICAL: {"schema": {"type": "string"}}}}
}


@router.get("/lists", summary="The lists there are", responses=problems())
def list_names(page: Page) -> ListNames:
    """Each is read as /lists/{name}.csv."""
    with page.db.read() as session:
        return ListNames(items=tuple(each.name for each in lists(session, page.actor, page.zone)))


@router.get(
    "/lists/{name}.csv",
    summary="A list for a spreadsheet",
    response_class=Response,
    responses={**LIST_FILE, **problems(404, 422)},
)
def read_list(page: Page, name: ListName) -> Response:
    """In the columns that taking one in knows."""
    with page.db.read() as session:
        found = next((each for each in lists(session, page.actor, page.zone) if each.name == name), None)
        if found is None:
            raise NotFound
        content = b"".join(csv_text.written(found.header, found.rows()))
    return Response(content, media_type=f"{CSV}; charset=utf-8", headers={"Cache-Control": "private, no-store"})


@router.post("/lists/{name}", response_model=ListOutcome, **changing("Take a list in", "ListTaken"))
def take_list(page: Page, name: ListName, given: Sending) -> Any:
    """Every line, as one change, or none: what is wrong stands in ``errors`` by line and column."""
    command = given.command(ListTaken)
    kind = next((each for each in KINDS if each == name), None)
    if kind is None:
        raise NotFound
    values = _values(command, kind)
    try:
        asked = _read(values, command)
    except Unreadable as fault:
        raise Invalid.at("text", str(fault)) from None
    outcome = preview(page, asked.reading) if command.check_only else _take(page, given, asked)
    if outcome.faults and not command.check_only:
        errors = [
            {"path": f"lines.{each.line}.{each.column}".rstrip("."), "message": each.message} for each in outcome.faults
        ]
        return problem(422, "Nothing was taken: lines need a change, see errors.", errors)
    return _outcome(asked, values, outcome, is_taken=not command.check_only)


@router.get(
    "/archive",
    summary="The whole studio in one file",
    response_class=Response,
    responses={**ARCHIVE_FILE, **problems(503)},
)
def archive(page: Page) -> Response:
    """Every table as JSON, lists, the calendar, of each panel its record and drawing. 503 while others are made."""
    if not MAKING.acquire(blocking=False):
        return problem(503, "Other archives are being made at this moment. Try again in a minute.")
    try:
        return archived(page)
    finally:
        MAKING.release()


@router.get(
    "/calendar.ics",
    summary="The calendar as a file",
    response_class=Response,
    responses={**CALENDAR_FILE, **problems()},
)
def calendar(page: Page) -> Response:
    """As it stands now. To subscribe to it, make a link of kind "feed"."""
    return calendar_file(page)


def _values(command: ListTaken, kind: Kind) -> dict[str, str]:
    """The same as the page's form would have it."""
    known = {field.name for field in FIELDS[kind]}
    for what, given in (("columns", command.columns), ("units", command.units)):
        for name in given:
            if name not in known:
                raise Invalid.at(f"{what}.{name}", f"There is no such field. There are: {', '.join(sorted(known))}.")
    return {
        "kind": kind,
        "text": command.text,
        "delimiter": command.delimiter,
        "decimal": command.decimal,
        "order": command.order,
    }


def _read(values: dict[str, str], command: ListTaken) -> Asked:
    """Guessed first, then as it was said."""
    asked = asked_of(values)
    if not command.columns and not command.units:
        return asked
    for name, column in command.columns.items():
        values[f"col-{name}"] = str(column) if isinstance(column, int) else f"{CONSTANT}{column}"
    values |= {f"unit-{name}": unit for name, unit in command.units.items()}
    values |= {"decimal": command.decimal, "order": command.order}
    return asked_of(values)


def _take(page: PageRequest, given: Sent, asked: Asked) -> Outcome:
    outcome = Outcome((), ())
    try:
        with page.api_unit(given.key) as work:
            if not work.repeated:
                outcome = run(At(work.session, page.actor, page.zone, page.now), asked.reading, message_for)
                if outcome.faults:
                    raise NothingKept
                work.label, work.location = taken_words(asked, outcome)
    except NothingKept:
        return outcome
    return outcome


def _outcome(asked: Asked, values: dict[str, str], outcome: Outcome, *, is_taken: bool) -> ListOutcome:
    reading = asked.reading
    return ListOutcome(
        taken=is_taken,
        delimiter=values["delimiter"],
        decimal=reading.decimal,
        order=reading.order,
        columns=dict(reading.columns),
        units=dict(reading.units),
        rows=tuple(ListLine(line=each.line, state=each.state, words=each.words) for each in outcome.rows),
        faults=tuple(ListFault(line=each.line, column=each.column, message=each.message) for each in outcome.faults),
    )
