"""The plan: when painters work, one button that plans all open panels, and the plan to look at, take or leave."""

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from fastapi import APIRouter, Depends, Query
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.science.results import FilmState
from server.services import history, planning, planning_keep, planning_make, planning_plans, planning_search
from server.services.board.facts import TodayBoard
from server.services.errors import Refused
from server.services.history import HistoryEntry
from server.services.plan_reading import is_following
from server.services.planning_asked import PlanMake
from server.services.planning_first import may_follow
from server.services.planning_quiet import QUIET
from server.services.planning_rules import WEIGHS
from server.web import plan_words
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState, parse
from server.web.pages.changes import Done, change
from server.web.plan_parts import folded, plans
from server.web.plan_picture import plan_picture
from server.web.plan_shown import PlanShown
from server.web.plan_unheld import unheld
from server.web.quietly import improve_on

router = APIRouter(prefix="/plan")
MOST_TOLD, MOST_LOST = 7, 3  # an address is kept in 300 characters
MONTH = re.compile(r"[0-9]{4}-[0-9]{2}")
SOFT = (FilmState.WET, FilmState.TACKY)


@dataclass(frozen=True, slots=True)
class Opened:
    """What of the plans is shown at once that may be folded: a ``month`` of the one in use, one of the plan that waits
    (``then``), and of both the other parts: ``days`` and ``panels`` in use, ``then-panels``."""

    month: str = ""
    then: str = ""
    part: Annotated[str, Query(alias="open")] = ""


@router.get("")
def plan(
    page: Page,
    opened: Annotated[Opened, Depends()],
    stays: Annotated[list[str] | None, Query()] = None,
    lost: Annotated[list[str] | None, Query()] = None,
    following: str = "",
) -> Response:
    """``stays``: entries of the history that could not be taken back when a plan was left aside; ``lost``: those of
    days without painting, which stay then. ``following``: the plan that waits on the page that asks; while nothing came
    of what follows, it is answered that there is nothing new."""
    headers = page.request.headers
    if following and headers.get("HX-Request") == "true":
        if _is_as_shown(page, following):
            return Response(status_code=204)
        opened = _opened_at(headers.get("HX-Current-URL", ""))
    if page.may("paint"):
        planning_search.expect(page.db, page.actor, page.now, page.zone)
    context = _context(page, FormState(), opened)
    free = [(one, one.at.astimezone(page.zone).date()) for one in _entries(page, (lost or ())[:MOST_LOST])]
    return page.render("plan/page.html", {**context, "stays": _entries(page, stays or ()), "lost": free})


@router.post("/make")
def make(page: Page, posted: Posted) -> Response:
    """The search runs before the transaction: nothing is locked while it lasts."""
    command, form = parse(posted, PlanMake, zone=page.zone)
    if command is None:
        return page.render("plan/page.html", _context(page, making=form), 422)
    try:
        content = planning_make.make(page.db, page.actor, command, page.now, page.zone)
    except Refused as fault:
        return refused_here(page, fault.message, making=form)

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

    return _by_button(page, posted, act)


@router.post("/{uid}/dismiss")
def dismiss(page: Page, posted: Posted, uid: str) -> Response:
    """Things are as they were before the plan was made; what has to stay is told on the page it leads to."""

    def leave(staying: Collection[str]) -> Response:
        def act(session: Session) -> Done:
            left = planning_keep.keep_things(session, page.actor, uid, staying)
            lost = [("lost", one) for one in planning_keep.facts_of(left)[-MOST_LOST:]]
            told = urlencode([("stays", one) for one in tuple(staying)[:MOST_TOLD]] + lost)
            return Done("Left the plan aside", f"/plan?{told}" if told else "/plan")

        return _by_button(page, posted, act)

    return planning_keep.as_far_as_can_be(leave)


