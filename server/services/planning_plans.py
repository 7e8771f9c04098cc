"""Make a plan of all open panels, prove it, look at it beside the one in use, take it or leave it."""

import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from pydantic import Field
from sqlalchemy import select
from sqlmodel import Session, col

from server.formats.calls.plan import as_json
from server.planning.schedule import planner
from server.planning.schedule.check import check
from server.planning.schedule.compiled import current
from server.planning.schedule.explain import explained
from server.planning.schedule.plan import Plan
from server.planning.schedule.problem import Problem
from server.planning.schedule.solve import Budget
from server.science.results import LayerEstimate
from server.science.soundness.types import Finding, Severity
from server.services import planning, records, rooms
from server.services.access import Actor, allow
from server.services.board.closing import ground_facts
from server.services.board.facts import Moment
from server.services.board.films import panel_layers
from server.services.board.rows import StudioRows
from server.services.board.snapshot import snapshot
from server.services.board.standing import PanelStanding, standings
from server.services.board.to_come import coming, forecast_on, laid
from server.services.board.today import moment_of, standing_sittings
from server.services.errors import Refused
from server.services.fields import Command
from server.services.planning_problem import Extra, Room, problem, zone_minutes
from server.services.unit import moment as moment_now
from server.services.verdicts import VERDICTS, Question
from server.store.tables import Layer, StudioPlan

TRIES = 4
SECONDS = 1.0
FORMAT = 1


class PlanMake(Command):
    """What a plan is made with; an empty box is no limit."""

    easels: Annotated[int, Field(ge=1, le=1000)] | None = None
    rack_places: Annotated[int, Field(ge=1, le=10_000)] | None = None
    mix_setup_min: Annotated[int, Field(ge=0, le=240)] = 30


@dataclass(frozen=True, slots=True)
class Made:
    """A plan with what was left out of it (panel -> why)."""

    plan: Plan
    left_out: Mapping[str, str]


def make(session: Session, actor: Actor, command: PlanMake, now: datetime, zone: ZoneInfo) -> dict[str, Any]:
    """A plan of all open panels as it is stored. Nothing is changed. Raises ``Refused`` without working hours, and
    when the plan does not stand up to the checker."""
    allow(actor, "read", None)
    rows = planning.all_open(session, actor)
    if not rows:
        raise Refused("Nobody has working hours yet. Say first when you paint.")
    board = snapshot(session, actor).rows
    moment = moment_of(now, zone)
    standing = standing_sittings(board)
    stood, pinned = {s.uid: s.start_at for s in standing}, frozenset(s.uid for s in standing if s.pinned)
    places = rooms.read(session, actor, moment.on)
    if not places:
        raise Refused("Say first where panels dry: a plan needs a place with its climate.")
    room = Room(
        painters=planning.painters(rows, moment.on, zone_minutes(now, zone)),
        speeds=tuple(month.speed for month in places[0].months),
        easels=command.easels,
        rack_places=command.rack_places,
        set_up_min=command.mix_setup_min,
        stood=stood,
        pinned=pinned,
    )
    found = standings(board, panel_layers(board, moment), moment)
    made = _sound(found, board, moment, room)
    content = _content(made, board, command, moment.on)
    for sitting in content["sittings"]:
        sitting["pinned"] = sitting["id"] in pinned
    return content


def _sound(found: list[PanelStanding], board: StudioRows, moment: Moment, room: Room) -> Made:
    """Plan, put every sitting before the rules on its day, and plan again with what they ask."""
    extra = Extra(fastest=max(room.speeds))
    for attempt in range(TRIES):
        extra.is_last = attempt >= TRIES - 2
        asked = problem(found, board, moment, room, extra)
        plan = _solved(asked)
        faults = check(asked, plan)
        if faults:
            raise Refused(f"The plan that came out does not hold: {faults[0].text}. Nothing was changed.")
        if not _ask_rules(plan, found, board, moment, extra):
            return Made(plan, extra.left_out)
    raise Refused("No plan was found that the rules of soundness let pass. Nothing was changed.")


def _solved(asked: Problem) -> Plan:
    _, bench = planner.plan(asked, current(), Budget(seconds=SECONDS, clock=time.monotonic))
    return explained(bench)


def _ask_rules(plan: Plan, found: list[PanelStanding], board: StudioRows, moment: Moment, extra: Extra) -> bool:
    """Ask the rules of every planned sitting on its day; True when something has to be planned anew."""
    starts = {s.id: s.start_at for s in plan.sittings}
    changed = False
    for standing in found:
        ground, stack = ground_facts(standing.layers.panel), [layer.laid for layer in standing.layers.on]
        for n, layer in enumerate(standing.layers.to_come):
            at = starts.get(layer.row.uid)
            if at is None:
                break
            forecast = forecast_on(layer, at.date(), moment.zone)
            upper = coming(layer, forecast if isinstance(forecast, LayerEstimate) else None, at.date())
            asked = Question(ground, tuple(stack), upper, drops_per_ml=board.studio.drops_per_ml, limits=board.limits)
            findings = VERDICTS.of(asked, at, at.date()).findings
            stops = [finding for finding in findings if finding.severity is Severity.STOP]
            if stops:
                _wait_or_leave(standing, n, stops, extra)
                changed = True
                break
            stack.append(laid(layer, upper, at))
    return changed


