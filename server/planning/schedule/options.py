"""What would help a panel that will be late: each option tried, with less urgent panels making room.

Panels go in by urgency, each where the plan has it. Before a late one does, it is put where it would come out soonest
under each option; so an option sees only panels that are more urgent. Nothing of this changes the plan.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial

import numpy as np

from server.planning.schedule import tables
from server.planning.schedule.calendar import Window
from server.planning.schedule.columns import (
    AT,
    CAP,
    FINISH_ROW,
    LINK,
    LINK_BEGIN,
    LINK_LO,
    LINKS,
    LOOK,
    NOWHERE,
    PANEL,
    PANELS,
    RACK_ROW,
    SET_UP_PRICE,
    SITTING,
    SITTINGS,
    WIDTH,
    Arrays,
    Columns,
)
from server.planning.schedule.compiled import Search
from server.planning.schedule.model import Model
from server.planning.schedule.plan import Option
from server.planning.schedule.planner import Bench
from server.planning.schedule.problem import Link, PanelJob, Problem, Sitting, Spread
from server.planning.schedule.shape import Shape
from server.planning.schedule.solve import finish_of
from server.planning.schedule.tables import Tables

WIDE = 16
MOST_PANELS = 60  # late panels whose options are tried, the costliest first
MOST_SATURDAYS = 8
SOONER = 2.0 / 3.0  # of the drying time: a thinner layer or a faster medium; an assumption, to be tried out in the app
LESS_SURE = 0.75
ONE_DAY = "Work on Saturday "


WAIT = "wait"  # keys of the options that are made here; a day opened is "day:" and its date
FASTER, LESS_SURE_KEY, NO_WAIT_KEY, DAY, DAYS = "faster", "less_sure", "no_wait", "day:", "days"


@dataclass(frozen=True, slots=True)
class Variant:
    """Another way to make a panel: the same panel as a job of its own, tried in place of the one that is planned."""

    key: str
    text: str
    job: PanelJob


Variants = Mapping[str, Sequence[Variant]]


@dataclass(slots=True)
class Trial:
    """A plan of its own in which closed days can be opened. ``extra``: day -> windows that stand closed. ``spare``:
    from where on in ``t`` there is room for rows of the tables that a change asks for.

    ``variants``: for a panel's number its other ways, each with the number of the panel it stands as, after the
    problem's own. ``is_general``: it is not known what panels are made of, so changes in general are tried.
    """

    model: Model
    search: Search
    c: Columns
    spare: int
    extra: dict[int, list[int]]
    variants: dict[int, list[tuple[Variant, int]]]
    is_general: bool


def options(bench: Bench, late: dict[str, date], variants: Variants | None = None) -> dict[str, tuple[Option, ...]]:
    """For each late panel (its id, its planned day) what was tried and helps, the most helpful first.

    With ``variants``, only the panels that have some are tried, each in these ways instead of in the general ones that
    are thought of here.
    """
    trial, at = _trial(bench, variants)
    panels = bench.model.panels
    weight = {p.id: p.weight * (late[p.id] - (p.due_on or late[p.id])).days for p in panels if p.id in late}
    wanted = set(sorted(weight, key=lambda one: -weight[one])[:MOST_PANELS]) if variants is None else set(variants)
    far = date.max
    by_urgency = sorted(range(len(panels)), key=lambda i: (-panels[i].weight, panels[i].due_on or far, i))
    found: dict[str, tuple[Option, ...]] = {}
    for i in by_urgency:
        mine = trial.c.sittings_of(i)
        if panels[i].id in wanted and all(at[s] != NOWHERE for s in mine):
            found[panels[i].id] = _tried(trial, i, late[panels[i].id])
        for s in mine:
            if at[s] != NOWHERE and trial.c.m[trial.c.m[AT] + s] == NOWHERE:
                trial.search.add(trial.c, s, at[s])
    return found


def _trial(bench: Bench, variants: Variants | None) -> tuple[Trial, list[int]]:
    """Empty columns over the same days with windows on free Saturdays, and where the plan's sittings are in them."""
    model, shape = bench.model, bench.model.shape
    wider_problem, others, rows = _with_variants(model, variants or {})
    saturdays = _saturdays(model)
    every = sorted([*model.windows, *saturdays], key=lambda w: (w.start_min, w.painter, w.end_min))
    position = {window: b for b, window in enumerate(every)}
    made = Tables(tuple(every), shape.tables.clocks, model.zone, shape.tables.days, round_up=shape.tables.round_up)
    pins = {s: position[model.windows[b]] for s, b in model.pins.items()}
    wider = Shape(wider_problem, shape.zone, tuple(every), made, (*shape.rows, *rows), pins, shape.done)
    search, c, spare = _columns(bench.desk.search, wider)
    trial = Trial(Model(wider_problem, wider, model.days), search, c, spare, {}, others, variants is None)
    for window in saturdays:
        trial.extra.setdefault(window.day, []).append(position[window])
        _set(trial.c, CAP, position[window], 0)
    for s, b in pins.items():
        search.add(c, s, b)
    return trial, [NOWHERE if b == NOWHERE else position[model.windows[b]] for b in bench.desk.c.at]


