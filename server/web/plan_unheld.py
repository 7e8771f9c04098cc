"""Dates at risk that no plan holds: of panels with nothing left to paint, what is left is drying, varnish, the way; of
others, that a plan leaves out or that a rule stops where there is none."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from server.services.board.facts import PanelFact, TodayBoard
from server.store.tables import Name
from server.web.plan_shown import LeftOut, PlanShown
from server.web.standing_words import due_risk_words, due_words


@dataclass(frozen=True, slots=True)
class DateAtRisk:
    """``due``: its date and what for; ``risk``: how likely that is kept, and what it waits for."""

    uid: str
    title: str
    due: str
    risk: str


@dataclass(frozen=True, slots=True)
class Unheld:
    """Dates at risk of panels that no plan holds, in the order of the dates: with nothing left to paint, and others."""

    painted: tuple[DateAtRisk, ...]
    to_paint: tuple[DateAtRisk, ...]


def unheld(wall: TodayBoard, standing: PlanShown | None, proposal: PlanShown | None, today: date) -> Unheld:
    """``standing``: the plan in use, ``proposal`` the one that waits; what stands in one of them is told there."""
    plans = [plan for plan in (standing, proposal) if plan is not None]
    held = {panel.uid for plan in plans for panel in plan.panels}
    left_out = {one.uid for plan in plans for one in plan.left_out}
    facts = [fact for group in wall.groups.values() for fact in group if fact.uid not in held]
    stopped = [fact for fact in facts if fact.uid in left_out or (standing is None and fact.stop is not None)]
    return Unheld(
        _told([fact for fact in facts if not fact.layers_to_come], today),
        _told([fact for fact in stopped if fact.layers_to_come], today),
    )


def _told(facts: list[PanelFact], today: date) -> tuple[DateAtRisk, ...]:
    due = [(fact.due, fact) for fact in facts if fact.due is not None and fact.due.at_risk]
    due.sort(key=lambda one: (one[0].on, one[1].title))
    return tuple(
        DateAtRisk(fact.uid, fact.title, due_words(one, today), due_risk_words(fact, today)) for one, fact in due
    )


def with_dates(plan: PlanShown | None, facts: Mapping[str, PanelFact], today: date) -> PlanShown | None:
    """The plan with its panels under their names of now, and with the dates of those that it leaves out."""
    if plan is None:
        return None
    panels = tuple(replace(one, title=Name(facts[one.uid].title)) if one.uid in facts else one for one in plan.panels)
    return replace(plan, panels=panels, left_out=tuple(_dated(one, facts.get(one.uid), today) for one in plan.left_out))


def _dated(one: LeftOut, fact: PanelFact | None, today: date) -> LeftOut:
    one = one if fact is None else replace(one, title=Name(fact.title))
    if fact is None or fact.due is None:
        return one
    due, risk = due_words(fact.due, today), due_risk_words(fact, today)
    return replace(one, due=due, risk=risk, at_risk=fact.due.at_risk)
