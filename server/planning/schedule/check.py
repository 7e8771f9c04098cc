"""Proves a plan, or says what is wrong with it, from the question and the answer alone.

Written apart from the search: its own calendar, its own drying, by the day and by the instant; it shares the value
types and nothing else. Slow and plain on purpose.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

from server.planning.schedule.check_drying import instant_after, midnight, reference_days
from server.planning.schedule.check_hours import Stretch, stretch_of, stretches
from server.planning.schedule.plan import Objective, PlacedSitting, Plan
from server.planning.schedule.problem import (
    FLOW_PRICE,
    TARDINESS_PRICE,
    Link,
    LinkKind,
    PanelJob,
    Previous,
    Problem,
    Sitting,
    within_limit_d,
)

SLACK = timedelta(seconds=1)
A_MINUTE = timedelta(minutes=1)
SLACK_D = 1e-6


@dataclass(frozen=True, slots=True)
class Fault:
    """One constraint that does not hold. ``sittings`` are those it is about."""

    kind: str
    sittings: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True)
class _Laid:
    """A sitting with its window; ``fixed`` when the question itself put it there, ``outside`` the hours or not."""

    sitting: Sitting
    panel: PanelJob
    start: datetime
    end: datetime
    window: Stretch
    painter: str | None
    fixed: bool
    done: bool
    outside: bool = False


def check(problem: Problem, plan: Plan) -> list[Fault]:
    """Everything wrong with ``plan``; empty when all holds and every figure of it is right.

    What only concerns sittings that the question itself fixed (pinned, done) is no fault of the plan.
    """
    laid, off_hours = _laid(problem, plan)
    fixed = _fixed(laid)
    faults = [*_listed(problem, plan), *off_hours]
    faults += [fault for fault in _found(problem, plan, laid) if not set(fault.sittings) <= fixed]
    return faults or _figures(problem, plan, laid)


def of_pins(problem: Problem, plan: Plan) -> list[Fault]:
    """What does not hold of pinned sittings, between them or with what is done: no plan could mend it."""
    laid, _ = _laid(problem, plan)
    fixed, done = _fixed(laid), {item.sitting.id for item in laid.values() if item.done}
    found = [fault for fault in _found(problem, plan, laid) if set(fault.sittings) <= fixed]
    return [fault for fault in found if not set(fault.sittings) <= done]


def _fixed(laid: Mapping[str, _Laid]) -> set[str]:
    return {item.sitting.id for item in laid.values() if item.fixed}


def _found(problem: Problem, plan: Plan, laid: dict[str, _Laid]) -> list[Fault]:
    return [
        *_times(problem, plan),
        *_set_ups(problem, plan),
        *_releases(problem, laid),
        *_links(problem, laid),
        *_easels(problem, laid),
        *_rack(problem, laid),
        *_pins(problem, laid),
    ]


def _listed(problem: Problem, plan: Plan) -> list[Fault]:
    done = {p.sitting for p in problem.previous if p.done}
    asked = [s.id for panel in problem.panels for s in panel.sittings if s.id not in done]
    told = [s.id for s in plan.sittings] + [u.sitting for u in plan.unplaced]
    lost, count = set(asked) - set(told), Counter(told)
    faults = [Fault("missing", (one,), f"{one} is neither placed nor named as unplaced") for one in lost]
    faults += [Fault("unknown", (one,), f"{one} was not asked for") for one in set(told) - set(asked)]
    faults += [Fault("twice", (one,), f"{one} is told twice") for one in set(told) if count[one] > 1]
    return faults


def _laid(problem: Problem, plan: Plan) -> tuple[dict[str, _Laid], list[Fault]]:
    """Every sitting that has a time, with the window it lies in."""
    of = {s.id: (s, panel) for panel in problem.panels for s in panel.sittings}
    painters = {p.id: p for p in problem.painters}
    before = {p.sitting: p for p in problem.previous}
    laid: dict[str, _Laid] = {}
    faults = []
    for placed in plan.sittings:
        if placed.id not in of:
            continue
        sitting, panel = of[placed.id]
        fixed = placed.id in before and before[placed.id].pinned
        begin = placed.start_at - timedelta(minutes=placed.set_up_min)
        own = painters.get(placed.painter)
        window = None if own is None else stretch_of(stretches(problem, own, begin), begin, placed.end_at)
        if own is None or (sitting.painters and placed.painter not in sitting.painters):
            faults.append(Fault("painter", (placed.id,), f"{placed.id} is not for {placed.painter}"))
        if window is None and not fixed:
            faults.append(Fault("hours", (placed.id,), f"{placed.id} is outside the hours of {placed.painter}"))
        held = window or _own_stretch(problem, sitting, placed)
        laid[placed.id] = _Laid(
            sitting,
            panel,
            placed.start_at,
            placed.end_at,
            held,
            placed.painter,
            fixed,
            done=False,
            outside=window is None,
        )
    for done in (p for p in problem.previous if p.done and p.sitting in of):
        sitting, panel = of[done.sitting]
        window = _window_of_done(problem, sitting, done)
        laid[sitting.id] = _Laid(sitting, panel, done.start_at, window.end, window, None, fixed=True, done=True)
    return laid, faults


def _own_stretch(problem: Problem, sitting: Sitting, placed: PlacedSitting) -> Stretch:
    """The working time of a sitting outside the hours: its own, with the mixing of its palette before it."""
    mixing = timedelta(minutes=0 if sitting.palette is None else problem.set_up_min)
    return Stretch(placed.start_at - mixing, placed.end_at)


def _window_of_done(problem: Problem, sitting: Sitting, done: Previous) -> Stretch:
    start = done.start_at
    for painter in problem.painters:
        is_known = done.painter is None or done.painter == painter.id
        if is_known and (not sitting.painters or painter.id in sitting.painters):
            for window in stretches(problem, painter, start):
                if window.start <= start < window.end:
                    return window
    return Stretch(start, start + timedelta(minutes=sitting.minutes))


def _times(problem: Problem, plan: Plan) -> Iterable[Fault]:
    """Lengths are as asked; a painter does one thing at a time, mixing included."""
    minutes = {s.id: s.minutes for panel in problem.panels for s in panel.sittings}
    by_painter: dict[str, list[PlacedSitting]] = defaultdict(list)
    for placed in plan.sittings:
        by_painter[placed.painter].append(placed)
        if abs((placed.end_at - placed.start_at) - timedelta(minutes=minutes.get(placed.id, 0))) > SLACK:
            yield Fault("length", (placed.id,), f"{placed.id} does not last {minutes.get(placed.id)} minutes")
    for placed_here in by_painter.values():
        ordered = sorted(placed_here, key=lambda s: s.start_at)
        for first, second in pairwise(ordered):
            if second.start_at - timedelta(minutes=second.set_up_min) < first.end_at - SLACK:
                yield Fault("overlap", (first.id, second.id), f"{first.id} and {second.id} overlap")


def _set_ups(problem: Problem, plan: Plan) -> Iterable[Fault]:
    """Each palette is mixed once a day by each painter who uses it, before its first sitting."""
    first: dict[tuple[str, date, str], PlacedSitting] = {}
    for placed in sorted(plan.sittings, key=lambda s: s.start_at):
        key = _set_up_key(problem, placed)
        is_first = key is not None and key not in first
        if key is not None:
            first.setdefault(key, placed)
        wanted = problem.set_up_min if is_first else 0
        if placed.set_up_min != wanted:
            yield Fault("set_up", (placed.id,), f"{placed.id} has {placed.set_up_min} minutes of mixing, not {wanted}")


def _set_up_key(problem: Problem, placed: PlacedSitting) -> tuple[str, date, str] | None:
    if placed.palette is None:
        return None
    return placed.painter, placed.start_at.astimezone(problem.zone).date(), placed.palette


def _releases(problem: Problem, laid: dict[str, _Laid]) -> Iterable[Fault]:
    for item in laid.values():
        release, at = max(item.panel.release_on or problem.today, problem.today), item.panel.release_at
        if item.done:
            continue
        if item.start.astimezone(problem.zone).date() < release:
            yield Fault("release", (item.sitting.id,), f"{item.sitting.id} begins before {release}")
        elif at is not None and item.window.start < at - SLACK:
            yield Fault("release", (item.sitting.id,), f"{item.sitting.id} begins before {at}")


def _links(problem: Problem, laid: dict[str, _Laid]) -> Iterable[Fault]:
    for panel in problem.panels:
        for link in panel.links:
            before, after = laid.get(link.before), laid.get(link.after)
            if before is not None and after is not None:
                text = _broken(problem, link, before, after)
                if text:
                    yield Fault(link.kind.value, (link.before, link.after), f"{link.before} to {link.after}: {text}")
            elif after is not None and not after.fixed:
                yield Fault("order", (link.after,), f"{link.after} is placed though {link.before} is not")


def _broken(problem: Problem, link: Link, before: _Laid, after: _Laid) -> str:
    if after.start < before.end - SLACK and not before.done:
        return "begins before the one below has ended"
    same = before.window == after.window
    if after.window.start < before.window.end and not (same and link.kind is LinkKind.WET_IN_WET):
        return "begins in the same window"
    there, is_dry = before.panel.speed, link.kind is LinkKind.DRY
    passed = reference_days(problem, before.window.end, after.window.start, there)
    drying = before.sitting.drying if is_dry else None
    if drying is not None and passed < drying.at(problem.confidence) - SLACK_D:
        return "begins before the layer below is ready"
    if passed < link.after_d - SLACK_D and link.kind is LinkKind.TACKY:
        return "begins before the layer below is tacky"
    if is_dry and after.window.start < before.window.end + timedelta(days=link.rest_d) - SLACK:
        return "begins before the rest that a rule asks for is over"
    limit = within_limit_d(link, before.sitting)
    if limit is not None and reference_days(problem, before.window.start, after.window.start, there) > limit + SLACK_D:
        return "begins after its wet limit"
    return ""


def _easels(problem: Problem, laid: dict[str, _Laid]) -> Iterable[Fault]:
    if problem.easels is None:
        return
    items = [item for item in laid.values() if not item.done]
    for one in items:
        at = one.window.start
        here = [other for other in items if other.window.start <= at < other.window.end]
        count = len({item.panel.id for item in here}) if problem.panel_once else len(here)
        if count > problem.easels:
            ids = tuple(item.sitting.id for item in here)
            yield Fault("easels", ids, f"{count} easels are wanted at {at}, and there are {problem.easels}")


def _rack(problem: Problem, laid: dict[str, _Laid]) -> Iterable[Fault]:
    if problem.rack_places is None:
        return
    used: dict[date, list[_Laid]] = defaultdict(list)
    for item in laid.values():
        if item.sitting.rack_d is None:
            continue
        free = instant_after(problem, item.window.end, item.sitting.rack_d, item.panel.speed)
        on = item.start.astimezone(problem.zone).date()
        while midnight(problem, on) < free - SLACK:
            used[on].append(item)
            on += timedelta(days=1)
    for on, here in used.items():
        sizes = {item.panel.id if problem.panel_once else item.sitting.id: item.panel.size for item in here}
        places = sum(sizes.values())
        if on >= problem.today and places > problem.rack_places:
            yield Fault("rack", tuple(i.sitting.id for i in here), f"{places} of {problem.rack_places} places on {on}")


def _pins(problem: Problem, laid: dict[str, _Laid]) -> Iterable[Fault]:
    for pin in problem.previous:
        item = laid.get(pin.sitting)
        is_past = pin.start_at.astimezone(problem.zone).date() < problem.today
        if (
            pin.pinned
            and not pin.done
            and not is_past
            and (item is None or not _stands_at(problem, item, pin.start_at))
        ):
            # Said of no sitting, so that it counts although the sitting is fixed.
            text = f"{pin.sitting} is pinned to {pin.start_at} and does not stand there"
            yield Fault("pinned", (pin.sitting, ""), text)


def _stands_at(problem: Problem, item: _Laid, at: datetime) -> bool:
    """Whether a sitting stands where it was pinned: in that working time, outside the hours at that minute."""
    if item.outside:
        return abs(item.start - at) <= A_MINUTE and not problem.pins_in_hours
    return item.window.start <= at < item.window.end


def finish_on(problem: Problem, panel: PanelJob, laid_at: datetime) -> date:
    """The first day by whose start the final wait and the handling have passed."""
    dry = instant_after(problem, laid_at, panel.final_wait.at(problem.confidence), panel.speed)
    whole, part = divmod(panel.handling_d, 1.0)
    dry += timedelta(days=part)
    on = dry.astimezone(problem.zone).date()
    if midnight(problem, on) < dry - SLACK:
        on += timedelta(days=1)
    return on + timedelta(days=int(whole))


def objective(problem: Problem, plan: Plan) -> Objective:
    """The terms worked out anew from where the sittings stand and each panel's earliest day."""
    return _terms(problem, plan, _finishes(problem, _laid(problem, plan)[0]))


