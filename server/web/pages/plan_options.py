"""One tap: do what would help a late panel, as it was tried; set the plan right after something happened."""

from collections.abc import Callable

from fastapi import APIRouter
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.services import planning_apply, planning_events, planning_first, planning_plans
from server.services.errors import Refused
from server.services.planning_ahead import Changed
from server.services.planning_events import PlanRight
from server.services.planning_first import Answered
from server.services.unit import current_change_set
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import parse
from server.web.pages import plan
from server.web.pages.changes import Done, change
from server.web.quietly import begun_with

router = APIRouter(prefix="/plan")


@router.post("/{uid}/apply/{panel_uid}")
def apply(page: Page, posted: Posted, uid: str, panel_uid: str) -> Response:
    """One unit: its undo takes back the change and the plan made with it."""
    key = str(posted.get("key", ""))[:200]
    return _change_and_plan(
        page,
        posted,
        lambda session: planning_apply.apply(session, page.actor, (uid, panel_uid, key), page.now, page.zone),
    )


@router.post("/right")
def right(page: Page, posted: Posted) -> Response:
    """Set the plan in use right after what the form says; without anything, as things are."""
    given, _ = parse(posted, PlanRight, zone=page.zone)
    if given is None:
        return plan.refused_here(page, "What happened could not be read. Nothing was changed.", 422)
    return _change_and_plan(
        page, posted, lambda session: planning_events.happened(session, page.actor, given, page.now, page.zone)
    )


def _change_and_plan(page: PageRequest, posted: FormData, act: Callable[[Session], Changed]) -> Response:
    try:
        answered = planning_first.plan_first(lambda: page.unit("", posted), act, page.actor, (page.now, page.zone))
    except Refused as fault:
        return plan.refused_here(page, fault.message)

    answered = answered or Answered({})
    try:
        return _kept(page, posted, act, answered)
    finally:
        answered.let_go()


def _kept(page: PageRequest, posted: FormData, act: Callable[[Session], Changed], answered: Answered) -> Response:
    """The change together with the plan that was answered for it."""
    made: list[str] = []

    def both(session: Session) -> Done:
        changed = act(session)
        made.append(
            planning_plans.propose(
                session, page.actor, answered.content, *changed.noted(current_change_set(session).uid)
            ).uid
        )
        return Done(changed.label, "/plan#proposal")

    try:
        answer = change(page, posted, both)
    except Refused as fault:
        return plan.refused_here(page, fault.message)
    for uid in made:
        answered.kept(begun_with(page, uid, answered.content))
    return answer
