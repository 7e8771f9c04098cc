"""The ``plan`` call: panels, painters and their hours in; sittings with their times, and why, out."""

import time
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from pydantic import BaseModel

from server.formats.calls import plan_problem
from server.formats.calls.call import Call
from server.formats.calls.layer_in import Collector
from server.formats.calls.plan_in import PlanRequest
from server.planning.schedule import planner, threads
from server.planning.schedule.check import of_pins
from server.planning.schedule.compiled import current
from server.planning.schedule.explain import explained
from server.planning.schedule.plan import Plan
from server.planning.schedule.problem import Problem
from server.planning.schedule.solve import Budget, Progress


class BindingOut(BaseModel):
    """Why a sitting is not earlier; ``by`` is the id of what holds it, where there is one."""

    kind: str
    by: str | None
    text: str


class SittingOut(BaseModel):
    """Painting from ``start_at`` to ``end_at``; its palette is mixed in the ``set_up_min`` minutes before.

    ``ready_at``: when the layer may take the next one, at the confidence asked for. ``may_slip_to``: the latest start
    that makes nothing late and asks nothing else to move.
    """

    id: str
    panel: str
    painter: str
    start_at: str
    end_at: str
    palette: str | None
    set_up_min: int
    ready_at: str | None
    may_slip_to: str
    binding: BindingOut


class OptionOut(BaseModel):
    """Something that would help a late panel, tried with less urgent panels making room."""

    text: str
    finish_on: str
    saves_d: int


class PanelOut(BaseModel):
    """``finish_on`` is null while a sitting has no place. ``earliest_possible_on``: had it the studio to itself.
    ``late_d``: by how many days ``finish_on``, with every wait at the ``confidence`` asked for, comes after its date.
    """

    id: str
    finish_on: str | None
    late_d: int
    earliest_possible_on: str | None
    options: list[OptionOut]


class ObjectiveOut(BaseModel):
    """total = 100 weighted_tardiness_d + 100 set_ups + 2 flow_d + move_price moved."""

    total: float
    weighted_tardiness_d: float
    set_ups: int
    flow_d: int
    moved: int


class MovedOut(BaseModel):
    sitting: str
    from_at: str
    to_at: str


class UnplacedOut(BaseModel):
    sitting: str
    reason: str


class PlanAnswer(BaseModel):
    sittings: list[SittingOut]
    panels: list[PanelOut]
    objective: ObjectiveOut
    moved: list[MovedOut]
    unplaced: list[UnplacedOut]
    warnings: list[str]


Prepared = tuple[PlanRequest, Problem]


def prepare(request: PlanRequest, _now: datetime, faults: Collector) -> Prepared | None:
    """The request with the problem it states, or None with the faults collected."""
    before = len(faults.problems)
    problem = plan_problem.problem(request, faults)
    return None if len(faults.problems) > before else (request, problem)


MOST_TOGETHER_S = 600.0  # of search for all requests of one call


def answer_many(prepared: Sequence[Prepared]) -> list[dict[str, Any]]:
    """The answers in order. All searches together end with `MOST_TOGETHER_S`; an answer cut short says so."""
    until = time.monotonic() + MOST_TOGETHER_S
    return [as_json(solved(request, problem, until)) for request, problem in prepared]


def solved(request: PlanRequest, problem: Problem, until: float) -> Plan:
    """The best plan within the request's budget, explained; the search ends ``until`` then by the monotonic clock."""
    cut = False

    def goes_on(progress: Progress) -> bool:
        nonlocal cut
        cut = progress.share < 1.0 and time.monotonic() >= until
        return not cut

    budget = Budget(request.seed, max(request.seconds, 0.001), request.moves, time.monotonic, threads=threads.allowed())
    _, bench = planner.plan(problem, current(), budget, goes_on)
    plan = explained(bench)
    told_of_pins = tuple(f"what is fixed does not hold: {fault.text}" for fault in of_pins(problem, plan))
    plan = replace(plan, warnings=(*plan.warnings, *told_of_pins))
    if cut:
        told = f"the search was cut short: one call searches for {MOST_TOGETHER_S:g} s in all"
        plan = replace(plan, warnings=(*plan.warnings, told))
    return plan


def as_json(plan: Plan) -> dict[str, Any]:
    """A plan by the names of the call; instants in the studio's zone."""
    return {
        "sittings": [
            {
                "id": s.id,
                "panel": s.panel,
                "painter": s.painter,
                "start_at": _at(s.start_at),
                "end_at": _at(s.end_at),
                "palette": s.palette,
                "set_up_min": s.set_up_min,
                "ready_at": None if s.ready_at is None else _at(s.ready_at),
                "may_slip_to": _at(s.may_slip_to or s.start_at),
                "binding": {"kind": s.binding.kind, "by": s.binding.by, "text": s.binding.text} if s.binding else None,
            }
            for s in plan.sittings
        ],
        "panels": [
            {
                "id": p.id,
                "finish_on": None if p.finish_on is None else p.finish_on.isoformat(),
                "late_d": p.late_d,
                "earliest_possible_on": None if p.earliest_on is None else p.earliest_on.isoformat(),
                "options": [
                    {"text": o.text, "finish_on": o.finish_on.isoformat(), "saves_d": o.saves_d} for o in p.options
                ],
            }
            for p in plan.panels
        ],
        "objective": {
            "total": round(plan.objective.total, 6),
            "weighted_tardiness_d": round(plan.objective.weighted_tardiness_d, 6),
            "set_ups": plan.objective.set_ups,
            "flow_d": plan.objective.flow_d,
            "moved": plan.objective.moved,
        },
        "moved": [{"sitting": m.sitting, "from_at": _at(m.from_at), "to_at": _at(m.to_at)} for m in plan.moved],
        "unplaced": [{"sitting": u.sitting, "reason": u.reason} for u in plan.unplaced],
        "warnings": list(plan.warnings),
    }


def _at(instant: datetime) -> str:
    return instant.isoformat(timespec="seconds")


CALL = Call(PlanRequest, PlanAnswer, prepare, answer_many)