def _terms(problem: Problem, plan: Plan, finishes: Mapping[str, date | None]) -> Objective:
    late = flow = 0.0
    earliest = {p.id: p.earliest_on for p in plan.panels}
    for panel in problem.panels:
        finish = finishes[panel.id]
        if finish is None:
            continue
        if panel.due_on is not None:
            late += panel.weight * max(0, (finish - panel.due_on).days)
        soonest = earliest.get(panel.id)
        flow += 0 if soonest is None else (finish - soonest).days
    keys = {_set_up_key(problem, placed) for placed in plan.sittings} - {None}
    moved = len(moved_sittings(problem, plan.sittings))
    mixing, moving = problem.set_up_price * len(keys), problem.move_price * moved
    total = TARDINESS_PRICE * late + mixing + FLOW_PRICE * flow + moving
    return Objective(total, late, len(keys), int(flow), moved)


def moved_sittings(problem: Problem, placed: Sequence[PlacedSitting]) -> list[str]:
    """Those of the plan before that stand on another day."""
    stood = {p.sitting: p.start_at.astimezone(problem.zone).date() for p in problem.previous if not p.done}
    return [s.id for s in placed if s.id in stood and s.start_at.astimezone(problem.zone).date() != stood[s.id]]


def _finishes(problem: Problem, laid: dict[str, _Laid]) -> dict[str, date | None]:
    """The day on which each panel is deliverable."""
    return {panel.id: _finish(problem, panel, laid) for panel in problem.panels}


