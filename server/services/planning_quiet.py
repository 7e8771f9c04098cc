"""After a plan was made or set right, a better one is looked for in the background, and then waits to be looked at.

Nothing moves by itself: what is found stands beside the plan in use as any plan does, to be taken or left. It is
dropped where anything changed meanwhile but that the plan it began with was taken; then it begins once more from that.
"""

import logging
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from threading import Event, Lock, Thread
from typing import Any, Literal
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlmodel import Session, col

from server.planning.schedule.problem import FLOW_PRICE, TARDINESS_PRICE
from server.planning.schedule.repair import REPAIR_PRICE
from server.services import planning_make, planning_plans, planning_since, records
from server.services.access import Actor
from server.services.errors import ServiceError
from server.services.history import BY_ITSELF
from server.services.plan_reading import share_wait_of, sittings_of
from server.services.planning_asked import Asked, Effort, PlanMake
from server.services.planning_asked_before import free_of
from server.services.planning_plans import FOR
from server.services.search_pool import Ears
from server.services.unit import current_change_set, unit
from server.store.db import Database
from server.store.tables import ChangeSet, StudioPlan

SECONDS = 20.0
LEAST_GAIN_PCT = 1.0
log = logging.getLogger("umberday.searches")
Outcome = Literal["again", "over"]


@dataclass(frozen=True, slots=True)
class Begun:
    """What is improved on: the plan ``uid``, made with ``command``, for ``actor``."""

    db: Database
    actor: Actor
    uid: str
    command: PlanMake
    now: datetime
    zone: ZoneInfo


@dataclass(slots=True)
class _Running:
    is_stopped: Event = field(default_factory=Event)
    is_over: Event = field(default_factory=Event)


@dataclass(frozen=True, slots=True)
class _Read:
    """The studio with its last change, and whether the plan was in use by then."""

    asked: Asked
    last_change: int
    base: Mapping[str, Any]
    is_in_use: bool


class QuietSearches:
    """One for each studio; off until it is told how long to search."""

    def __init__(self, seconds: float = 0.0) -> None:
        self.seconds = seconds
        self._lock = Lock()
        self._running: dict[int, _Running] = {}

    def begin(self, begun: Begun) -> None:
        """Improve on a plan; an earlier search of the studio is let go."""
        if self.seconds <= 0.0:
            return
        running = _Running()
        with self._lock:
            before = self._running.get(begun.actor.studio_id)
            if before is not None:
                before.is_stopped.set()
            self._running[begun.actor.studio_id] = running
        Thread(target=self._run, args=(begun, running), name="quiet search", daemon=True).start()

    def is_running(self, studio_id: int) -> bool:
        running = self._running.get(studio_id)
        return running is not None and not running.is_over.is_set() and not running.is_stopped.is_set()

    def wait(self, studio_id: int, seconds: float) -> bool:
        """Whether the studio's search is over within so long."""
        running = self._running.get(studio_id)
        return running is None or running.is_over.wait(seconds)

    def _run(self, begun: Begun, running: _Running) -> None:
        try:
            while self._once(begun, running) == "again":
                pass
        except ServiceError as fault:  # no room, cut off, or the plan is gone: then there is no better one
            log.info("no better plan was looked for to the end: %s", fault.message)
        finally:
            running.is_over.set()

    def _once(self, begun: Begun, running: _Running) -> Outcome:
        read = _read(begun)
        ears = Ears(lambda _: not running.is_stopped.is_set())
        content = planning_make.worked_out_apart(read.asked, Effort(seconds=self.seconds), "quiet", ears)
        if running.is_stopped.is_set():
            return "over"
        gain_pct = _gain_pct(read, content)
        with unit(begun.db, begun.actor, label=BY_ITSELF, now=begun.now) as work:
            plan = records.find(work.session, begun.actor, StudioPlan, begun.uid)
            is_in_use = plan.accepted_at is not None
            if plan.archived_at is not None:
                return "over"
            if is_in_use and not read.is_in_use:
                return "again"
            if gain_pct >= LEAST_GAIN_PCT and not _changed_since(work.session, begun.actor, read.last_change):
                told = {} if is_in_use else {"let_go": [*read.base.get("let_go", ()), *content["let_go"]]}
                better = {**content, **told, "gain_pct": round(gain_pct, 1)}
                planning_plans.propose(work.session, begun.actor, better)
        return "over"