def _columns(search: Search, shape: Shape) -> tuple[Search, Columns, int]:
    """Empty columns in the form that the search wants, with room for what one change of a panel asks for."""
    made = shape.columns(1)
    links = max((len(panel.links) + len(panel.sittings) for panel in shape.problem.panels), default=0)
    spare = np.zeros((links + 1) * len(shape.windows), made.t.dtype)
    wider = Arrays(made.m, made.f, np.concatenate((made.t, spare)))
    return search, wider if search.is_compiled else wider.plain(), len(made.t)


def _with_variants(
    model: Model, variants: Variants
) -> tuple[Problem, dict[int, list[tuple[Variant, int]]], list[tuple[Sitting, ...]]]:
    """The problem with the variants as panels after its own. A panel of which something is pinned or over has none:
    its variants would begin anew."""
    fixed = {model.panel_of[s] for s in model.pins} | {
        i for i, panel in enumerate(model.panels) if any(s.id in model.shape.done for s in panel.sittings)
    }
    others: dict[int, list[tuple[Variant, int]]] = {}
    jobs: list[PanelJob] = []
    for i, panel in enumerate(model.panels):
        for variant in () if i in fixed else variants.get(panel.id, ()):
            number = len(model.panels) + len(jobs)
            jobs.append(_renamed(variant.job, number))
            others.setdefault(i, []).append((variant, number))
    rows = [tuple(tables.in_order(job, job.sittings)) for job in jobs]
    return replace(model.problem, panels=(*model.panels, *jobs)), others, rows


def _renamed(job: PanelJob, number: int) -> PanelJob:
    """The job under names of its own: no two panels share a sitting."""

    def name(sitting: str) -> str:
        return f"{number}\x00{sitting}"

    return replace(
        job,
        id=name(job.id),
        sittings=tuple(replace(s, id=name(s.id)) for s in job.sittings),
        links=tuple(replace(k, before=name(k.before), after=name(k.after)) for k in job.links),
    )


def _saturdays(model: Model) -> list[Window]:
    """The first free Saturdays of each painter, with the hours of the last working day before."""
    found = []
    for painter in range(len(model.problem.painters)):
        mine = [w for w in model.windows if w.painter == painter]
        busy = {w.day for w in mine}
        for day in [d for d in range(model.days) if _is_saturday(model, d) and d not in busy][:MOST_SATURDAYS]:
            before = max((d for d in busy if d < day), default=None)
            for w in [w for w in mine if w.day == before]:
                start = model.zone.instant(w.start_min)
                minute = start.hour * 60 + start.minute
                begin = model.zone.wall(day, minute)
                found.append(Window(begin, begin + w.minutes, painter, day))
    return found


def _is_saturday(model: Model, day: int) -> bool:
    return (model.problem.today + timedelta(days=day)).isoweekday() == 6


