"""What re-planning costs and saves: a plan in use, and the things that happen to it.

A busy studio's plan is carried on to some later day; then a layer is still tacky, a sitting was missed or takes longer,
a painter is ill, or a commission comes in. *Damage* is what the event costs when everything that can stay stays and
only what cannot is put somewhere later; *recovered* is the part of it that the repaired plan wins back. All costs are
those of the objective without the price of moves.
"""

import math
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial

from bench.plan_instances import TODAY, instance
from bench.timing import row, spent
from server.formats.calls.layer_in import Collector
from server.formats.calls.plan_in import PlanRequest
from server.formats.calls.plan_problem import problem as asked_of
from server.planning.schedule import planner
from server.planning.schedule.check import check
from server.planning.schedule.compiled import Search
from server.planning.schedule.plan import Plan
from server.planning.schedule.problem import TARDINESS_PRICE, DayHours, PanelJob, Previous, Problem, Sitting, Spread
from server.planning.schedule.repair import MOST_MOVED, REPAIR_PRICE, SEARCH_S, repair, search_s
from server.planning.schedule.solve import Budget

COMMISSION = "commission"
IN_USE = Budget(seconds=5.0, clock=time.process_time)
AFTER_EVENT = Budget(seconds=SEARCH_S, clock=time.process_time)
KINDS = ("still tacky", "missed", "longer", "ill", COMMISSION)


@dataclass(frozen=True, slots=True)
class Outcome:
    kind: str
    seconds: float
    moved: int
    forced: int
    before: float
    pushed: float
    repaired: float


@dataclass(frozen=True, slots=True)
class Asked:
    """``base`` is what the search for the plan in use may spend, ``repair`` the one after an event; ``with_painters``:
    whether the plan before says whose hand each sitting was in."""

    panels: int = 200
    events: int = 100
    base: Budget = IN_USE
    repair: Budget = AFTER_EVENT
    with_painters: bool = True


def asked(events: int, threads: int) -> Asked:
    """So many events, each set right by so many threads."""
    repair = Budget(seconds=search_s(threads), clock=partial(spent, threads), threads=threads)
    return Asked(events=events, repair=repair)


def run(asked: Asked, search: Search) -> list[Outcome]:
    """So many events on one plan; prints what they come to."""
    panels = asked.panels
    base = asked_of(PlanRequest.model_validate(instance(panels, 1)), Collector())
    plan, _ = planner.plan(base, search, asked.base)
    found = [
        _outcome(problem, kind, search, asked.repair)
        for kind, problem in _events(base, plan, asked.events, asked.with_painters)
    ]
    _tell(panels, found)
    return found


def damage(found: list[Outcome]) -> float:
    """What the events cost when only what cannot stay moves."""
    return sum(max(0.0, one.pushed - one.before) for one in found)


def recovered(found: list[Outcome]) -> float:
    """The part of the damage that the repaired plans win back; NaN where there is none."""
    lost = damage(found)
    return sum(one.pushed - one.repaired for one in found) / lost if lost else math.nan


def _tell(panels: int, found: list[Outcome]) -> None:
    moved: list[float] = sorted(one.moved for one in found)
    slow = sorted(one.seconds for one in found)
    print(f"{len(found)} events on a plan of {panels} panels")
    row("day-moves, median and p95", f"{_at(moved, 0.5):g} and {_at(moved, 0.95):g}", f"most {moved[-1]:g}")
    row("damage recovered", f"{recovered(found):.0%}", f"damage {damage(found) / len(found):,.0f} an event")
    row("repaired plan, median and worst", f"{_at(slow, 0.5):.2f} s", f"worst {slow[-1]:.2f} s CPU, all threads")
    for kind in KINDS:
        own = [one for one in found if one.kind == kind]
        if own:
            lost = sum(one.pushed - one.before for one in own)
            back = sum(one.pushed - one.repaired for one in own)
            told = f"damage {lost:,.0f}, back {back:,.0f}, forced {max(one.forced for one in own)} at most"
            row(f"  {kind}, {len(own)}", f"{max(one.moved for one in own)} moves at most", told)


def _at(values: list[float], share: float) -> float:
    return values[min(len(values) - 1, int(share * len(values)))]


def _outcome(problem: Problem, kind: str, search: Search, budget: Budget) -> Outcome:
    plain = replace(problem, move_price=0.0, most_moved=None)
    before = planner.answer(planner.lay_out(_without_event(problem), search)).objective
    pushed = planner.answer(planner.lay_out(plain, search)).objective
    begun = time.process_time()
    plan = repair(problem, search, budget)
    spent = time.process_time() - begun
    faults = check(problem, plan)
    if faults:
        raise RuntimeError(f"{kind}: {faults[0].text}")
    cost = plan.objective.total - problem.move_price * plan.objective.moved
    return Outcome(
        kind, spent, plan.objective.moved, pushed.moved, before.total + _alone(problem, plan), pushed.total, cost
    )


