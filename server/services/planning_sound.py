"""A plan that the rules of soundness let pass, and that waits for a caution to pass where that costs little.

The search knows no rule. It is told what the rules ask as rest below a layer: always what a stop asks, and what would
spare a caution where the panel gets no later for it and the wait costs less than `CAUTION_PRICE`. Both are found on
first plans, which cost next to nothing; then everything is searched once.
"""

import time
from collections import Counter
from dataclasses import dataclass

from server.planning.schedule import planner, threads
from server.planning.schedule.check import Fault, check, of_pins
from server.planning.schedule.compiled import current
from server.planning.schedule.plan import Plan
from server.planning.schedule.problem import FLOW_PRICE, TARDINESS_PRICE
from server.planning.schedule.solve import Budget
from server.science.soundness.types import Finding
from server.services.board.plan_problem import Extra, problem
from server.services.board.rows import StudioRows
from server.services.board.rule_waits import reason_of, wait_asked
from server.services.board.standing import PanelStanding
from server.services.errors import Refused
from server.services.plan_reading import Rest
from server.services.planning_asked import Asked, Effort, Made
from server.services.planning_rules import CAUTION_PRICE, Answer, answers_of, sparing, still_needed

TRIES = 4
A_FIRST_PLAN = Effort(moves=0)

NOTHING = (0.0, 0.0)

Rests = dict[str, Rest]


@dataclass(frozen=True, slots=True)
class Stopped:
    """The layers that a rule stops on their day in a plan, each with the rule."""

    layers: tuple[tuple[str, Finding], ...]


def sound(asked: Asked, effort: Effort) -> Made:
    """The plan. Raises ``Refused`` when none stands up to the checker and the rules."""
    kept = _kept(asked)
    if asked.room.is_repair:
        return _set_right(asked, effort, kept)
    first = _without_stops(asked, A_FIRST_PLAN, Extra(rests=kept))
    waits, chosen = _with_waits(asked, first), first.extra.rests
    if waits != chosen:
        chosen = _that_pay(asked, first, _without_stops(asked, A_FIRST_PLAN, Extra(rests=waits)))
    made = _without_stops(asked, effort, Extra(rests=dict(chosen)))
    if effort.first is not None:
        effort.first(made)
    return made


def _set_right(asked: Asked, effort: Effort, kept: Rests) -> Made:
    """The plan in use set right: with its waits, or the same with other ones where that is no later and costs less."""
    made = best = _without_stops(asked, effort, Extra(rests=kept))
    if effort.first is not None:
        effort.first(made)
    waits = _with_waits(asked, made)
    if waits != made.extra.rests:
        other = _without_stops(asked, effort, Extra(rests=waits))
        best = min(best, other, key=_price)
        pay = _that_pay(asked, made, other)
        if pay not in (made.extra.rests, other.extra.rests):
            best = min(best, _without_stops(asked, effort, Extra(rests=pay)), key=_price)
    return best


def _with_waits(asked: Asked, made: Made) -> Rests:
    """Its waits, with those that would spare a caution of it, and without those of panels that are late."""
    late = {panel.id for panel in made.plan.panels if panel.late_d}
    stays = {s.id for s in made.plan.sittings if asked.room.stays(s.id, s.start_at, asked.moment.zone)}
    rests = dict(made.extra.rests)
    panel_of = {s.id: s.panel for s in made.plan.sittings}
    for answer in made.said:
        uid = answer.layer.row.uid
        if uid in stays:
            continue
        rest, spared = rests.get(uid), sparing(answer, asked.moment)
        if rest is not None and not rest.is_stop and panel_of[uid] in late:
            del rests[uid]
        if spared is not None:
            rests[uid] = spared
    return rests


def _that_pay(asked: Asked, one: Made, other: Made) -> Rests:
    """Of two plans with other waits, for each panel those with which it is least late, then costs least: what is put
    off for one falls on others as well, so neither plan as a whole says which waits are worth it."""
    costs, other_costs = _by_panel(one), _by_panel(other)
    rests = {uid: rest for made in (one, other) for uid, rest in made.extra.rests.items() if rest.is_stop}
    for standing in asked.found:
        own = standing.layers.panel.uid
        better = other if other_costs.get(own, NOTHING) < costs.get(own, NOTHING) else one
        for layer in standing.layers.to_come:
            rest = better.extra.rests.get(layer.row.uid)
            if rest is not None:
                rests[layer.row.uid] = rest
    return rests


def _by_panel(made: Made) -> dict[str, tuple[float, float]]:
    """How late each panel is in a plan, and what it costs by its day and its cautions. Not by the objective's flow,
    whose soonest day is later the longer the waits are."""
    panel_of = {s.id: s.panel for s in made.plan.sittings}
    cautions = Counter(panel_of[uid] for uid, found in made.cautions().items() for _ in found)
    today = made.asked.today
    return {
        p.id: (p.late_d, FLOW_PRICE * (p.finish_on - today).days + CAUTION_PRICE * cautions[p.id])
        for p in made.plan.panels
        if p.finish_on is not None
    }


def _price(made: Made) -> tuple[int, int, float, float]:
    """What a plan costs: what has no place before all, then lateness, then the rest of the objective and cautions."""
    terms = made.plan.objective
    other = terms.total - TARDINESS_PRICE * terms.weighted_tardiness_d - FLOW_PRICE * terms.flow_d
    days = sum(cost for _, cost in _by_panel(made).values())
    return len(made.plan.unplaced), len(made.extra.left_out), terms.weighted_tardiness_d, other + days