def _wait_or_leave(standing: PanelStanding, n: int, stops: list[Finding], extra: Extra) -> None:
    """Wait as long as the rules say; where they name no day, the panel is left out with the rule's reason."""
    panel = standing.layers.panel
    days = [f.remedy.not_before_d if f.remedy else None for f in stops]
    named = [d for d in days if d is not None]
    nothing_below = n == 0 and not standing.layers.on
    if extra.is_last or nothing_below or len(named) < len(days):
        extra.left_out[panel.uid] = stops[0].reason
        return
    if n == 0:
        below = standing.layers.on[-1].row.painted_at
        extra.not_before[panel.uid] = date.fromordinal(below.date().toordinal() + int(max(named)) + 2)
    else:
        uid = standing.layers.to_come[n - 1].row.uid
        extra.waits[uid] = max(*(d * extra.fastest for d in named), extra.waits.get(uid, 0.0) * 1.3)


def _content(made: Made, board: StudioRows, command: PlanMake, on: date) -> dict[str, Any]:
    titles = {panel.uid: panel.title for panel in board.panels}
    kinds = {row.uid: row.kind for rows in board.layers.values() for row in rows}
    told = as_json(made.plan)
    named = sorted(({**titles, **kinds}).items(), key=lambda pair: -len(pair[0]))
    for sitting in told["sittings"]:
        sitting["title"], sitting["kind"] = titles[sitting["panel"]], kinds[sitting["id"]]
        sitting["why"] = _in_words(sitting["binding"]["text"], named)
    for panel in told["panels"]:
        panel["title"] = titles[panel["id"]]
        for option in panel["options"]:
            option["text"] = _in_words(option["text"], named)
    for unplaced in told["unplaced"]:
        unplaced["kind"] = kinds[unplaced["sitting"]]
        unplaced["reason"] = _in_words(unplaced["reason"], named)
    return {
        **told,
        "format": FORMAT,
        "made_on": on.isoformat(),
        "settings": command.model_dump(),
        "left_out": [{"title": titles[uid], "uid": uid, "reason": reason} for uid, reason in made.left_out.items()],
    }


def _in_words(text: str, named: list[tuple[str, str]]) -> str:
    for uid, name in named:
        text = text.replace(uid, f"“{name}”")
    return text.replace("the panel is there from", "what is on the panel may be painted over from")


def propose(session: Session, actor: Actor, content: dict[str, Any]) -> StudioPlan:
    """Keep a plan to be looked at; one that waited before is put away."""
    allow(actor, "create", None, StudioPlan)
    for waiting in _plans(session, actor, accepted=False):
        waiting.archived_at = moment_now(session)
    row = StudioPlan(studio_id=actor.studio_id, content_json=content)
    session.add(row)
    session.flush()
    return row


def accept(session: Session, actor: Actor, uid: str) -> StudioPlan:
    """Take a plan: its days become the planned days of the layers that are still to come. The one before is put away.
    Raises ``Refused`` for one that was put away or taken already."""
    row = records.find(session, actor, StudioPlan, uid, "update")
    if row.archived_at is not None or row.accepted_at is not None:
        raise Refused("This plan was taken or put away already. Make a new one.")
    for other in _plans(session, actor, accepted=True):
        other.archived_at = moment_now(session)
    row.accepted_at = moment_now(session)
    for sitting in (row.content_json or {}).get("sittings", ()):
        layer = records.find(session, actor, Layer, sitting["id"], "update")
        if layer.painted_at is None and layer.archived_at is None:
            records.change(layer, {"planned_on": datetime.fromisoformat(sitting["start_at"]).date()})
    session.flush()
    return row


def dismiss(session: Session, actor: Actor, uid: str) -> StudioPlan:
    """Put a plan away that was only looked at. Raises ``Refused`` for one that was taken meanwhile."""
    row = records.find(session, actor, StudioPlan, uid, "archive")
    if row.accepted_at is not None:
        raise Refused("This plan was taken meanwhile, so it was not left aside.")
    return records.archive(session, actor, StudioPlan, uid)


def pin(session: Session, actor: Actor, uid: str, sitting: str, *, pinned: bool) -> StudioPlan:
    """Hold a sitting of the plan in use where it is, or let it go. Raises ``Refused`` for another plan, or a sitting
    that it does not hold."""
    row = records.find(session, actor, StudioPlan, uid, "update")
    content = dict(row.content_json or {})
    if row.archived_at is not None or row.accepted_at is None:
        raise Refused("This plan is not the one in use any more. Nothing was changed.")
    if sitting not in {s["id"] for s in content.get("sittings", ())}:
        raise Refused("This sitting is not in the plan. Nothing was changed.")
    content["sittings"] = [{**s, "pinned": pinned} if s["id"] == sitting else s for s in content.get("sittings", ())]
    row.content_json = content
    session.flush()
    return row


def in_use(session: Session, actor: Actor) -> StudioPlan | None:
    """The plan the painter took last."""
    return next(iter(_plans(session, actor, accepted=True)), None)


def waiting(session: Session, actor: Actor) -> StudioPlan | None:
    """A plan that was made and not yet taken."""
    return next(iter(_plans(session, actor, accepted=False)), None)


def _plans(session: Session, actor: Actor, *, accepted: bool) -> list[StudioPlan]:
    is_taken = col(StudioPlan.accepted_at).is_not(None) if accepted else col(StudioPlan.accepted_at).is_(None)
    query = (
        select(StudioPlan)
        .where(col(StudioPlan.studio_id) == actor.studio_id, col(StudioPlan.archived_at).is_(None), is_taken)
        .order_by(col(StudioPlan.id).desc())
    )
    return list(session.scalars(query))