def _tried(trial: Trial, i: int, planned: date) -> tuple[Option, ...]:
    found: dict[str, Option] = {}
    base = _tried_as(trial, i, (WAIT, "Let less urgent panels wait for it"), planned)
    if base is not None and base.saves_d > 0:
        found[base.key] = base
    for key, text, change, number in _ways(trial, i):
        undo = change()
        option = _tried_as(trial, number, (key, text), planned)
        undo()
        if option is not None and option.saves_d > (0 if base is None else max(0, base.saves_d)):
            found[key] = option
    single = [option for key, option in found.items() if key.startswith(DAY)]
    best = min(single, key=lambda option: option.finish_on, default=None)
    kept = [option for option in found.values() if option not in single or option is best]
    return tuple(sorted(kept, key=lambda o: (-o.saves_d, o.text)))


def _tried_as(trial: Trial, i: int, named: tuple[str, str], planned: date) -> Option | None:
    """The option that putting panel i in as things stand comes to; it is out again afterwards."""
    c = trial.c
    price, c.f[SET_UP_PRICE] = c.f[SET_UP_PRICE], 0.0  # the soonest day counts, not the mixing
    pinned = {s for s in c.sittings_of(i) if c.m[c.m[AT] + s] != NOWHERE}
    c.m[WIDTH] = c.m[LOOK] = WIDE
    option = None
    if trial.search.put_in(c, i):
        today, sittings, windows = trial.model.problem.today, trial.model.sittings, trial.model.windows
        finish = today + timedelta(days=finish_of(c, i))
        starts = tuple(
            (sittings[s].id.rpartition("\x00")[2], today + timedelta(days=windows[c.m[c.m[AT] + s]].day))
            for s in c.sittings_of(i)
        )
        option = Option(named[1], finish, (planned - finish).days, named[0], starts)
    for s in c.sittings_of(i):
        if c.m[c.m[AT] + s] != NOWHERE and s not in pinned:
            trial.search.take(c, s)
    c.f[SET_UP_PRICE] = price
    return option


Change = Callable[[], Callable[[], None]]
Way = tuple[str, str, Change, int]  # its key, its words, what to change in the columns, and which panel to try


def _ways(trial: Trial, i: int) -> Iterator[Way]:
    """Everything worth a try; changing answers how to change it back."""
    for variant, number in trial.variants.get(i, ()):
        yield variant.key, variant.text, lambda: lambda: None, number
    if trial.is_general:
        yield from _changes(trial, i)
    for day, windows in sorted(trial.extra.items()):
        on = trial.model.problem.today + timedelta(days=day)
        yield f"{DAY}{on.isoformat()}", f"{ONE_DAY}{on.day} {on:%B %Y}", partial(_open, trial, windows), i
    if len(trial.extra) > 1 and trial.is_general:
        every = [b for windows in trial.extra.values() for b in windows]
        last = trial.model.problem.today + timedelta(days=max(trial.extra))
        yield DAYS, f"Work every free Saturday until {last.day} {last:%B %Y}", lambda: _open(trial, every), i


def _changes(trial: Trial, i: int) -> Iterator[Way]:
    """The changes that may be thought of without knowing what the panel is made of."""
    panel, c = trial.model.panels[i], trial.c
    mine = [trial.model.sittings[s] for s in c.sittings_of(i)]
    slow = [s for s in mine if s.drying is not None and any(k.before == s.id for k in panel.links)]
    if slow:
        slowest = max(slow, key=lambda s: (s.drying.at(trial.model.problem.confidence) if s.drying else 0.0, s.id))
        text = f"{slowest.id} thinner or with a faster medium, dry in two thirds of the time"
        yield FASTER, text, lambda: _drying(trial, i, {slowest.id: SOONER}, trial.model.problem.confidence), i
    if trial.model.problem.confidence > LESS_SURE:
        planned_pct = 100 * trial.model.problem.confidence
        yield (
            LESS_SURE_KEY,
            f"Plan this panel at a chance of {100 * LESS_SURE:.0f} % instead of {planned_pct:.0f} %",
            lambda: _drying(trial, i, {}, LESS_SURE),
            i,
        )
    if panel.final_wait.p50_d > 0.0:
        text = "Deliver it before the final wait, unvarnished or with a temporary coat"
        yield NO_WAIT_KEY, text, lambda: _no_wait(trial, i), i


