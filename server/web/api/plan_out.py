"""Plans, and a week of one, as programs are told of them: from what is stored and what is known by now."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, Literal

from sqlmodel import Session

from server.formats.plan_json import (
    BrokenOut,
    HeldOut,
    LeftOutOut,
    LetGoOut,
    PlannedPanelOut,
    PlannedSittingOut,
    PlanOptionOut,
    PlanRiskOut,
    PlanSettingsOut,
    StudioPlanOut,
    UnplacedSittingOut,
    WorkDayOut,
    WorkMixOut,
    WorkPainterOut,
    WorkShareOut,
    WorkStepOut,
    WorkTestOut,
    WorkWeekOut,
)
from server.services import board, planning_plans
from server.services.board.facts import PanelFact, Standing
from server.services.board.marked import broken_of
from server.services.board.plan_standing import Fate, PlanNow, SittingNow, plan_now
from server.services.board.plan_waiting import facts_by_now
from server.services.board.worksheet import MixDue, PainterDay, SheetDay, StepDue, Worksheet
from server.services.plan_reading import (
    BrokenSitting,
    PlannedSitting,
    as_called,
    content_as_called,
    share_wait_of,
    sittings_of,
)
from server.services.planning_asked import PlanMake
from server.store.tables import StudioPlan
from server.web.deps import PageRequest
from server.web.plan_panels import PanelShown, is_known
from server.web.plan_parts import by_now
from server.web.plan_shown import shown, shown_in_use

Content = Mapping[str, Any]  # a plan as it is stored
PINS = ("let_go", "held")  # fields of a plan with what became of pins


def plans_out(session: Session, page: PageRequest, rows: Sequence[StudioPlan]) -> tuple[StudioPlanOut, ...]:
    """Plans as they are stored, sittings and panels of the one in use as they stand now."""
    used, waiting = planning_plans.in_use(session, page.actor), planning_plans.waiting(session, page.actor)

    def told(row: StudioPlan) -> StudioPlanOut:
        if used is not None and row.uid == used.uid:
            return _in_use(session, page, row)
        if waiting is not None and row.uid == waiting.uid:
            return _waiting(session, page, row)
        content = row.content_json or {}
        return _plan(row, content, _stored(content), tuple(_sitting(one, None, None) for one in sittings_of(content)))

    return tuple(map(told, rows))


def week_out(sheet: Worksheet) -> WorkWeekOut:
    """A week of the plan in use."""
    days = tuple(_day(day, sheet.broken) for day in sheet.days)
    return WorkWeekOut(first=sheet.first, has_plan=sheet.has_plan, painters=sheet.painters, days=days)


def _stored(content: Content) -> tuple[PlannedPanelOut, ...]:
    return tuple(_panel(each) for each in content.get("panels", ()))


def _in_use(session: Session, page: PageRequest, row: StudioPlan) -> StudioPlanOut:
    """The plan in use, as its page shows it."""
    now = plan_now(session, page.actor, page.now, page.zone)
    became = {one.plan.uid: one for one in now.sittings}
    content = content_as_called(row.content_json or {}, now.called)
    sittings = (_planned(each, became.get(each.uid)) for each in sittings_of(content))
    made = _plan(row, content, _panels_now(session, page, row, now), tuple(sittings))
    return made.model_copy(update={"let_go": (), "held": ()})


def _waiting(session: Session, page: PageRequest, row: StudioPlan) -> StudioPlanOut:
    """The plan that waits, with what of it holds no more by now."""
    now, moment = plan_now(session, page.actor, page.now, page.zone), board.moment_of(page.now, page.zone)
    then = facts_by_now(session, page.actor, row, moment)
    broken = broken_of(then.values())
    content = content_as_called(row.content_json or {}, now.called)
    sittings = (as_called(each, now.called) for each in sittings_of(content))
    panels = _panels_then(row, now, then, page.today)
    made = _plan(row, content, panels, tuple(_sitting(each, None, broken.get(each.uid)) for each in sittings))
    still = {name: tuple(one for one in getattr(made, name) if one.layer_uid in now.to_come) for name in PINS}
    return made.model_copy(update=still)


def _panels_then(
    row: StudioPlan, now: PlanNow, then: Mapping[str, PanelFact], today: date
) -> tuple[PlannedPanelOut, ...]:
    """Panels of the plan that waits, as its page shows them."""
    stored = _stored(content_as_called(row.content_json or {}, now.called))
    seen = by_now(shown(row, now, today), then, today)
    if seen is None or not then or seen.follows:
        return stored
    by_uid = {panel.uid: panel for panel in seen.panels if not panel.is_broken and is_known(then.get(panel.uid))}
    return tuple(
        _now(one, by_uid[one.panel_uid], then[one.panel_uid]) if one.panel_uid in by_uid else one for one in stored
    )


def _panels_now(session: Session, page: PageRequest, row: StudioPlan, now: PlanNow) -> tuple[PlannedPanelOut, ...]:
    wall = board.today(session, page.actor, page.now, page.zone)
    facts = {panel.uid: panel for group in wall.groups.values() for panel in group}
    seen = shown_in_use(row, now, facts, page.today)
    if seen is None:
        return ()
    shown = {panel.uid: panel for panel in seen.panels}
    stored = (one for one in _stored(row.content_json or {}) if one.panel_uid in shown)
    return tuple(_now(one, shown[one.panel_uid], facts.get(one.panel_uid)) for one in stored)


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
        title=panel.title,
        finish_on=panel.finish_on,
        late_d=panel.late_d,
        odds=None if due is None or panel.odds is None else due.odds,
        risk=stored.risk if has_no_date and not panel.is_partial else risk,
        options=options,
    )


State = Literal["waiting", "in_use", "put_away"]


def _state(row: StudioPlan) -> State:
    if row.archived_at is not None:
        return "put_away"
    return "waiting" if row.accepted_at is None else "in_use"


def _plan(
    row: StudioPlan, content: Content, panels: tuple[PlannedPanelOut, ...], sittings: tuple[PlannedSittingOut, ...]
) -> StudioPlanOut:
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
            easels=settings.easels,
            rack_places=settings.rack_places,
            mix_setup_min=settings.mix_setup_min,
            share_wait_d=share_wait_of(content),
        ),
        sittings=sittings,
        panels=panels,
        left_out=tuple(
            LeftOutOut(panel_uid=each["uid"], title=each["title"], reason=each["reason"])
            for each in content.get("left_out", ())
        ),
        unplaced=tuple(
            UnplacedSittingOut(layer_uid=each["sitting"], kind=each.get("kind", ""), reason=each["reason"])
            for each in content.get("unplaced", ())
        ),
        let_go=tuple(LetGoOut(**_named(each)) for each in content.get("let_go", ())),
        held=tuple(
            HeldOut(**_named(each), why=each["why"], ready_on=each["ready_on"]) for each in content.get("held", ())
        ),
    )


def _named(each: Mapping[str, str]) -> dict[str, str]:
    return {"layer_uid": each["id"], "panel_uid": each["panel"], "title": each["title"], "kind": each["kind"]}


def _planned(each: PlannedSitting, now: SittingNow | None) -> PlannedSittingOut:
    return _sitting(each, None, None) if now is None else _sitting(now.plan, now.fate, now.broken)


def _sitting(each: PlannedSitting, fate: Fate | None, broken: BrokenSitting | None) -> PlannedSittingOut:
    names = set(PlannedSittingOut.model_fields) - {"layer_uid", "fate", "broken"}
    told = None if broken is None else BrokenOut(**{name: getattr(broken, name) for name in BrokenOut.model_fields})
    return PlannedSittingOut(
        layer_uid=each.uid, fate=fate, broken=told, **{name: getattr(each, name) for name in names}
    )


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


Broken = Mapping[str, BrokenSitting]


def _day(day: SheetDay, broken: Broken) -> WorkDayOut:
    tests = tuple(WorkTestOut(panel_uid=each.panel_uid, title=each.title, kind=each.kind) for each in day.tests)
    painters = tuple(_painter(each, broken) for each in day.painters)
    return WorkDayOut(on=day.on, painters=painters, tests=tests, steps=tuple(map(_step, day.steps)))


def _step(due: StepDue) -> WorkStepOut:
    step = due.step
    return WorkStepOut(
        panel_uid=due.panel_uid, title=due.title, step_uid=step.uid, action=step.action, opens_on=step.opens_on
    )


def _painter(each: PainterDay, broken: Broken) -> WorkPainterOut:
    mixes = tuple(_mix(mix) for mix in each.mixes)
    sittings = tuple(_sitting(one, "stands", broken.get(one.uid)) for one in each.sittings)
    return WorkPainterOut(painter=each.painter, mixes=mixes, sittings=sittings)


def _mix(mix: MixDue) -> WorkMixOut:
    shares = tuple(WorkShareOut(title=s.title, kind=s.kind, region=s.region, ml=s.ml) for s in mix.shares)
    return WorkMixOut(mix_uid=mix.uid, label=mix.label, ml=mix.ml, by_at=mix.by_at, shares=shares)