def _alone(problem: Problem, plan: Plan) -> float:
    """What a commission would cost had it the studio to itself: no plan wins that back."""
    own = next((p for p in plan.panels if p.id == COMMISSION), None)
    panel = next((p for p in problem.panels if p.id == COMMISSION), None)
    if own is None or panel is None or own.earliest_on is None or panel.due_on is None:
        return 0.0
    return TARDINESS_PRICE * panel.weight * max(0, (own.earliest_on - panel.due_on).days)


_NORMAL: dict[int, Problem] = {}


def _without_event(problem: Problem) -> Problem:
    return _NORMAL[id(problem)]


def _events(base: Problem, plan: Plan, count: int, with_painters: bool) -> Iterator[tuple[str, Problem]]:
    rng = random.Random(11)
    last = max(s.start_at for s in plan.sittings).date()
    for n in range(count):
        kind = KINDS[n % len(KINDS)]
        while True:
            on = TODAY + timedelta(days=rng.randrange(3, max(10, min(90, (last - TODAY).days // 2))))
            carried = _carried(base, plan, on, with_painters)
            happened = _happened(kind, carried, plan, on, rng)
            if happened is not None:
                break
        _NORMAL.clear()
        _NORMAL[id(happened)] = replace(carried, move_price=0.0)
        yield kind, happened


def _carried(base: Problem, plan: Plan, on: date, with_painters: bool) -> Problem:
    """The problem on a later day: what lies before it is done."""
    previous = tuple(
        Previous(s.id, s.start_at, done=s.start_at.date() < on, painter=s.painter if with_painters else None)
        for s in plan.sittings
    )
    return replace(base, today=on, previous=previous, move_price=REPAIR_PRICE, most_moved=MOST_MOVED)


def _happened(kind: str, carried: Problem, plan: Plan, on: date, rng: random.Random) -> Problem | None:
    done = {p.sitting for p in carried.previous if p.done}
    if kind == "ill":
        painter = rng.choice(carried.painters)
        ill = replace(painter, days=(*painter.days, DayHours(on)))
        others = tuple(ill if p.id == painter.id else p for p in carried.painters)
        return replace(carried, painters=others) if any(s.start_at.date() == on for s in plan.sittings) else None
    if kind == "commission":
        return _with_commission(carried, on, rng)
    if kind == "still tacky":
        waiting = [
            (panel, k.before)
            for panel in carried.panels
            for k in panel.links
            if k.kind.value == "dry" and k.before in done and k.after not in done
        ]
        return _with_sitting(carried, *rng.choice(waiting), slower=rng.uniform(1.4, 2.2)) if waiting else None
    placed = sorted(plan.sittings, key=lambda s: s.start_at)
    if kind == "missed":
        past = [s for s in placed if s.start_at.date() < on and _is_last_done(carried, s.id, done)]
        missed = [s for s in past if s.start_at.date() == past[-1].start_at.date()]
        if not missed:
            return None
        one = rng.choice(missed).id
        previous = tuple(replace(p, done=False) if p.sitting == one else p for p in carried.previous)
        return replace(carried, previous=previous)
    coming = [s for s in placed if 0 < (s.start_at.date() - on).days < 5]
    if not coming:
        return None
    chosen = rng.choice(coming)
    panel = next(p for p in carried.panels if p.id == chosen.panel)
    return _with_sitting(carried, panel, chosen.id, longer_min=rng.choice((30, 60)))


def _is_last_done(problem: Problem, sitting: str, done: set[str]) -> bool:
    links = [k for panel in problem.panels for k in panel.links]
    return sitting in done and not any(k.before == sitting and k.after in done for k in links)


def _with_sitting(
    problem: Problem, panel: PanelJob, sitting: str, *, slower: float = 1.0, longer_min: int = 0
) -> Problem:
    def other(s: Sitting) -> Sitting:
        if s.id != sitting:
            return s
        drying = s.drying and Spread(s.drying.p50_d * slower, s.drying.p90_d * slower)
        return replace(s, drying=drying, minutes=min(s.minutes + longer_min, 180))

    made = replace(panel, sittings=tuple(other(s) for s in panel.sittings))
    return replace(problem, panels=tuple(made if p.id == panel.id else p for p in problem.panels))


def _with_commission(problem: Problem, on: date, rng: random.Random) -> Problem:
    more = asked_of(PlanRequest.model_validate(instance(len(problem.panels), 900 + rng.randrange(50))), Collector())
    panel = rng.choice([p for p in more.panels if p.due_on is not None])
    renamed = {s.id: f"new-{s.id}" for s in panel.sittings}
    new = replace(
        panel,
        id=COMMISSION,
        release_on=on,
        due_on=on + timedelta(days=rng.randrange(120, 240)),
        weight=2.0,
        sittings=tuple(replace(s, id=renamed[s.id]) for s in panel.sittings),
        links=tuple(replace(k, before=renamed[k.before], after=renamed[k.after]) for k in panel.links),
    )
    return replace(problem, panels=(*problem.panels, new))