@router.post("/{uid}/pin/{layer_uid}")
def pin(page: Page, posted: Posted, uid: str, layer_uid: str) -> Response:
    """It leads back to the sitting, with what has to be open for it to be seen."""
    pinned = posted.get("pinned") == "yes"
    month = str(posted.get("month", ""))

    def act(session: Session) -> Done:
        told = planning_plans.pin(session, page.actor, uid, layer_uid, pinned=pinned)
        asked = f"?month={month}" if MONTH.fullmatch(month) else ""
        if not asked and planning_plans.waiting(session, page.actor) is not None:
            asked = "?open=days"
        back = f"/plan{asked}#sitting-{layer_uid}"
        return Done(told, back)

    return _by_button(page, posted, act)


def _by_button(page: PageRequest, posted: FormData, act: Callable[[Session], Done]) -> Response:
    try:
        return change(page, posted, act)
    except Refused as fault:
        return refused_here(page, fault.message)


def _entries(page: PageRequest, uids: Sequence[str]) -> list[HistoryEntry]:
    with page.db.read() as session:
        found = [history.entry(session, page.actor, uid) for uid in uids[:MOST_TOLD]]
    return [one for one in found if one is not None and one.action == "undo"]


def refused_here(page: PageRequest, message: str, status: int = 409, making: FormState | None = None) -> Response:
    """The plan as it stands, and above it in plain words why nothing was done. ``making``: the form that asks for a
    plan, as it was filled in."""
    told_why = plan_words.dates_words(message, page.today)
    return page.render("plan/page.html", {**_context(page, making or FormState()), "refusal": told_why}, status)


def _context(page: PageRequest, making: FormState, opened: Opened = Opened()) -> dict[str, Any]:
    with page.db.read() as session:
        rows = planning.all_open(session, page.actor)
        found = plans(session, page)
        return {
            "painters": sorted({row.painter for row in rows} - {planning.EVERYBODY}),
            "making": making,
            "is_following": _is_following(page, found.proposal),
            "is_improving": QUIET.is_running(page.actor.studio_id),
            "rack": _rack(found.wall, found.settings.get("rack_places")),
            "settings": found.settings,
            "standing": folded(found.standing, page.today, opened.month, opened.part == "panels"),
            "holds": found.wall.holds,
            "unheld": unheld(found.wall, found.standing, found.proposal, page.today),
            "picture": plan_picture(found.proposal, found.standing, found.facts, page.today),
            "proposal": folded(found.proposal, page.today, opened.then, opened.part == "then-panels"),
            "no_more": found.lost,
            "days_open": bool(opened.month or opened.part in ("days", "panels")),
            "stays": (),
            "lost": (),
            "refusal": "",
            "weighs": WEIGHS,
            "share_wait_d": found.share_wait_d,
        }


def _opened_at(address: str) -> Opened:
    """What is open on the page of that address."""
    asked = dict(parse_qsl(urlsplit(address).query))
    return Opened(asked.get("month", ""), asked.get("then", ""), asked.get("open", ""))


def _is_as_shown(page: PageRequest, uid: str) -> bool:
    """Whether a plan waits yet, and all that is told of it is still to come."""
    with page.db.read() as session:
        plan = planning_plans.waiting(session, page.actor)
        made_at = plan.created_at if plan is not None and plan.uid == uid and is_following(session, uid) else None
    return made_at is not None and may_follow(page.actor.studio_id, made_at, page.now)


def _is_following(page: PageRequest, plan: PlanShown | None) -> bool:
    made_at = None if plan is None or not plan.follows else plan.made_at
    return made_at is not None and may_follow(page.actor.studio_id, made_at, page.now)


def _rack(wall: TodayBoard, places: int | None) -> tuple[int, int] | None:
    """(wet panels, how many must dry before a new one is started), where the rack has no room left."""
    wet = sum(panel.top is not None and panel.top.state in SOFT for group in wall.groups.values() for panel in group)
    waits = planning.rack_waits_for(wet, places) if places else 0
    return (wet, waits) if waits else None