def _kept(asked: Asked) -> Rests:
    """The waits of the plan in use that still have a reason where their sittings stand in it."""
    plan = asked.board.plan
    if plan is None or not asked.room.stood:
        return {}
    starts = {uid: at for uid, (at, _) in asked.room.stood.items()}
    kept: Rests = {}
    with_rests = [one for one in asked.found if any(layer.row.uid in plan.rests for layer in one.layers.to_come)]
    for _, said in answers_of(with_rests, asked.board, asked.moment, starts):
        for answer in said:
            uid = answer.layer.row.uid
            rest = plan.rests.get(uid)
            is_kept = rest is not None and (rest.is_stop or not asked.room.is_held(uid, asked.moment))
            if rest is not None and is_kept and still_needed(rest, answer, asked.moment):
                kept[uid] = rest
    return kept


def _without_stops(asked: Asked, effort: Effort, extra: Extra) -> Made:
    """Plan, put every sitting before the rules on its day, and plan again with what they ask. What comes is proved."""
    let_go = asked.room.pinned_before(asked.moment)
    for attempt in range(TRIES):
        question = problem(asked.found, asked.board, asked.moment, asked.room.letting_go(let_go), extra)
        budget = Budget(seconds=effort.seconds, moves=effort.moves, clock=time.monotonic, threads=threads.allowed())
        plan, bench = planner.plan(question, current(), budget, effort.told)
        said = _ask_rules(plan, asked, extra, is_last=attempt >= TRIES - 2)
        if isinstance(said, Stopped):
            let_go |= _held_on_a_stop(said, asked, extra)
            continue
        faults = check(question, plan)
        loose = {f.sittings[0] for f in faults if f.kind == "pinned" and _is_pinned(asked, f.sittings[0])}
        if not faults:
            held = tuple(of_pins(question, plan)) if asked.room.pinned else ()
            return Made(plan, bench, question, extra, said, let_go, held)
        if loose <= let_go:
            raise Refused(_why_not(faults[0], asked.board))
        # A pin that cannot hold any more must not hold everything else up.
        let_go |= loose
    raise Refused("No plan was found that the rules of soundness let pass. Nothing was changed.")


def _held_on_a_stop(stopped: Stopped, asked: Asked, extra: Extra) -> set[str]:
    """The pinned layers that could go on later than where they are held. Raises ``Refused`` for one that was only to be
    moved there now."""
    found = set()
    for uid, by in stopped.layers:
        if uid in asked.room.pinned and not _is_pinned(asked, uid):
            raise Refused(f"A rule stops it on that day: {by.title} ({by.rule}). Nothing was changed.")
        if uid in asked.room.pinned and uid in extra.rests:
            found.add(uid)
    return found


def _why_not(fault: Fault, board: StudioRows) -> str:
    """Why no plan came out, in the painter's words."""
    titles = {panel.id: panel.title for panel in board.panels}
    for panel_id, rows in board.layers.items():
        held = next((row for row in rows if fault.kind == "pinned" and row.uid == fault.sittings[0]), None)
        if held is not None:
            return (
                f"The {held.kind} of “{titles[panel_id]}” does not fit on that day beside what stays there and what "
                "has to dry. Nothing was changed."
            )
    return f"The plan that came out does not hold: {fault.text}. Nothing was changed."


def _is_pinned(asked: Asked, uid: str) -> bool:
    """Whether the painter holds it in the plan in use or in one that waits; else it was only to be moved now."""
    plan = asked.board.plan
    sitting = None if plan is None else plan.sittings.get(uid)
    return uid in asked.room.asked_before or (sitting is not None and sitting.pinned)


def _ask_rules(plan: Plan, asked: Asked, extra: Extra, *, is_last: bool) -> tuple[Answer, ...] | Stopped:
    """What the rules say of every planned sitting on its day; what they stop, when something has to be planned anew."""
    starts = {s.id: s.start_at for s in plan.sittings}
    said: list[Answer] = []
    stopped: list[tuple[str, Finding]] = []
    for standing, given in answers_of(asked.found, asked.board, asked.moment, starts):
        for answer in given:
            said.append(answer)
            if answer.stops:
                wait_or_leave(standing, (answer.n, answer.stops), extra, is_last=is_last)
                stopped.append((answer.layer.row.uid, reason_of(answer.stops)))
                break
    return Stopped(tuple(stopped)) if stopped else tuple(said)


def wait_or_leave(
    standing: PanelStanding, stopped: tuple[int, list[Finding]], extra: Extra, *, is_last: bool = False
) -> None:
    """Wait as long as the rules say; where they name no day, or one too far, the panel is left out with the rule's
    reason.

    ``stopped``: the first layer to come that is stopped, and by what. ``is_last``: no more waiting is tried.
    """
    n, stops = stopped
    panel, uid = standing.layers.panel, standing.layers.to_come[n].row.uid
    nothing_below = n == 0 and not standing.layers.on and standing.layers.panel.ground_on is None
    asked = reason_of(stops) if is_last or nothing_below else wait_asked(stops, extra.rests.get(uid))
    if isinstance(asked, Rest):
        extra.rests[uid] = asked
    else:
        extra.left_out[panel.uid] = asked.reason
