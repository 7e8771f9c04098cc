"""Plans of the studio: made, looked at, taken or left, set right; sittings held; long searches; a week's work."""

from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import date
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from sqlmodel import Session

from server.formats.plan_json import (
    LeftOutOut,
    PlannedPanelOut,
    PlannedSittingOut,
    PlanOptionOut,
    PlanRiskOut,
    PlanSettingsOut,
    SearchOut,
    StudioPlanOut,
    StudioPlansOut,
    UnplacedSittingOut,
    WorkDayOut,
    WorkMixOut,
    WorkPainterOut,
    WorkShareOut,
    WorkTestOut,
    WorkWeekOut,
)
from server.services import (
    board,
    planning_apply,
    planning_events,
    planning_keep,
    planning_make,
    planning_plans,
    records,
)
from server.services.board.facts import PanelFact, Standing
from server.services.board.plan_standing import plan_now
from server.services.board.worksheet import Asked, MixDue, PainterDay, SheetDay, worksheet
from server.services.errors import NotFound
from server.services.fields import Command, Day, OptionalText120, Text200, Uid
from server.services.plan_reading import PlannedSitting, sittings_of
from server.services.planning_ahead import Changed, plan_after
from server.services.planning_asked import PlanMake
from server.services.planning_events import PlanRight
from server.services.planning_long import LONG, LongMake, LongSearch
from server.services.records import Slice
from server.services.sendings import added_before, sent_before
from server.store.tables import StudioPlan
from server.web.api import doing
from server.web.api.doing import Told, changing
from server.web.api.record_schemas import problems
from server.web.api.records import After, Archived, Limit
from server.web.api.records import Uid as PathUid
from server.web.api.sent import Sending, Sent, VersionSeen
from server.web.calendar_rows import week_of
from server.web.deps import Page, PageRequest
from server.web.plan_shown import PanelShown, shown_in_use
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
    """The one in use, the one that waits to be looked at; with ``archived`` those of before. Odds and lateness of the
    panels of the one in use are those of now."""
    with page.db.read() as session:
        found, more = records.find_slice(session, page.actor, StudioPlan, Slice(limit, after, archived))
        items = _plans(session, page, found)
    return StudioPlansOut(items=items, next_after=items[-1].uid if more else None)


@router.get("/plans/{uid}", summary="A plan", responses=problems(404, 422))
def plan(page: Page, uid: PathUid) -> StudioPlanOut:
    """Its sittings with their reasons, panels with their odds, and what would help those that are late. Of the plan in
    use, odds and lateness are those of now; of others those of the moment it was made."""
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
        planning_plans.pin(session, page.actor, uid, command.layer_uid, pinned=command.pinned)
        return "Pinned a sitting" if command.pinned else "Let a sitting move again", "/plan"

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
    """For each painter the sittings of a day, what to mix for them in millilitres, and what to press."""
    first = week_of(on or page.today)
    with page.db.read() as session:
        sheet = worksheet(session, page.actor, Asked(first, painter), page.now, page.zone)
    days = tuple(_day(day) for day in sheet.days)
    return WorkWeekOut(first=first, has_plan=sheet.has_plan, painters=sheet.painters, days=days)


def _read(page: PageRequest, uid: str) -> StudioPlanOut:
    with page.db.read() as session:
        [found] = _plans(session, page, [records.find(session, page.actor, StudioPlan, uid)])
        return found


def _plans(session: Session, page: PageRequest, rows: Sequence[StudioPlan]) -> tuple[StudioPlanOut, ...]:
    """Plans as they are stored, the panels of the one in use as they stand now."""
    used = planning_plans.in_use(session, page.actor)
    return tuple(
        _plan(row, _panels_now(session, page, row) if used is not None and row.uid == used.uid else _stored(row))
        for row in rows
    )


def _stored(row: StudioPlan) -> tuple[PlannedPanelOut, ...]:
    return tuple(_panel(each) for each in (row.content_json or {}).get("panels", ()))


def _panels_now(session: Session, page: PageRequest, row: StudioPlan) -> tuple[PlannedPanelOut, ...]:
    """The panels of the plan in use, as the page of the plan shows them."""
    wall = board.today(session, page.actor, page.now, page.zone)
    facts = {panel.uid: panel for group in wall.groups.values() for panel in group}
    seen = shown_in_use(row, plan_now(session, page.actor, page.now, page.zone), facts, page.today)
    if seen is None:
        return ()
    return tuple(
        _now(stored, panel, facts.get(panel.uid)) for stored, panel in zip(_stored(row), seen.panels, strict=True)
    )