def _set(c: Columns, base: int, offset: int, value: int) -> int:
    """Change one number of a record; returns what stood there."""
    at = c.m[base] + offset
    before, c.m[at] = c.m[at], value
    return int(before)


def _row(trial: Trial, kind: str, number: int) -> int:
    """Where a row of the tables begins in ``t``, put there now."""
    begin, row = trial.spare, trial.model.shape.tables.rows[kind][number]
    trial.spare += len(row)
    trial.c.t[begin : trial.spare] = row if trial.search.is_compiled else row.tolist()
    return begin


def _back(changed: list[tuple[int, int, int]], trial: Trial, spare: int) -> Callable[[], None]:
    def undo() -> None:
        trial.spare = spare
        for base, offset, value in reversed(changed):
            _set(trial.c, base, offset, value)

    return undo


def _drying(trial: Trial, i: int, factors: dict[str, float], confidence: float) -> Callable[[], None]:
    """Other drying times for panel i: of some layers by a factor, of all at another confidence."""
    model, c, spare = trial.model, trial.c, trial.spare
    problem = replace(model.problem, confidence=confidence)
    panel = model.panels[i]
    own = model.shape.tables.of(panel)
    of: dict[str, Sitting] = {s.id: _faster(s, factors.get(s.id, 1.0)) for s in panel.sittings}
    changed: list[tuple[int, int, int]] = []
    for s in c.sittings_of(i):
        sitting = of[model.sittings[s].id]
        for j, link in _links_to(trial, s):
            lower = tables.lower_limit(problem, link, of[link.before])
            number = own.lo(lower)
            offset = j * LINK + LINK_LO
            changed.append((LINKS, offset, _set(c, LINKS, offset, _row(trial, "lo", number))))
        if sitting.id in factors and sitting.rack_d is not None and model.problem.rack_places is not None:
            number = own.rack(sitting.rack_d)
            offset = s * SITTING + RACK_ROW
            changed.append((SITTINGS, offset, _set(c, SITTINGS, offset, _row(trial, "rack", number))))
    if confidence != model.problem.confidence:
        changed.append(_finish_row(trial, i, panel.final_wait.at(confidence), panel.handling_d))
    return _back(changed, trial, spare)


def _faster(sitting: Sitting, factor: float) -> Sitting:
    if factor == 1.0 or sitting.drying is None:
        return sitting
    rack = None if sitting.rack_d is None else sitting.rack_d * factor
    return replace(sitting, drying=Spread(sitting.drying.p50_d * factor, sitting.drying.p90_d * factor), rack_d=rack)


def _links_to(trial: Trial, s: int) -> Iterator[tuple[int, Link]]:
    shape = trial.model.shape
    for n, (link, _) in enumerate(shape.links[s]):
        yield trial.c.sitting(s, LINK_BEGIN) + n, link


def _finish_row(trial: Trial, i: int, wait_d: float, handling_d: float) -> tuple[int, int, int]:
    number = trial.model.shape.tables.of(trial.model.panels[i]).finish(wait_d, handling_d)
    offset = i * PANEL + FINISH_ROW
    return PANELS, offset, _set(trial.c, PANELS, offset, _row(trial, "finish", number))


def _no_wait(trial: Trial, i: int) -> Callable[[], None]:
    spare = trial.spare
    return _back([_finish_row(trial, i, 0.0, trial.model.panels[i].handling_d)], trial, spare)


def _open(trial: Trial, windows: list[int]) -> Callable[[], None]:
    changed = []
    for b in windows:
        changed.append((CAP, b, _set(trial.c, CAP, b, trial.model.windows[b].minutes)))
    return _back(changed, trial, trial.spare)
