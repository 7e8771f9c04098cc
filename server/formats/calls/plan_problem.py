"""From the fields of a ``plan`` request to the planner's own types; every fault is named by its path."""

from collections import Counter
from collections.abc import Iterable, Sequence
from zoneinfo import ZoneInfo

from server.formats.calls.layer_in import Collector
from server.formats.calls.plan_in import (
    MOST_SITTINGS,
    ExceptionIn,
    LinkIn,
    PainterIn,
    PanelIn,
    PlanRequest,
    SittingIn,
    SpreadIn,
)
from server.planning.schedule.problem import (
    DayHours,
    DryingSpeed,
    Hours,
    Link,
    LinkKind,
    Painter,
    PanelJob,
    Previous,
    Problem,
    Sitting,
    Spread,
)
from server.planning.schedule.repair import MOST_MOVED, REPAIR_PRICE

Path = tuple[int | str, ...]
LONGEST_D = 40_000  # at the confidence asked for; beyond, days run past the calendar's end in a slow room
# What each kind of link wants of its two limits, and what it has no use for.
LIMITS: dict[str, dict[str, bool]] = {
    "dry": {},
    "wet_in_wet": {"within_reference_d": True},
    "tacky": {"after_reference_d": True, "within_reference_d": True},
    "split": {"within_reference_d": False},
}


def problem(request: PlanRequest, faults: Collector) -> Problem:
    """The problem that ``request`` states; what contradicts itself goes to ``faults``."""
    _unique((p.id for p in request.painters), ("painters",), "id", faults)
    _unique((p.id for p in request.panels), ("panels",), "id", faults)
    known = {p.id for p in request.painters}
    seen: set[str] = set()
    for i, panel in enumerate(request.panels):
        _check_panel(panel, ("panels", i), known, seen, faults)
        _check_waits(panel, ("panels", i), request.confidence, faults)
    if len(seen) > MOST_SITTINGS:
        faults.add(("panels",), f"hold {len(seen):,} sittings; a plan takes at most {MOST_SITTINGS:,}")
    _check_previous(request, seen, faults)
    speed = request.drying_speed
    return Problem(
        today=request.today,
        zone=ZoneInfo(request.time_zone),
        painters=tuple(_painter(p, ("painters", i), faults) for i, p in enumerate(request.painters)),
        panels=tuple(_panel(p) for p in request.panels),
        speed=DryingSpeed(tuple(speed.by_month or ()), tuple(speed.by_day or ())),
        confidence=request.confidence,
        rack_places=request.rack_places,
        easels=request.easels,
        set_up_min=request.mix_setup_min,
        move_price=request.move_price,
        most_moved=MOST_MOVED if request.previous and request.move_price >= REPAIR_PRICE else None,
        previous=tuple(Previous(p.sitting, p.start_at, p.pinned, p.done) for p in request.previous),
    )


def _unique(ids: Iterable[str], path: Path, name: str, faults: Collector) -> None:
    seen: set[str] = set()
    for i, one in enumerate(ids):
        if one in seen:
            faults.add((*path, i, name), f"{one!r} is given twice")
        seen.add(one)


def _minutes(clock: str) -> int:
    return int(clock[:2]) * 60 + int(clock[3:])


def _painter(given: PainterIn, path: Path, faults: Collector) -> Painter:
    hours = tuple(Hours(frozenset(h.weekdays), _minutes(h.start), _minutes(h.end)) for h in given.hours)
    for i, one in enumerate(hours):
        for j, other in enumerate(hours[:i]):
            shared = sorted(one.weekdays & other.weekdays)
            if shared and one.start_min < other.end_min and other.start_min < one.end_min:
                faults.add((*path, "hours", i), f"overlap with hours[{j}] on weekday {shared[0]}")
    days = tuple(_day(e) for e in given.exceptions)
    _check_days(given.exceptions, days, (*path, "exceptions"), faults)
    return Painter(given.id, hours, days)


def _day(given: ExceptionIn) -> DayHours:
    if given.start is None or given.end is None:
        return DayHours(given.on)
    return DayHours(given.on, _minutes(given.start), _minutes(given.end))


def _check_days(given: Sequence[ExceptionIn], days: Sequence[DayHours], path: Path, faults: Collector) -> None:
    first: dict[object, list[int]] = {}
    for i, one in enumerate(days):
        for j in first.setdefault(one.on, []):
            other = days[j]
            if one.start_min is None or other.start_min is None or one.end_min is None or other.end_min is None:
                faults.add((*path, i), f"{one.on} is closed and open at once")
            elif one.start_min < other.end_min and other.start_min < one.end_min:
                faults.add((*path, i), f"overlaps with exceptions[{j}]")
        first[one.on].append(i)


