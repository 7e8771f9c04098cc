"""The plan: when painters work, one button that plans all open panels, and the plan to look at, take or leave."""

from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.science.results import FilmState
from server.services import board, planning, planning_make, planning_plans, planning_search
from server.services.board.facts import TodayBoard
from server.services.errors import Refused
from server.services.planning_make import PlanMake
from server.services.planning_quiet import QUIET
from server.store.tables import StudioPlan
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState, parse
from server.web.pages.changes import Done, change, change_by_button, refused
from server.web.plan_shown import shown, told
from server.web.quietly import improve_on

router = APIRouter(prefix="/plan")
SOFT = (FilmState.WET, FilmState.TACKY)


@router.get("")
def plan(page: Page) -> Response:
    if page.may("paint"):
        planning_search.expect()
    return page.render("plan/page.html", _context(page, FormState()))


@router.post("/make")
def make(page: Page, posted: Posted) -> Response:
    """The search runs before the transaction: nothing is locked while it lasts."""
    command, form = parse(posted, PlanMake, zone=page.zone)
    if command is None:
        return page.render("plan/page.html", _context(page, making=form), 422)
    try:
        content = planning_make.make(page.db, page.actor, command, page.now, page.zone)
    except Refused as fault:
        return refused(page, fault.message, "/plan")

    made: list[str] = []

    def act(session: Session) -> Done:
        made.append(planning_plans.propose(session, page.actor, content).uid)
        return Done("Made a plan", "/plan")

    answer = change(page, posted, act)
    for uid in made:
        improve_on(page, uid, content, anew=command.anew)
    return answer


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


def _context(page: PageRequest, making: FormState) -> dict[str, Any]:
    with page.db.read() as session:
        wall = board.today(session, page.actor, page.now, page.zone)
        rows = planning.all_open(session, page.actor)
        in_use, waiting = planning_plans.in_use(session, page.actor), planning_plans.waiting(session, page.actor)
        settings = told(waiting or in_use).get("settings", {})
        return {
            "painters": sorted({row.painter for row in rows} - {planning.EVERYBODY}),
            "making": making,
            "is_improving": QUIET.is_running(page.actor.studio_id),
            "rack": _rack(wall, settings.get("rack_places")),
            "settings": settings,
            "standing": shown(in_use, None, page.today),
            "unplanned": _unplanned(wall, in_use) if in_use is not None and waiting is None else (),
            "proposal": shown(waiting, in_use, page.today),
        }


def _rack(wall: TodayBoard, places: int | None) -> tuple[int, int] | None:
    """(wet panels, how many must dry before a new one is started), where the rack has no room left."""
    wet = sum(panel.top is not None and panel.top.state in SOFT for group in wall.groups.values() for panel in group)
    waits = planning.rack_waits_for(wet, places) if places else 0
    return (wet, waits) if waits else None


def _unplanned(wall: TodayBoard, plan: StudioPlan) -> list[tuple[str, str]]:
    """(uid, title) of panels with layers to come that the plan in use neither holds nor left out: they came since."""
    content = told(plan)
    known = {panel["id"] for panel in content.get("panels", ())} | {one["uid"] for one in content.get("left_out", ())}
    panels = [panel for group in wall.groups.values() for panel in group if panel.layers_to_come]
    return sorted(((p.uid, p.title) for p in panels if p.uid not in known), key=lambda pair: pair[1])
