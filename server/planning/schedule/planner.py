"""A problem in, a plan out: the days looked at, the search, what finds no place, and the times of the rest."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from server.planning.schedule import assemble, race, solve
from server.planning.schedule.calendar import Zone, windows
from server.planning.schedule.columns import EARLIEST, HI, LO, NOWHERE
from server.planning.schedule.compiled import PLAIN, Search
from server.planning.schedule.hands import with_hands
from server.planning.schedule.model import Kept, Model, build, kept_of
from server.planning.schedule.plan import Plan, Unplaced
from server.planning.schedule.problem import Problem
from server.planning.schedule.solve import Budget, Desk, Progress

LEAST_DAYS = 120
MOST_DAYS = 5500  # fifteen years
MOST_WINDOWS = 60_000
RESERVE = 1.3
WEEKS_LOOKED_AT = 4


@dataclass(slots=True)
class Bench:
    """A problem laid out for the search: every panel stands somewhere, or its sittings are among ``unplaced``.

    ``told``: the plan that was told last, and where everything stood in it."""

    desk: Desk
    unplaced: dict[str, str]
    warnings: list[str]
    told: tuple[list[int], Plan] | None = None

    @property
    def model(self) -> Model:
        return self.desk.model


def horizon_days(problem: Problem) -> int:
    """Days that hold all the work and the longest panel by itself, with something to spare."""
    zone = Zone(problem.zone, problem.today)
    days = 7 * WEEKS_LOOKED_AT
    minutes_a_day = sum(w.minutes for w in windows(problem.painters, zone, days)) / days
    work = sum(s.minutes + problem.set_up_min for panel in problem.panels for s in panel.sittings)
    by_work = work / minutes_a_day if minutes_a_day > 0 else 0.0
    chains = [sum(3 + (s.drying.at(problem.confidence) if s.drying else 0) for s in p.sittings) for p in problem.panels]
    rests = [sum(link.rest_d for link in panel.links) for panel in problem.panels]
    longest = max(chains, default=0.0) / problem.slowest + max(rests, default=0.0)
    release = max(((p.release_on - problem.today).days for p in problem.panels if p.release_on), default=0)
    return int(min(MOST_DAYS, max(LEAST_DAYS, RESERVE * by_work + longest + max(release, 0) + 60)))


def lay_out(problem: Problem, search: Search = PLAIN, seed: int = 1) -> Bench:
    """Put everything in by the greedy way (or where it stood before); look further ahead where it does not fit."""
    problem = with_hands(problem)
    days = horizon_days(problem)
    kept = kept_of(problem)
    warnings: list[str] = []
    unplaced: dict[str, str] = {}
    while True:
        model = build(problem, days, kept)
        loose = _cannot_stay(model)
        if loose:
            # Today's sittings stay by themselves only where they can; a pin stays whatever comes.
            warnings += [f"{one} cannot stay where it stood today" for one in sorted(loose)]
            kept = Kept({key: p for key, p in kept.pinned.items() if key not in loose}, kept.done, kept.left_out)
            continue
        made = solve.desk(model, search, seed)
        lost = _without_place(made)
        if lost and days < MOST_DAYS and len(made.model.windows) < MOST_WINDOWS and _may_fit_later(made, lost):
            days = min(MOST_DAYS, days * 2)
            continue
        if lost:
            dropped = _drop(made, lost)
            unplaced |= dropped
            kept = Kept(kept.pinned, kept.done, kept.left_out | set(dropped))
            continue
        failed = solve.start(made)
        if failed and days < MOST_DAYS:
            days = min(MOST_DAYS, days * 2)
            continue
        for i in failed:
            names = [made.model.sittings[s].id for s in made.c.sittings_of(i) if made.window_of(s) == NOWHERE]
            unplaced |= dict.fromkeys(names, "no room was found for it beside the other panels")
        return Bench(made, unplaced, warnings)


def _cannot_stay(model: Model) -> set[str]:
    """Unpinned sittings of today that now come before the layer below is ready, too late, or out of hours."""
    pinned = {p.sitting for p in model.problem.previous if p.pinned}
    at = {s: b for s, b in model.pins.items() if model.sittings[s].id not in pinned}
    hours = set(windows(model.problem.painters, model.zone, 1))
    loose = {s for s, b in at.items() if model.windows[b] not in hours or not model.shape.may_stand(s, b)}
    return {model.sittings[s].id for s in loose | _too_many(model, {s: b for s, b in at.items() if s not in loose})}


def _too_many(model: Model, at: dict[int, int]) -> set[int]:
    """Unpinned sittings of today for which their window has no time left, the later ones first: a painter is ill and
    another one cannot do both, or a sitting takes longer now."""
    starts = {p.sitting: p.start_at for p in model.problem.previous}
    pinned = [s for s in model.pins if s not in at and model.windows[model.pins[s]].day == 0]
    load: dict[int, int] = {}
    mixed: set[tuple[int, str]] = set()
    found = set()
    for s in [*pinned, *sorted(at, key=lambda s: (starts[model.sittings[s].id], s))]:
        b, sitting = model.pins[s], model.sittings[s]
        window = model.windows[b]
        mixes = sitting.palette is not None and (window.painter, sitting.palette) not in mixed
        need = load.get(b, 0) + sitting.minutes + (model.problem.set_up_min if mixes else 0)
        if s in at and need > window.minutes:
            found.add(s)
            continue
        load[b] = need
        if sitting.palette is not None:
            mixed.add((window.painter, sitting.palette))
    return found


def _without_place(made: Desk) -> list[int]:
    panels = range(len(made.model.panels))
    return [i for i in panels if made.c.sittings_of(i) and made.c.panel(i, EARLIEST) == NOWHERE]


def _may_fit_later(made: Desk, lost: list[int]) -> bool:
    """Whether more days could help: something of the panel would fit a window by its length alone, and is not too late
    already."""
    mine = [s for i in lost for s in made.c.sittings_of(i)]
    return made.model.days < 4 * 365 and not any(_is_hopeless(made, s) for s in mine)


def _is_hopeless(made: Desk, s: int) -> bool:
    """Whether no window will ever do for a sitting, whatever stands beside it."""
    return _too_long(made.model, s) or _too_late(made, s)


def _too_late(made: Desk, s: int) -> bool:
    """Whether what is over already leaves a sitting no window that it could be in."""
    windows, low, high = made.model.windows, made.c.sitting(s, LO), made.c.sitting(s, HI)
    if high >= len(windows) - 1:
        return False
    return all(w.minutes < made.model.sittings[s].minutes for w in windows[low : high + 1])


def _too_long(model: Model, s: int) -> bool:
    return _needed_min(model, s) > _longest_window(model, s)


def _needed_min(model: Model, s: int) -> int:
    sitting = model.sittings[s]
    return sitting.minutes + (model.problem.set_up_min if sitting.palette is not None else 0)


def _longest_window(model: Model, s: int) -> int:
    allowed = model.sittings[s].painters
    ids = [p.id for p in model.problem.painters]
    return max((w.minutes for w in model.windows if not allowed or ids[w.painter] in allowed), default=0)


def _drop(made: Desk, lost: list[int]) -> dict[str, str]:
    """Of each lost panel the first sitting that cannot be placed, with all that follow it, and why."""
    dropped: dict[str, str] = {}
    for i in lost:
        mine = made.c.sittings_of(i)
        first = next((s for s in mine if _is_hopeless(made, s)), mine.stop - 1)
        reason = _reason(made.model, first)
        dropped[made.model.sittings[first].id] = reason
        for s in mine:
            sitting = made.model.sittings[s]
            below = [k.before for k in made.model.panels[i].links if k.after == sitting.id]
            if sitting.id not in dropped and any(one in dropped for one in below):
                dropped[sitting.id] = f"waits for {next(one for one in below if one in dropped)}, which has no place"
    return dropped


def _reason(model: Model, s: int) -> str:
    problem, sitting = model.problem, model.sittings[s]
    panel = model.panels[model.panel_of[s]]
    longest = _longest_window(model, s)
    if longest == 0:
        return "no painter who may paint it has working hours"
    if _too_long(model, s):
        return f"takes {_needed_min(model, s)} minutes with mixing; no working time without a break is over {longest}"
    if problem.easels == 0:
        return "there is no easel"
    if problem.rack_places is not None and sitting.rack_d is not None and panel.size > problem.rack_places:
        return f"takes {panel.size} places in the rack; there are {problem.rack_places}"
    if any(link.after == sitting.id and link.within_d is not None for link in panel.links):
        return "no window comes before its wet limit and after the layer below is ready for it"
    return "no window fits it with what it must follow, what is pinned and what waits in the rack"


def plan(
    problem: Problem,
    search: Search = PLAIN,
    budget: Budget | None = None,
    told: Callable[[Progress], bool] | None = None,
) -> tuple[Plan, Bench]:
    """Search within the budget and answer the best plan found. ``told`` hears of the progress; False stops it there."""
    budget = budget or Budget()
    bench = lay_out(problem, search, budget.seed)
    for progress in search_on(bench, budget):
        if told is not None and not told(progress):
            break
    bench.desk.restore(bench.desk.c.best_at)
    return answer(bench), bench


def search_on(bench: Bench, budget: Budget) -> Iterator[Progress]:
    """The search itself, step by step; the desk keeps the best plan seen."""
    if any(bench.desk.window_of(s) != NOWHERE for s in range(len(bench.model.sittings))):
        yield from race.anneal(bench.desk, budget)


def answer(bench: Bench) -> Plan:
    """The plan as it stands on the desk, without its reasons."""
    at = bench.desk.c.at
    if bench.told is None or bench.told[0] != at:
        bench.told = at, _assembled(bench, at)
    return bench.told[1]


def _assembled(bench: Bench, at: list[int]) -> Plan:
    model = bench.model
    timed = assemble.times(model, at)
    sittings = assemble.placed(model, at, timed)
    earliest = [
        None if day == NOWHERE else day for day in (bench.desk.c.panel(i, EARLIEST) for i in range(len(model.panels)))
    ]
    planned = assemble.panels(model, at, earliest)
    # What found no room at first may have found some since.
    there = {placed.id for placed in sittings}
    unplaced = tuple(Unplaced(one, reason) for one, reason in bench.unplaced.items() if one not in there)
    return Plan(
        sittings=tuple(sittings),
        panels=tuple(planned),
        objective=assemble.objective(model, sittings, planned),
        moved=tuple(assemble.moved(model, sittings)),
        unplaced=unplaced,
        warnings=tuple(bench.warnings),
    )