def _finish(problem: Problem, panel: PanelJob, laid: dict[str, _Laid]) -> date | None:
    if not panel.sittings or any(s.id not in laid for s in panel.sittings):
        return None
    return finish_on(problem, panel, max(laid[s.id].window.end for s in panel.sittings))


def _figures(problem: Problem, plan: Plan, laid: dict[str, _Laid]) -> list[Fault]:
    faults = []
    told, finishes = {p.id: p for p in plan.panels}, _finishes(problem, laid)
    for panel in problem.panels:
        finish = finishes[panel.id]
        late = 0 if finish is None or panel.due_on is None else max(0, (finish - panel.due_on).days)
        own = told.get(panel.id)
        if own is None or own.finish_on != finish or own.late_d != late:
            faults.append(Fault("finish", (panel.id,), f"{panel.id} is deliverable on {finish}, {late} days late"))
        elif finish is not None and (own.earliest_on is None or own.earliest_on > finish):
            faults.append(Fault("earliest", (panel.id,), f"{panel.id} is earlier than the earliest it could be"))
        elif finish is None and own.earliest_on is not None and own.earliest_on < problem.today:
            faults.append(Fault("earliest", (panel.id,), f"{panel.id} cannot be deliverable before {problem.today}"))
    right = _terms(problem, plan, finishes)
    own_terms = plan.objective
    same = (right.set_ups, right.flow_d, right.moved) == (own_terms.set_ups, own_terms.flow_d, own_terms.moved)
    if not same or abs(right.total - own_terms.total) > 1e-6 * max(1.0, right.total):
        faults.append(Fault("objective", (), f"the terms are {right}"))
    return faults
