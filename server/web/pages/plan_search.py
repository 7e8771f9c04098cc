"""A long search: begun, looked at while it runs, stopped, and its plan kept to be looked at."""

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.services import planning_make, planning_plans
from server.services.errors import Refused
from server.services.planning_long import LONG, LongMake
from server.web.deps import Page, Posted
from server.web.forms import parse
from server.web.pages.changes import Done, change, refused
from server.web.render import see_other

router = APIRouter(prefix="/plan/search")
POLL_S = 2


@router.post("")
def start(page: Page, posted: Posted) -> Response:
    """Begin; nothing is changed before its plan is taken."""
    command, _ = parse(posted, LongMake, zone=page.zone)
    if command is None:
        return refused(page, "This is no length of a search. Choose one of the list.", "/plan", 422)
    try:
        with page.db.read() as session:
            asked = planning_make.read(session, page.actor, command.plan(), page.now, page.zone)
        LONG.start(asked, page.actor.studio_id, command.seconds)
    except Refused as fault:
        return refused(page, fault.message, "/plan")
    return see_other("/plan/search")


@router.get("")
def show(page: Page) -> Response:
    """How far it is. Anew by itself every few seconds; without script by loading the page again."""
    return page.render("plan/search.html", {"search": LONG.of(page.actor.studio_id), "poll_s": POLL_S})


@router.post("/end")
def end(page: Page, posted: Posted) -> Response:
    """Stop it where it still runs, and keep its best plan to be looked at."""
    try:
        content = LONG.end(page.actor.studio_id)
    except Refused as fault:
        return refused(page, fault.message, "/plan")

    def act(session: Session) -> Done:
        planning_plans.propose(session, page.actor, dict(content))
        return Done("Made a plan by a long search", "/plan#proposal")

    answer = change(page, posted, act)
    LONG.forget(page.actor.studio_id)
    return answer
