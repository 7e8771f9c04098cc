"""Plans of the studio: made, looked at, taken or left, set right; sittings held; long searches; a week's work."""

from collections.abc import Callable, Collection, Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Query
from sqlmodel import Session

from server.formats.plan_json import (
    SearchOut,
    StudioPlanOut,
    StudioPlansOut,
    WorkWeekOut,
)
from server.services import (
    planning_apply,
    planning_events,
    planning_keep,
    planning_make,
    planning_plans,
    records,
)
from server.services.board.worksheet import Asked, worksheet
from server.services.errors import NotFound
from server.services.fields import Command, Day, OptionalText120, Text200, Uid
from server.services.planning_ahead import Changed, plan_after
from server.services.planning_asked import PlanMake
from server.services.planning_events import PlanRight
from server.services.planning_long import LONG, LongMake, LongSearch
from server.services.records import Slice
from server.services.sendings import added_before, sent_before
from server.store.tables import StudioPlan
from server.web.api import doing
from server.web.api.doing import Told, changing
from server.web.api.plan_out import plans_out, week_out
from server.web.api.record_schemas import problems
from server.web.api.records import After, Archived, Limit
from server.web.api.records import Uid as PathUid
from server.web.api.sent import Sending, Sent, VersionSeen
from server.web.calendar_rows import week_of
from server.web.deps import Page, PageRequest
from server.web.quietly import improve_on

router = APIRouter(tags=["plans"])
PROPOSAL = "/plan#proposal"
On = Annotated[Day | None, Query(description="Any day of the week; today without")]


class PlanPin(Command):
    """Hold a sitting of the plan in use on its day and hour, or let it move again."""

    layer_uid: Uid
    pinned: bool = True


class PlanOptionApply(Command):
    """What would help a late panel, by the ``key`` that the plan gives it."""

    panel_uid: Uid
    key: Text200


BODIES = (PlanMake, PlanPin, PlanOptionApply, PlanRight, LongMake)


@router.get("/plans", summary="Plans that were made", responses=problems(422))
def plans(page: Page, limit: Limit = 50, after: After = None, archived: Archived = False) -> StudioPlansOut:
    """The one in use, the one that waits to be looked at; with ``archived`` those of before. Of the one in use, odds
    and lateness are those of now, and each sitting has what became of it."""
    with page.db.read() as session:
        found, more = records.find_slice(session, page.actor, StudioPlan, Slice(limit, after, archived))
        items = plans_out(session, page, found)
    return StudioPlansOut(items=items, next_after=items[-1].uid if more else None)


@router.get("/plans/{uid}", summary="A plan", responses=problems(404, 422))
def plan(page: Page, uid: PathUid) -> StudioPlanOut:
    """Its sittings with their reasons, panels with their odds, and what would help those that are late. Of the plan in
    use, odds and lateness are those of now; of others those of the moment it was made. Of one that waits, ``let_go``
    and ``held`` say what became of pins, and ``broken`` of a sitting that it would hold no more."""
    return _read(page, uid)


@router.post(
    "/plans", response_model=StudioPlanOut, **changing("Make a plan of all open panels", "PlanMake", status=201)
)
def make_plan(page: Page, given: Sending) -> Any:
    """A second of search, then it waits beside the plan in use, to be taken or left."""
    command = given.command(PlanMake)
    content: Mapping[str, Any] = {}
    with page.db.read() as session:
        is_repeated = sent_before(session, page.actor, given.key)
    if not is_repeated:
        content = planning_make.make(page.db, page.actor, command, page.now, page.zone)
    found = _propose(page, given, content, "Made a plan")
    if content:
        improve_on(page, found.uid, content, anew=command.anew)
    return found


@router.post("/plans/right", response_model=StudioPlanOut, **changing("Set the plan in use right", "PlanRight"))
def set_right(page: Page, given: Sending) -> Any:
    """After a lost day, a missed sitting, a layer that is slower: little moves, and the answer waits to be taken."""
    command = given.command(PlanRight)

    def act(session: Session) -> Changed:
        return planning_events.happened(session, page.actor, command, page.now, page.zone)

    return _planned_anew(page, given, act)


@router.post(
    "/plans/{uid}/apply",
    response_model=StudioPlanOut,
    **changing("Do what would help a late panel", "PlanOptionApply", held=True),
)
def apply_option(page: Page, uid: PathUid, given: Sending, seen: VersionSeen) -> Any:
    """One change with one undo; the plan that comes of it waits to be taken."""
    command = given.command(PlanOptionApply)

    def act(session: Session) -> Changed:
        doing.hold(session, page.actor, (StudioPlan, uid), seen)
        chosen = (uid, command.panel_uid, command.key)
        return planning_apply.apply(session, page.actor, chosen, page.now, page.zone)

    return _planned_anew(page, given, act)


