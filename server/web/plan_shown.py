"""A plan as its page shows it: the stored content as days, panels and changes against the plan in use.

Of the plan in use, odds and lateness are those of now, as every other page tells them; one to be looked at has its own.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from server.formats.drawings_odds import OddsPicture, odds_picture
from server.services.board.facts import PanelFact, Standing
from server.services.plan_reading import PlannedSitting, PlanRisk, sittings_of
from server.store.tables import StudioPlan
from server.web import plan_words, standing_words


@dataclass(frozen=True, slots=True)
class SittingShown:
    """A sitting of a plan. ``before``: the day it had in the plan in use, where that is another one.
    ``hours``: "" where it is so far off that nobody knows them."""

    plan: PlannedSitting
    hours: str
    palette: str
    why: str
    before: date | None


@dataclass(frozen=True, slots=True)
class DayShown:
    on: date
    sittings: tuple[SittingShown, ...]


@dataclass(frozen=True, slots=True)
class OptionShown:
    """What would help a late panel, as it was tried; ``key`` "" where it cannot be done by a tap."""

    text: str
    finish_on: date
    saves_d: int
    key: str


@dataclass(frozen=True, slots=True)
class PanelShown:
    """A panel of a plan: how likely it makes its date, why, and what would help it where it is late."""

    title: str
    uid: str
    finish_on: date | None
    late_d: int
    odds: OddsPicture | None
    risk: str
    options: tuple[OptionShown, ...]


@dataclass(frozen=True, slots=True)
class PlanShown:
    uid: str
    made_on: date
    days: tuple[DayShown, ...]
    panels: tuple[PanelShown, ...]
    moved: tuple[SittingShown, ...]
    left_out: tuple[Mapping[str, str], ...]
    unplaced: tuple[Mapping[str, str], ...]
    gain_pct: float  # against the plan it was found beside, in the background; else 0


def told(row: StudioPlan | None) -> dict[str, Any]:
    """What is stored of a plan."""
    return (row.content_json or {}) if row is not None else {}


def shown_in_use(row: StudioPlan | None, facts: Mapping[str, PanelFact], today: date) -> PlanShown | None:
    """The plan in use, with its panels as they stand now, by their uids."""
    found = shown(row, None, today)
    if found is None:
        return None
    return replace(found, panels=tuple(_as_it_stands(panel, facts.get(panel.uid), today) for panel in found.panels))


def shown(row: StudioPlan | None, other: StudioPlan | None, today: date) -> PlanShown | None:
    """A plan beside the one in use (``other``), with what it changes."""
    if row is None or not row.content_json:
        return None
    content = row.content_json
    stood = {sitting.uid: sitting.on for sitting in sittings_of(told(other))}
    sittings = [_sitting(sitting, stood, today) for sitting in sittings_of(content)]
    days = sorted({s.plan.on for s in sittings})
    return PlanShown(
        uid=row.uid,
        made_on=date.fromisoformat(content["made_on"]) if "made_on" in content else row.created_at.date(),
        days=tuple(DayShown(on, tuple(s for s in sittings if s.plan.on == on)) for on in days),
        panels=tuple(_panel(p, today) for p in content.get("panels", ())),
        moved=tuple(s for s in sittings if s.before is not None),
        left_out=tuple(content.get("left_out", ())),
        unplaced=tuple(content.get("unplaced", ())),
        gain_pct=content.get("gain_pct", 0.0),
    )


def _sitting(sitting: PlannedSitting, stood: Mapping[str, date], today: date) -> SittingShown:
    before = stood.get(sitting.uid)
    return SittingShown(
        plan=sitting,
        hours="" if standing_words.is_far(sitting.on, today) else plan_words.hours_words(sitting),
        palette=plan_words.palette_words(sitting),
        why=plan_words.why_words(sitting, today),
        before=before if before != sitting.on else None,
    )


def _panel(one: Mapping[str, Any], today: date) -> PanelShown:
    finish = one["finish_on"]
    options = tuple(
        OptionShown(o["text"], date.fromisoformat(o["finish_on"]), o["saves_d"], o.get("key", ""))
        for o in one["options"]
    )
    odds = one.get("odds")
    return PanelShown(
        title=one["title"],
        uid=one["id"],
        finish_on=date.fromisoformat(finish) if finish else None,
        late_d=one["late_d"],
        odds=None if odds is None else odds_picture(odds),
        risk=_risk(one, today),
        options=options,
    )


def _as_it_stands(panel: PanelShown, fact: PanelFact | None, today: date) -> PanelShown:
    """A panel of the plan in use by what is known of it now; what would help is only told where it is late."""
    if fact is None or fact.standing is Standing.FINISHED:
        return replace(panel, odds=None, risk="", late_d=0, options=())
    due = fact.due
    if due is None:
        return replace(panel, odds=None, late_d=0, options=())
    finish = due.ready_on or panel.finish_on
    late_d = 0 if finish is None else max(0, (finish - due.on).days)
    return replace(
        panel,
        finish_on=finish,
        late_d=late_d,
        odds=None if due.odds is None or due.is_late else odds_picture(due.odds),
        risk=_risk_now(fact, today),
        options=panel.options if late_d else (),
    )


def _risk_now(fact: PanelFact, today: date) -> str:
    if fact.due is None or fact.due.is_late or fact.due.plan is None:
        return standing_words.due_odds_words(fact) if fact.due is not None and fact.due.is_late else ""
    return standing_words.plan_risk_words(fact.due.plan, today)


def _risk(one: Mapping[str, Any], today: date) -> str:
    told = one.get("risk")
    if told is None:
        return ""
    low, central, high = (date.fromisoformat(told[name]) for name in ("low_on", "central_on", "high_on"))
    return standing_words.plan_risk_words(PlanRisk(low, central, high, told["wait"], told["weakest"]), today)
