"""The plan: when painters work, one button that plans all open panels, and the plan to look at, take or leave."""

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.science.results import FilmState
from server.services import board, planning, planning_make, planning_plans
from server.services.board.facts import TodayBoard
from server.services.errors import Refused
from server.services.planning import WorkTimeCreate
from server.services.planning_make import PlanMake
from server.store.tables import WorkTime
from server.web import words
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState, parse
from server.web.pages.changes import Done, FormPage, Typed, change, change_by_button, change_by_form, refused
from server.web.plan_shown import shown, told

router = APIRouter(prefix="/plan")
SOFT = (FilmState.WET, FilmState.TACKY)
DAYS = (
    ("12345", "Monday to Friday"),
    ("1234567", "Every day"),
    ("67", "Saturday and Sunday"),
    ("1", "Mondays"),
    ("2", "Tuesdays"),
    ("3", "Wednesdays"),
    ("4", "Thursdays"),
    ("5", "Fridays"),
    ("6", "Saturdays"),
    ("7", "Sundays"),
)


@dataclass(frozen=True, slots=True)
class HoursShown:
    uid: str
    painter: str
    days: str
    times: str


@router.get("")
def plan(page: Page) -> Response:
    return _show(page, FormState(), FormState())


@router.post("/hours")
def add_hours(page: Page, posted: Posted) -> Response:
    command, form = parse(posted, WorkTimeCreate, zone=page.zone)
    again = FormPage("plan/page.html", lambda: _context(page, making=FormState()))
    if command is None:
        return again.show(page, form, 422)

    def act(session: Session) -> Done:
        row = planning.create(session, page.actor, command)
        return Done(f"Added hours of {row.painter}", "/plan#hours")

    return change_by_form(page, Typed(posted, form), again, act)


@router.post("/hours/{uid}/archive")
def archive_hours(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        row = planning.archive(session, page.actor, uid)
        return Done(f"Took away hours of {row.painter}", "/plan#hours")

    return change_by_button(page, posted, act, "/plan")


@router.post("/make")
def make(page: Page, posted: Posted) -> Response:
    """The search runs before the transaction: nothing is locked while it lasts."""
    command, form = parse(posted, PlanMake, zone=page.zone)
    if command is None:
        return page.render("plan/page.html", {**_context(page, making=form), "form": FormState()}, 422)
    try:
        content = planning_make.make(page.db, page.actor, command, page.now, page.zone)
    except Refused as fault:
        return refused(page, fault.message, "/plan")

    def act(session: Session) -> Done:
        planning_plans.propose(session, page.actor, content)
        return Done("Made a plan", "/plan")

    return change(page, posted, act)


@router.post("/{uid}/accept")
def accept(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        planning_plans.accept(session, page.actor, uid)
        return Done("Took the plan: its days stand in the calendar", "/plan")

    return change_by_button(page, posted, act, "/plan")


@router.post("/{uid}/dismiss")
def dismiss(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        planning_plans.dismiss(session, page.actor, uid)
        return Done("Left the plan aside", "/plan")

    return change_by_button(page, posted, act, "/plan")


@router.post("/{uid}/pin/{layer_uid}")
def pin(page: Page, posted: Posted, uid: str, layer_uid: str) -> Response:
    pinned = posted.get("pinned") == "yes"

    def act(session: Session) -> Done:
        planning_plans.pin(session, page.actor, uid, layer_uid, pinned=pinned)
        return Done("Pinned a sitting" if pinned else "Let a sitting move again", "/plan")

    return change_by_button(page, posted, act, "/plan")


def _show(page: PageRequest, hours: FormState, making: FormState, status: int = 200) -> Response:
    return page.render("plan/page.html", {**_context(page, making), "form": hours}, status)


def _context(page: PageRequest, making: FormState) -> dict[str, Any]:
    with page.db.read() as session:
        wall = board.today(session, page.actor, page.now, page.zone)
        rows = planning.all_open(session, page.actor)
        in_use, waiting = planning_plans.in_use(session, page.actor), planning_plans.waiting(session, page.actor)
        settings = told(waiting or in_use).get("settings", {})
        return {
            "hours": [_hours(row) for row in rows],
            "days": DAYS,
            "painters": sorted({row.painter for row in rows}),
            "making": making,
            "rack": _rack(wall, settings.get("rack_places")),
            "settings": settings,
            "standing": shown(in_use, None, page.today),
            "proposal": shown(waiting, in_use, page.today),
        }


def _rack(wall: TodayBoard, places: int | None) -> tuple[int, int] | None:
    """(wet panels, how many must dry before a new one is started), where the rack has no room left."""
    wet = sum(panel.top is not None and panel.top.state in SOFT for group in wall.groups.values() for panel in group)
    waits = planning.rack_waits_for(wet, places) if places else 0
    return (wet, waits) if waits else None


def _hours(row: WorkTime) -> HoursShown:
    days = dict(DAYS).get(row.weekdays, "")
    if row.on_date is not None:
        days = f"on {words.dated(row.on_date)}"
    if row.rule:
        days = f"by the rule {row.rule}"
    closed = row.start_min is None or row.end_min is None
    times = "no work" if closed else f"{_clock(row.start_min or 0)} to {_clock(row.end_min or 0)}"
    return HoursShown(row.uid, row.painter, days, times)


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02}:{minutes % 60:02}"
