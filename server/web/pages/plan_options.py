"""One tap: do what would help a late panel, as it was tried; set the plan right after something happened."""

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.services import planning_apply, planning_events
from server.services.errors import Refused
from server.services.planning_search import TURNS
from server.web.deps import Page, Posted
from server.web.pages.changes import Done, change_by_button, refused

router = APIRouter(prefix="/plan")


@router.post("/{uid}/apply/{panel_uid}")
def apply(page: Page, posted: Posted, uid: str, panel_uid: str) -> Response:
    """One unit: its undo takes back the change and the plan made with it."""
    key = str(posted.get("key", ""))[:200]

    def act(session: Session) -> Done:
        label = planning_apply.apply(session, page.actor, (uid, panel_uid, key), page.now, page.zone)
        return Done(label, "/plan#proposal")

    try:
        with TURNS.take():
            return change_by_button(page, posted, act, "/plan")
    except Refused as fault:
        return refused(page, fault.message, "/plan")


@router.post("/right")
def right(page: Page, posted: Posted) -> Response:
    """Set the plan in use right; ``event`` "no_painting" says that nobody paints today."""
    event: planning_events.Event = "no_painting" if posted.get("event") == "no_painting" else ""

    def act(session: Session) -> Done:
        return Done(planning_events.set_right(session, page.actor, event, page.now, page.zone), "/plan#proposal")

    try:
        with TURNS.take():
            return change_by_button(page, posted, act, "/plan")
    except Refused as fault:
        return refused(page, fault.message, "/plan")
