"""Whether the plan in use keeps each panel's date: the one place that every screen's odds of it come from.

Where all layers to come of a panel stand in the plan, within the working hours as they are now, the odds of its date
are those of the plan carried out with sampled drying (``planning.schedule.odds``); of all other panels they stay those
of the outlook.
"""

from collections.abc import Hashable, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Row

from server.planning.schedule.odds import FINAL, RELEASE, PanelOdds, odds_of
from server.planning.schedule.plan import PlacedSitting
from server.planning.schedule.problem import PanelJob, Problem
from server.services.board.due import falls_short
from server.services.board.due_step import DueFact
from server.services.board.facts import Moment
from server.services.board.films import PanelLayers
from server.services.board.plan_holds import off_hours
from server.services.board.plan_problem import Extra, panel_job, plan_confidence, release_chain, set_up_price
from server.services.board.rows import StudioRows
from server.services.board.standing import PanelStanding, standings
from server.services.kept import Content, Kept
from server.services.plan_reading import PlanInUse, PlannedSitting, PlanRisk
from server.services.planning import painters

ODDS_KEPT = 6000
WITH_ODDS = 2  # the format of plans from which on they can be carried out with sampled drying
ODDS: Kept[PanelOdds] = Kept(ODDS_KEPT)


def planned_standings(rows: StudioRows, panels: Sequence[PanelLayers], moment: Moment) -> list[PanelStanding]:
    """Where every panel stands, with the odds of its date by the plan in use where it is wholly in that plan."""
    found = standings(rows, panels, moment)
    plan = rows.plan
    if plan is None or plan.format < WITH_ODDS or moment.on != moment.today:
        return found
    off = off_hours(rows, moment)
    asked = [one for one in found if one.due is not None and not one.due.is_late and _is_planned(one, rows, off)]
    odds = _odds(asked, rows, plan, moment)
    return [replace(one, due=_due(one, odds[uid], rows)) if (uid := _uid(one)) in odds else one for one in found]


def _uid(standing: PanelStanding) -> str:
    return str(standing.layers.panel.uid)


def _is_planned(standing: PanelStanding, rows: StudioRows, off: frozenset[str]) -> bool:
    to_come = standing.layers.to_come
    is_open = standing.layers.panel.finished_on is None
    return bool(to_come) and is_open and all(_holds(layer.row, rows, off) for layer in to_come)


def _holds(layer: Row[Any], rows: StudioRows, off: frozenset[str]) -> bool:
    return layer.uid not in off and rows.sitting_of(layer) is not None


def _odds(asked: Sequence[PanelStanding], rows: StudioRows, plan: PlanInUse, moment: Moment) -> dict[str, PanelOdds]:
    day = moment.on, moment.zone.key
    keys: dict[str, Hashable] = {_uid(one): Content((rows.told(one.layers.panel), day)) for one in asked}
    kept = ODDS.among(keys.values())
    new = [one for one in asked if keys[_uid(one)] not in kept]
    terms = (plan_confidence(rows), Extra(rests=dict(plan.rests)))
    jobs = [job for one in new if (job := panel_job(one, rows, moment, terms)) is not None]
    released = {_uid(one): release_chain(one, moment).at_d for one in new}
    made = odds_of(_problem(jobs, rows, plan, moment), [placed(s) for s in plan.sittings.values()], released)
    fresh = {keys[uid]: found for uid, found in made.items()}
    ODDS.keep(fresh)
    known = {**kept, **fresh}
    return {uid: known[key] for uid, key in keys.items() if key in known}


def _problem(jobs: Sequence[PanelJob], rows: StudioRows, plan: PlanInUse, moment: Moment) -> Problem:
    return Problem(
        today=moment.on,
        zone=moment.zone,
        painters=painters(rows.hours, moment.on, 0),
        panels=tuple(jobs),
        confidence=plan_confidence(rows),
        set_up_min=int(plan.settings.get("mix_setup_min", 30)),
        set_up_price=set_up_price(rows),
    )


def placed(sitting: PlannedSitting) -> PlacedSitting:
    """A sitting of the plan in use as the planner's own type."""
    return PlacedSitting(
        id=sitting.uid,
        panel=sitting.panel_uid,
        painter=sitting.painter,
        start_at=sitting.start_at,
        end_at=sitting.end_at,
        palette=sitting.palette,
        set_up_min=sitting.mixing_min,
    )


def _due(standing: PanelStanding, found: PanelOdds, rows: StudioRows) -> DueFact | None:
    if standing.due is None or found.odds is None:
        return standing.due
    at_risk = falls_short(found.odds, rows.studio.confidence_pct / 100)
    risk = risk_of(standing, found)
    return replace(standing.due, odds=found.odds, at_risk=at_risk, plan=risk, ready_on=found.ready_on)


def risk_of(standing: PanelStanding, found: PanelOdds) -> PlanRisk:
    """The odds of a plan as boards tell them, with the weakest wait by the layer's own name."""
    leaves = found.low_on, found.central_on, found.high_on
    if found.weakest is None:
        return PlanRisk(*leaves, "", "")
    if found.weakest in (RELEASE, FINAL):
        top = standing.top
        name = top.row.kind if found.weakest == RELEASE and top is not None else ""
        return PlanRisk(*leaves, found.weakest, name)
    kinds = {layer.row.uid: layer.row.kind for layer in standing.layers.to_come}
    return PlanRisk(*leaves, "drying", kinds.get(found.weakest, ""))