def offer(begun: Begun, content: Mapping[str, Any]) -> str | None:
    """Keep a better plan in the place of one that waits; its uid. None where that was taken or put away, or anything
    else was changed since it was kept."""
    with unit(begun.db, begun.actor, label=BY_ITSELF, now=begun.now) as work:
        plan = records.find(work.session, begun.actor, StudioPlan, begun.uid)
        is_waiting = plan.archived_at is None and plan.accepted_at is None
        if not is_waiting or _changed_since(work.session, begun.actor, planning_since.added_by(work.session, plan)):
            return None
        return planning_plans.propose(work.session, begun.actor, dict(content)).uid


def _read(begun: Begun) -> _Read:
    with begun.db.read() as session:
        plan = records.find(session, begun.actor, StudioPlan, begun.uid)
        is_in_use = plan.accepted_at is not None
        command = replace_anew(begun.command) if is_in_use else begun.command
        base = plan.content_json or {}
        asked = planning_make.read(session, begun.actor, command, begun.now, begun.zone)
        return _Read(asked if is_in_use else _holding(asked, base), _last_change(session, begun.actor), base, is_in_use)


def _holding(asked: Asked, waiting: Mapping[str, Any]) -> Asked:
    """With what is pinned in a plan that waits held there, and what it was made for free to move: the plan in use
    knows nothing of either yet."""
    to_come = {layer.row.uid for standing in asked.found for layer in standing.layers.to_come}
    pinned = [one for one in sittings_of(waiting) if one.pinned and one.uid in to_come]
    held = {one.uid: (one.start_at, one.painter) for one in pinned}
    room = asked.room.moving(free_of(asked, waiting.get(FOR, ()))).holding(held)
    return replace(asked, room=room)


def replace_anew(command: PlanMake) -> PlanMake:
    """The same, but so that a plan in use is kept to."""
    return command.model_copy(update={"anew": False})


def _last_change(session: Session, actor: Actor) -> int:
    query = select(func.max(col(ChangeSet.id))).where(col(ChangeSet.studio_id) == actor.studio_id)
    return session.scalar(query) or 0


def _changed_since(session: Session, actor: Actor, last: int) -> bool:
    own = current_change_set(session).id
    query = select(func.count(col(ChangeSet.id))).where(
        col(ChangeSet.studio_id) == actor.studio_id, col(ChangeSet.id) > last, col(ChangeSet.id) != own
    )
    return bool(session.scalar(query))


def _gain_pct(read: _Read, content: Mapping[str, Any]) -> float:
    """By how much the plan found is better, mixing priced as in it. A plan in use costs no moves; whatever would take
    its place does."""
    one, other = read.base.get("objective"), content["objective"]
    if one is None or (content["unplaced"] != read.base.get("unplaced") and len(content["unplaced"])):
        return 0.0
    wait_d = share_wait_of(content)
    if read.is_in_use:
        before, after = _without_moves(one, wait_d), _without_moves(other, wait_d) + REPAIR_PRICE * other["moved"]
    else:
        mixing = FLOW_PRICE * (wait_d - share_wait_of(read.base)) * one["set_ups"]
        before, after = float(one["total"]) + mixing, float(other["total"])
    return 100.0 * (1.0 - after / before) if before > 0 else 0.0


def _without_moves(objective: Mapping[str, Any], share_wait_d: float) -> float:
    mix_price = FLOW_PRICE * share_wait_d
    terms = ("weighted_tardiness_d", TARDINESS_PRICE), ("set_ups", mix_price), ("flow_d", FLOW_PRICE)
    return sum(price * float(objective[name]) for name, price in terms)


QUIET = QuietSearches()