def _now(stored: PlannedPanelOut, panel: PanelShown, fact: PanelFact | None) -> PlannedPanelOut:
    due = None if fact is None or fact.standing is Standing.FINISHED else fact.due
    plan = None if due is None or due.is_late else due.plan
    risk = None if plan is None else PlanRiskOut(**{name: getattr(plan, name) for name in PlanRiskOut.model_fields})
    has_no_date = fact is not None and fact.due is None and fact.standing is not Standing.FINISHED
    options = tuple(
        PlanOptionOut(text=o.text, finish_on=o.finish_on, saves_d=o.saves_d, key=o.key) for o in panel.options
    )
    return PlannedPanelOut(
        panel_uid=stored.panel_uid,
        title=stored.title,
        finish_on=panel.finish_on,
        late_d=panel.late_d,
        odds=None if due is None or panel.odds is None else due.odds,
        risk=stored.risk if has_no_date else risk,
        options=options,
    )


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
            chosen = work.change_uid if changed.is_chosen else ""
            uid = planning_plans.propose(work.session, page.actor, content, chosen).uid
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


State = Literal["waiting", "in_use", "put_away"]


def _state(row: StudioPlan) -> State:
    if row.archived_at is not None:
        return "put_away"
    return "waiting" if row.accepted_at is None else "in_use"


def _plan(row: StudioPlan, panels: tuple[PlannedPanelOut, ...]) -> StudioPlanOut:
    content = row.content_json or {}
    settings = PlanMake.model_validate(content.get("settings", {}))
    return StudioPlanOut(
        uid=row.uid,
        version=row.version,
        state=_state(row),
        made_on=date.fromisoformat(content["made_on"]) if "made_on" in content else row.created_at.date(),
        created_at=row.created_at,
        accepted_at=row.accepted_at,
        archived_at=row.archived_at,
        settings=PlanSettingsOut(
            easels=settings.easels, rack_places=settings.rack_places, mix_setup_min=settings.mix_setup_min
        ),
        sittings=tuple(_sitting(each) for each in sittings_of(content)),
        panels=panels,
        left_out=tuple(
            LeftOutOut(panel_uid=each["uid"], title=each["title"], reason=each["reason"])
            for each in content.get("left_out", ())
        ),
        unplaced=tuple(
            UnplacedSittingOut(layer_uid=each["sitting"], kind=each.get("kind", ""), reason=each["reason"])
            for each in content.get("unplaced", ())
        ),
    )


def _sitting(each: PlannedSitting) -> PlannedSittingOut:
    names = set(PlannedSittingOut.model_fields) - {"layer_uid"}
    return PlannedSittingOut(layer_uid=each.uid, **{name: getattr(each, name) for name in names})


def _panel(each: Mapping[str, Any]) -> PlannedPanelOut:
    risk = each.get("risk")
    options = tuple(
        PlanOptionOut(text=o["text"], finish_on=o["finish_on"], saves_d=o["saves_d"], key=o.get("key", ""))
        for o in each.get("options", ())
    )
    return PlannedPanelOut(
        panel_uid=each["id"],
        title=each["title"],
        finish_on=each["finish_on"],
        late_d=each["late_d"],
        odds=each.get("odds"),
        risk=None if risk is None else PlanRiskOut(**{name: risk[name] for name in PlanRiskOut.model_fields}),
        options=options,
    )


def _day(day: SheetDay) -> WorkDayOut:
    tests = tuple(WorkTestOut(panel_uid=each.panel_uid, title=each.title, kind=each.kind) for each in day.tests)
    return WorkDayOut(on=day.on, painters=tuple(_painter(each) for each in day.painters), tests=tests)


def _painter(each: PainterDay) -> WorkPainterOut:
    mixes = tuple(_mix(mix) for mix in each.mixes)
    return WorkPainterOut(painter=each.painter, mixes=mixes, sittings=tuple(_sitting(one) for one in each.sittings))


def _mix(mix: MixDue) -> WorkMixOut:
    shares = tuple(WorkShareOut(title=s.title, kind=s.kind, region=s.region, ml=s.ml) for s in mix.shares)
    return WorkMixOut(mix_uid=mix.uid, label=mix.label, ml=mix.ml, by_at=mix.by_at, shares=shares)
