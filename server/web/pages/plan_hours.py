"""When painters work: hours of every week, days away, days that repeat otherwise, holidays; one form at a time."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeVar

from fastapi import APIRouter
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.formats import date_list
from server.services import board, planning, working_hours
from server.services.access import Actor
from server.services.fields import Command, LongNotes, OptionalText120
from server.services.planning import WorkTimeCreate
from server.services.working_hours import AwayCreate, DayCreate, PainterRename, RepeatCreate, WeekCreate
from server.store.tables import WorkTime
from server.web import hours_told
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState, parse
from server.web.hours_words import day_words, span_words, time_words
from server.web.manner import manner
from server.web.pages.changes import Done, FormPage, Typed, change_by_button, change_by_form
from server.web.words import WEEKDAYS, join_words

router = APIRouter(prefix="/plan/hours")
Given = TypeVar("Given", bound=Command)
HOURS = "/plan/hours"
RENAME = "rename"
KINDS = {
    "week": "Hours of every week",
    "day": "One day",
    "away": "Days away",
    "repeat": "Days that repeat otherwise",
    "holidays": "Public holidays",
    "rule": "A rule of your own",
}
RHYTHMS = (
    ("1", "Every week"),
    ("2", "Every second week"),
    ("3", "Every third week"),
    ("4", "Every fourth week"),
    ("first", "The first of each month"),
    ("second", "The second of each month"),
    ("third", "The third of each month"),
    ("fourth", "The fourth of each month"),
    ("last", "The last of each month"),
)
HOWS = (
    ("beside", "Beside the usual hours", "They are kept for that day as well"),
    ("instead", "In place of the usual hours", "That day has only these"),
)
PRESETS = (
    ("12345", "Monday to Friday"),
    ("1234567", "Every day"),
    ("67", "Saturday and Sunday"),
    *((str(number), f"{name}s") for number, name in enumerate(WEEKDAYS, 1)),
)


class Holidays(Command):
    """A list of days as it is typed or pasted."""

    painter: OptionalText120 = ""
    dates: LongNotes = ""


@dataclass(frozen=True, slots=True)
class LineShown:
    uid: str
    days: str
    times: str


@dataclass(frozen=True, slots=True)
class PainterShown:
    """``name`` "" for the days off of everybody; ``past``: single days that are over."""

    name: str
    lines: tuple[LineShown, ...]
    past: tuple[LineShown, ...]


@dataclass(frozen=True, slots=True)
class Way:
    """One form of hours: what it asks for, what adds them, and what is told of it afterwards."""

    model: type[Command]
    add: Callable[[Session, Actor, Any], object]
    told: Callable[[Any], str]


WAYS = {
    "rule": Way(WorkTimeCreate, planning.create, hours_told.added),
    "week": Way(WeekCreate, working_hours.add_week, hours_told.added),
    "repeat": Way(RepeatCreate, working_hours.add_repeat, hours_told.added),
}


@router.get("")
def hours(page: Page, add: str = "", rename: str = "") -> Response:
    """The hours that stand, and the form of ``add``; or the one that calls the painter ``rename`` otherwise."""
    if rename:
        named = FormState(values={"painter": rename, "name": rename})
        return page.render("plan/hours.html", {**_context(page, RENAME), "form": named})
    form = FormState(many={"weekdays": list("12345")} if add == "week" else {})
    return page.render("plan/hours.html", {**_context(page, add if add in KINDS else ""), "form": form})


@router.post("")
def add_line(page: Page, posted: Posted) -> Response:
    """A line as it is stored, with a rule by RFC 5545. The form of a rule is none for a single day: hours of one would
    take the place of the usual ones unasked."""
    if posted.get("_rule") and not posted.get("rule") and not posted.get("weekdays") and posted.get("on_date"):
        _, form = parse(posted, WorkTimeCreate, zone=page.zone)
        form.add_error("rule", "Say which weekdays or which rule. For a single day, choose “One day” instead.")
        return _added(page, "rule", (Typed(posted, form), None), lambda _session, _given: "")
    return _line_added(page, posted, "rule")


@router.post("/week")
def add_week(page: Page, posted: Posted) -> Response:
    return _line_added(page, posted, "week")


@router.post("/day")
def add_day(page: Page, posted: Posted) -> Response:
    """Hours on one day; which it has then is told."""
    command, form = parse(posted, DayCreate, zone=page.zone)

    def act(session: Session, given: DayCreate) -> str:
        hours = working_hours.add_day(session, page.actor, given)
        times = join_words([span_words(start, end) for start, end in hours])
        return f"Added hours of {given.painter} on {hours_told.day(given.on_date)}. Hours of that day now: {times}"

    return _added(page, "day", (Typed(posted, form), command), act)


@router.post("/away")
def add_away(page: Page, posted: Posted) -> Response:
    command, form = parse(posted, AwayCreate, zone=page.zone)

    def act(session: Session, given: AwayCreate) -> str:
        return hours_told.away(given.painter, working_hours.add_away(session, page.actor, given))

    return _added(page, "away", (Typed(posted, form), command), act)


@router.post("/repeat")
def add_repeat(page: Page, posted: Posted) -> Response:
    return _line_added(page, posted, "repeat")


@router.post("/holidays")
def add_holidays(page: Page, posted: Posted) -> Response:
    command, form = parse(posted, Holidays, zone=page.zone)
    days: list[tuple[date, str]] = []
    try:
        listed = date_list.read(command.dates if command is not None else "", manner().date_order)
        days = [(day.on, day.name) for day in listed]
    except date_list.NoDates as fault:
        form.add_error("dates", str(fault))

    def act(session: Session, given: Holidays) -> str:
        return hours_told.days_off(*working_hours.add_holidays(session, page.actor, given.painter, days))

    return _added(page, "holidays", (Typed(posted, form), None if form.errors else command), act)


@router.post("/rename")
def rename(page: Page, posted: Posted) -> Response:
    """Call a painter otherwise, in their hours and in the plans that stand."""
    command, form = parse(posted, PainterRename, zone=page.zone)
    form.values.setdefault("painter", "")  # hidden in the form: who sends none has not come by it

    def act(session: Session, given: PainterRename) -> str:
        working_hours.rename_painter(session, page.actor, given)
        return renamed_words(given)

    return _added(page, RENAME, (Typed(posted, form), command), act)


@router.post("/{uid}/archive")
def archive_hours(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        row = planning.archive(session, page.actor, uid)
        return Done(hours_told.taken_away(row, page.today), HOURS)

    return change_by_button(page, posted, act, HOURS)


def renamed_words(given: PainterRename) -> str:
    """What the history tells of it."""
    return f"The painter {given.painter} is called {given.name} now"


def _line_added(page: PageRequest, posted: FormData, kind: str) -> Response:
    way = WAYS[kind]
    command, form = parse(posted, way.model, zone=page.zone)

    def act(session: Session, given: Command) -> str:
        way.add(session, page.actor, given)
        return way.told(given)

    return _added(page, kind, (Typed(posted, form), command), act)


def _added(
    page: PageRequest, kind: str, sent: tuple[Typed, Given | None], act: Callable[[Session, Given], str]
) -> Response:
    typed, command = sent
    again = FormPage("plan/hours.html", lambda: _context(page, kind))
    if command is None:
        return again.show(page, typed.form, 422)
    return change_by_form(page, typed, again, lambda session: Done(act(session, command), HOURS))


def _context(page: PageRequest, kind: str) -> dict[str, Any]:
    with page.db.read() as session:
        rows = planning.all_open(session, page.actor)
        today = board.today(session, page.actor, page.now, page.zone)
    names = sorted({row.painter for row in rows} - {planning.EVERYBODY})
    return {
        "kind": kind,
        "kinds": KINDS,
        "rhythms": RHYTHMS,
        "hows": HOWS,
        "presets": PRESETS,
        "weekdays": [(str(number), name) for number, name in enumerate(WEEKDAYS, 1)],
        "names": names,
        "who": names[0] if names else page.actor.name,
        "holds": today.holds,
        "plan_waits": today.plan_waits,
        "painters": [_painter(name, rows, page.today) for name in (*names, planning.EVERYBODY)],
    }


def _painter(name: str, rows: list[WorkTime], today: date) -> PainterShown:
    mine = [row for row in rows if row.painter == name]
    past = [row for row in mine if _last_day(row) < today]
    lines = [
        tuple(LineShown(row.uid, day_words(row, today), time_words(row)) for row in sorted(some, key=_in_order))
        for some in ([row for row in mine if row not in past], past)
    ]
    return PainterShown(name, *lines)


def _last_day(row: WorkTime) -> date:
    """The last day of a single day or stretch; of what repeats, no day."""
    return date.max if row.on_date is None or row.rule else row.until_on or row.on_date


def _in_order(row: WorkTime) -> tuple[bool, str, date, int]:
    return row.on_date is not None, "" if row.rule else row.weekdays, row.on_date or date.min, row.start_min or 0