def _check_panel(panel: PanelIn, path: Path, painters: set[str], seen: set[str], faults: Collector) -> None:
    for j, sitting in enumerate(panel.sittings):
        if sitting.id in seen:
            faults.add((*path, "sittings", j, "id"), f"{sitting.id!r} is given twice")
        seen.add(sitting.id)
        for n, painter in enumerate(sitting.painters):
            if painter not in painters:
                faults.add((*path, "sittings", j, "painters", n), "is not the id of a painter")
    own = {s.id: j for j, s in enumerate(panel.sittings)}
    pairs: Counter[tuple[str, str]] = Counter()
    for n, link in enumerate(panel.links):
        _check_link(link, (*path, "links", n), panel, own, faults)
        pairs[link.before, link.after] += 1
        if pairs[link.before, link.after] == 2:
            faults.add((*path, "links", n), "these two sittings are linked already")
    if _has_circle(panel):
        faults.add((*path, "links"), "run in a circle")


def _check_waits(panel: PanelIn, path: Path, confidence: float, faults: Collector) -> None:
    told = [((*path, "sittings", j, "drying_reference_d"), s.drying_reference_d) for j, s in enumerate(panel.sittings)]
    if isinstance(panel.final_wait_reference_d, SpreadIn):
        told.append(((*path, "final_wait_reference_d"), panel.final_wait_reference_d))
    for where, given in told:
        if given is not None and _spread(given).at(confidence) > LONGEST_D:
            faults.add(where, f"lie too far apart: at this confidence the wait is over {LONGEST_D:,} days")


def _check_link(link: LinkIn, path: Path, panel: PanelIn, own: dict[str, int], faults: Collector) -> None:
    for name, one in (("from", link.before), ("to", link.after)):
        if one not in own:
            faults.add((*path, name), "is not the id of a sitting of this panel")
    wanted = LIMITS[link.kind]
    for name in ("after_reference_d", "within_reference_d"):
        value = getattr(link, name)
        if value is None and wanted.get(name):
            faults.add((*path, name), f"is missing: a link of kind {link.kind} needs it")
        if value is not None and name not in wanted:
            faults.add((*path, name), f"does not belong to a link of kind {link.kind}")
    after, within = link.after_reference_d, link.within_reference_d
    if after is not None and within is not None and within < after:
        faults.add((*path, "within_reference_d"), "must not be below after_reference_d")
    below = own.get(link.before)
    if link.kind == "dry" and below is not None and panel.sittings[below].drying_reference_d is None:
        faults.add((*path[:-2], "sittings", below, "drying_reference_d"), f"is missing: {link.after} waits for it")


def _check_previous(request: PlanRequest, sittings: set[str], faults: Collector) -> None:
    _unique((p.sitting for p in request.previous), ("previous",), "sitting", faults)
    for i, before in enumerate(request.previous):
        if before.sitting not in sittings:
            faults.add(("previous", i, "sitting"), "is not the id of a sitting")
        if before.done and before.start_at.astimezone(ZoneInfo(request.time_zone)).date() > request.today:
            text = "is after today: a sitting that is done began by the end of today"
            faults.add(("previous", i, "start_at"), text)


def _has_circle(panel: PanelIn) -> bool:
    after: dict[str, list[str]] = {}
    for link in panel.links:
        after.setdefault(link.before, []).append(link.after)
    waiting = Counter(link.after for link in panel.links)
    ids = {s.id for s in panel.sittings} | set(after) | set(waiting)
    free = [one for one in ids if not waiting[one]]
    count = 0
    while free:
        count += 1
        for other in after.get(free.pop(), ()):
            waiting[other] -= 1
            if not waiting[other]:
                free.append(other)
    return count < len(ids)


def _spread(given: SpreadIn) -> Spread:
    return Spread(given.p50, given.p90)


def _sitting(given: SittingIn) -> Sitting:
    drying = None if given.drying_reference_d is None else _spread(given.drying_reference_d)
    return Sitting(
        given.id, given.minutes, given.palette, tuple(dict.fromkeys(given.painters)), drying, given.rack_reference_d
    )


def _panel(given: PanelIn) -> PanelJob:
    wait = given.final_wait_reference_d
    return PanelJob(
        id=given.id,
        sittings=tuple(_sitting(s) for s in given.sittings),
        links=tuple(
            Link(k.before, k.after, LinkKind(k.kind), k.after_reference_d or 0.0, k.within_reference_d)
            for k in given.links
        ),
        size=given.size,
        weight=given.weight,
        release_on=given.release_on,
        due_on=given.due_on,
        final_wait=_spread(wait) if isinstance(wait, SpreadIn) else Spread(wait, wait),
        handling_d=given.final_handling_d,
    )
