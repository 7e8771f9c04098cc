"""What of a large plan its page shows at once, and what when it is asked for: months further off, the panels on course,
all but the first of very many that are late, long lists of changes. A plan of a usual studio is shown whole."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from sqlmodel import Session

from server.services import board, planning_plans, studios
from server.services.board.facts import PanelFact, TodayBoard
from server.services.board.marked import broken_of
from server.services.board.plan_standing import plan_in
from server.services.board.plan_waiting import facts_by_now
from server.services.board.snapshot import snapshot
from server.services.board.today import moment_of
from server.services.plan_reading import BrokenSitting
from server.web.deps import PageRequest
from server.web.plan_panels import PanelShown, as_if_taken, without_its_day
from server.web.plan_shown import (
    Changes,
    DayShown,
    MonthShown,
    PlanShown,
    SittingShown,
    shown,
    shown_in_use,
    told,
)
from server.web.plan_unheld import with_dates

WHOLE = 60  # sittings: a plan of up to so many is shown whole
NEAR = timedelta(days=14)
FEW_DAYS = 3  # so many days with sittings are shown, however far off
MOST_CHANGES = 20
MOST_LATE = 20  # panels late or at risk that are told at once


@dataclass(frozen=True, slots=True)
class Plans:
    """Today's board, the settings of the newest plan, and the plans: ``standing`` in use, ``proposal`` that waits.

    ``share_wait_d``: so long a panel may wait to share a mix in plans made from now on. ``lost``: the panels, uid and
    title, of which the one that waits would not hold any more if it were taken now. ``facts``: of every panel, by uid.
    """

    wall: TodayBoard
    settings: Mapping[str, Any]
    share_wait_d: float
    standing: PlanShown | None
    proposal: PlanShown | None
    lost: tuple[tuple[str, str], ...]
    facts: Mapping[str, PanelFact]


def plans(session: Session, page: PageRequest) -> Plans:
    wall = board.today(session, page.actor, page.now, page.zone)
    in_use, waiting = planning_plans.in_use(session, page.actor), planning_plans.waiting(session, page.actor)
    facts = {panel.uid: panel for group in wall.groups.values() for panel in group}
    now = plan_in(snapshot(session, page.actor).rows, wall.moment, facts.values())
    studio = studios.get(session, page.actor)
    moment = moment_of(page.now, page.zone)
    then = facts_by_now(session, page.actor, waiting, moment) if waiting is not None else {}
    proposal = by_now(shown(waiting, now, page.today, studio.confidence_pct / 100), then, page.today)
    return Plans(
        wall,
        told(waiting or in_use).get("settings", {}),
        studio.share_wait_d,
        with_dates(shown_in_use(in_use, now, facts, page.today), facts, page.today),
        with_dates(proposal, facts, page.today),
        _lost(proposal.days) if proposal is not None else (),
        facts,
    )


def by_now(plan: PlanShown | None, then: Mapping[str, PanelFact], today: date) -> PlanShown | None:
    """The plan that waits with what became of it since; ``then``: its panels as they would stand with it by now."""
    if plan is None or not then:
        return plan
    if not plan.follows:
        plan = replace(plan, panels=tuple(as_if_taken(panel, then.get(panel.uid), today) for panel in plan.panels))
    return _marked(plan, broken_of(then.values()))


def _marked(plan: PlanShown | None, broken: Mapping[str, BrokenSitting]) -> PlanShown | None:
    if plan is None or not broken:
        return plan

    def marked(day: DayShown) -> DayShown:
        found = (replace(one, broken=broken.get(one.plan.uid)) for one in day.sittings)
        return replace(day, sittings=tuple(found))

    days = tuple(map(marked, plan.days))
    lost = {uid for uid, _ in _lost(days)}
    panels = tuple(without_its_day(panel) if panel.uid in lost else panel for panel in plan.panels)
    return replace(plan, days=days, panels=panels)


def _lost(days: Iterable[DayShown]) -> tuple[tuple[str, str], ...]:
    """The panels of which a sitting holds no more."""
    lost = (one.plan for day in days for one in day.sittings if one.broken is not None)
    return tuple({one.panel_uid: (one.panel_uid, one.title) for one in lost}.values())


def folded(plan: PlanShown | None, today: date, opened: str = "", more_open: bool = False) -> PlanShown | None:
    """The plan with what is needed at once: all of one that is not large. ``opened``: the month that is shown with
    it; ``more_open``: so are the other panels."""
    if plan is None or sum(len(day.sittings) for day in plan.days) <= WHOLE:
        return plan
    near = _near(plan.days, today)
    changes, at_risk = _first(plan.changes, today), _latest_first(plan)
    return replace(
        plan,
        is_folded=True,
        more_open=more_open,
        days=tuple(day for day in plan.days if day.on in near),
        months=tuple(replace(month, is_open=month.key == opened) for month in _months(plan.days, near, today)),
        panels=at_risk[:MOST_LATE],
        less_late=at_risk[MOST_LATE:],
        on_course=tuple(panel for panel in plan.panels if panel.is_on_course),
        changes=changes,
        more_changes=plan.changes.count - changes.count,
    )


def _latest_first(plan: PlanShown) -> tuple[PanelShown, ...]:
    """The panels that are not on course, in their own order, but where they are very many: then what has no place comes
    first, after it whatever is most after its date, then what does not hold any more."""
    found = [panel for panel in plan.panels if not panel.is_on_course]
    if len(found) > MOST_LATE:
        found.sort(key=lambda panel: (panel.finish_on is not None, -panel.late_d, not panel.is_broken))
    return tuple(found)


def month_of(plan: PlanShown, key: str, today: date) -> MonthShown | None:
    """The days of a month that the plan's page leaves to be asked for, or all of the month where it leaves none; None
    where nothing is planned in it."""
    whole = next((month for month in _months(plan.days, frozenset(), today) if month.key == key), None)
    found = folded(plan, today)
    months = found.months if found is not None else ()
    left = next((month for month in months if month.key == key), whole)
    return left and replace(left, is_open=True)


def _near(days: Iterable[DayShown], today: date) -> frozenset[date]:
    """The days near at hand, and the next few with sittings in any case."""
    every = [day.on for day in days]
    to_come = sorted(on for on in every if on >= today)
    return frozenset([on for on in every if abs(on - today) <= NEAR] + to_come[:FEW_DAYS])


def _months(days: Iterable[DayShown], near: frozenset[date], today: date) -> tuple[MonthShown, ...]:
    """The days but for those ``near``, by month."""
    left: dict[date, list[DayShown]] = {}
    split = {on.replace(day=1) for on in near}
    for day in days:
        if day.on not in near:
            left.setdefault(day.on.replace(day=1), []).append(day)
    return tuple(
        MonthShown(first, tuple(found), first in split, all(day.on < today for day in found))
        for first, found in sorted(left.items())
    )


def _first(changes: Changes, today: date) -> Changes:
    """So many of them as are told at once: first what was moved by hand, then what loses its place, then what is on
    another day, those nearest to today before the others."""

    def order(one: SittingShown) -> tuple[bool, date]:
        return not one.plan.pinned, max(today, min(one.plan.on, one.before or one.plan.on))

    moved = sorted(changes.moved, key=order)
    by_hand = [one for one in moved if one.plan.pinned][:MOST_CHANGES]
    gone = changes.gone[: MOST_CHANGES - len(by_hand)]
    moved = moved[: MOST_CHANGES - len(gone)]
    room = MOST_CHANGES - len(gone) - len(moved)
    new = changes.new[:room]
    return Changes(tuple(moved), changes.retimed[: room - len(new)], new, gone)