@router.post("/plans/{uid}/accept", response_model=StudioPlanOut, **changing("Take a plan", held=True))
def accept_plan(page: Page, uid: PathUid, given: Sending, seen: VersionSeen) -> Any:
    """Its days become the planned days of the layers to come; the plan before it is put away."""
    doing.check_empty(given)

    def act(session: Session) -> Told:
        doing.hold(session, page.actor, (StudioPlan, uid), seen)
        planning_plans.accept(session, page.actor, uid)
        return "Took the plan: its days stand in the calendar", "/plan"

    doing.do_once(page, given, act)
    return _read(page, uid)


@router.post("/plans/{uid}/dismiss", response_model=StudioPlanOut, **changing("Leave a plan aside", held=True))
def dismiss_plan(page: Page, uid: PathUid, given: Sending, seen: VersionSeen) -> Any:
    """One that was only looked at. An option applied for it, or a day left free, is taken back with it, unless
    something else was changed there since: then that stays, to be undone by its entry in the history."""
    doing.check_empty(given)

    def leave(staying: Collection[str]) -> None:
        def act(session: Session) -> Told:
            doing.hold(session, page.actor, (StudioPlan, uid), seen)
            planning_keep.keep_things(session, page.actor, uid, staying)
            return "Left the plan aside", "/plan"

        doing.do_once(page, given, act)

    planning_keep.as_far_as_can_be(leave)
    return _read(page, uid)


@router.post(
    "/plans/{uid}/pin", response_model=StudioPlanOut, **changing("Hold a sitting, or let it move", "PlanPin", held=True)
)
def pin_sitting(page: Page, uid: PathUid, given: Sending, seen: VersionSeen) -> Any:
    """Of the plan in use. Plans made later keep it where it is."""
    command = given.command(PlanPin)

    def act(session: Session) -> Told:
        doing.hold(session, page.actor, (StudioPlan, uid), seen)
        return planning_plans.pin(session, page.actor, uid, command.layer_uid, pinned=command.pinned), "/plan"

    doing.do_once(page, given, act)
    return _read(page, uid)


@router.get("/plan-search", summary="How far a long search is", responses=problems(404))
def search(page: Page) -> SearchOut:
    """The studio's own, while it runs and until its plan is kept. 404 where there is none."""
    return _search(page)


@router.post("/plan-search", response_model=SearchOut, **changing("Search long for a plan", "LongMake", status=202))
def begin_search(page: Page, given: Sending) -> Any:
    """One at a time; nothing is changed before its plan is kept."""
    command = given.command(LongMake)
    with page.db.read() as session:
        asked = planning_make.read(session, page.actor, command.plan(), page.now, page.zone)
    LONG.start(asked, page.actor.studio_id, command.seconds)
    return _search(page)


@router.post("/plan-search/end", response_model=StudioPlanOut, **changing("Stop a long search and keep its plan"))
def end_search(page: Page, given: Sending) -> Any:
    """Its best plan waits beside the plan in use."""
    doing.check_empty(given)
    with page.db.read() as session:
        is_repeated = sent_before(session, page.actor, given.key)
    content = {} if is_repeated else LONG.end(page.actor.studio_id)
    found = _propose(page, given, content, "Made a plan by a long search")
    LONG.forget(page.actor.studio_id)
    return found


@router.get("/plan-week", summary="A week of the plan in use", responses=problems(422))
def plan_week(page: Page, on: On = None, painter: Annotated[OptionalText120, Query()] = "") -> WorkWeekOut:
    """For each painter the sittings of a day, those that hold no more with why, what to mix for them in millilitres,
    and what to press; of the finish, the steps that are planned."""
    first = week_of(on or page.today)
    with page.db.read() as session:
        sheet = worksheet(session, page.actor, Asked(first, painter), page.now, page.zone)
    return week_out(sheet)


def _read(page: PageRequest, uid: str) -> StudioPlanOut:
    with page.db.read() as session:
        [found] = plans_out(session, page, [records.find(session, page.actor, StudioPlan, uid)])
        return found


def _propose(page: PageRequest, given: Sent, content: Mapping[str, Any], label: str) -> StudioPlanOut:
    def act(session: Session) -> tuple[StudioPlan, str, str]:
        return planning_plans.propose(session, page.actor, dict(content)), label, PROPOSAL

    return _read(page, doing.add_once(page, given, StudioPlan, act))


def _planned_anew(page: PageRequest, given: Sent, act: Callable[[Session], Changed]) -> StudioPlanOut:
    """Do something, with the plan that goes with it; that plan."""
    content = plan_after(lambda: page.api_unit(given.key), act, page.actor, (page.now, page.zone))
    with page.api_unit(given.key) as work:
        if work.repeated or content is None:
            uid = added_before(work, StudioPlan)[0]
        else:
            changed = act(work.session)
            work.label, work.location = changed.label, PROPOSAL
            uid = planning_plans.propose(work.session, page.actor, content, *changed.noted(work.change_uid)).uid
    if content is not None:
        improve_on(page, uid, content)
    return _read(page, uid)


def _search(page: PageRequest) -> SearchOut:
    found: LongSearch | None = LONG.of(page.actor.studio_id)
    if found is None:
        raise NotFound
    return SearchOut(
        state=found.state,
        seconds=found.seconds,
        share=found.share,
        first_cost=found.first_cost,
        cost=found.cost,
        fault=found.fault,
    )
