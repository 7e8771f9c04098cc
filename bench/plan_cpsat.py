"""The same question put to CP-SAT, a general solver: the oracle on small instances, and the measure on large ones.

For each sitting and window y says "in this window or later"; minimum lags are then implications of two literals. A
palette is mixed in one window of its first use or before on that day, which is a little looser than our own rule.
"""

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from server.planning.schedule import columns as col
from server.planning.schedule.columns import NOWHERE, Columns
from server.planning.schedule.kernel import delivery_price, finish_at
from server.planning.schedule.model import Model

INTO = col.INTO


@dataclass(frozen=True, slots=True)
class Found:
    """``cost`` None: no plan within the time. ``at`` the window of each sitting."""

    cost: float | None
    bound: float
    is_best: bool
    at: tuple[int, ...]


@dataclass(slots=True)
class _Put:
    cp: Any
    c: Columns
    windows: int
    y: list[list[Any]]  # sitting, window: in this window or later; one more at the end, which is false
    x: list[dict[int, Any]]


def solve(model: Model, c: Columns, windows: int, seconds: float, workers: int = 2) -> Found:
    """Ask CP-SAT for the best plan within the first ``windows``. ``c`` are plain columns with nothing placed."""
    from ortools.sat.python import cp_model

    cp = cp_model.CpModel()
    put = _Put(cp, c, windows, [], [])
    for s in range(len(model.sittings)):
        _places(put, s)
    for s in range(len(model.sittings)):
        _lags(put, s)
    cost = _mixing(put, model) + _deliveries(put, model)
    _shared_room(put, model)
    cp.minimize(sum(cost))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = workers
    status = solver.solve(cp)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Found(None, solver.best_objective_bound, False, ())
    at = tuple(next(b for b, literal in row.items() if solver.value(literal)) for row in put.x)
    return Found(solver.objective_value, solver.best_objective_bound, status == cp_model.OPTIMAL, at)


def _places(put: _Put, s: int) -> None:
    c, cp = put.c, put.cp
    own = range(c.sitting(s, col.LIST_BEGIN), c.sitting(s, col.LIST_END))
    low, high = c.sitting(s, col.LO), min(c.sitting(s, col.HI), put.windows - 1)
    allowed = {c.t[at] for at in own if low <= c.t[at] <= high}
    y: list[Any] = [cp.new_constant(0)] * (put.windows + 1)
    x: dict[int, Any] = {}
    for b in reversed(range(put.windows)):
        y[b] = y[b + 1]  # a window that is not for it: the same literal
        if b in allowed:
            x[b] = cp.new_bool_var("")
            y[b] = cp.new_bool_var("") if b > min(allowed) else cp.new_constant(1)
            cp.add_implication(y[b + 1], y[b])
            cp.add_implication(x[b], y[b])
            cp.add_implication(x[b], y[b + 1].negated())
            cp.add_bool_or(y[b].negated(), y[b + 1], x[b])
    cp.add_exactly_one(x.values())
    put.y.append(y)
    put.x.append(x)


def _lags(put: _Put, s: int) -> None:
    c = put.c
    for j in range(c.sitting(s, col.LINK_BEGIN), c.sitting(s, col.LINK_END)):
        link = c.m[col.LINKS] + j * col.LINK
        before, kind = c.m[link + col.BEFORE], c.m[link + col.KIND]
        for b, stands in put.x[before].items():
            lo = min(c.t[c.m[link + col.LINK_LO] + b], put.windows)
            if kind == INTO and b in put.x[s]:
                put.cp.add_bool_or(put.y[s][lo], put.x[s][b], stands.negated())
            else:
                put.cp.add_implication(stands, put.y[s][lo])
            if kind != col.AFTER:
                last = c.t[c.m[link + col.LINK_HI] + b] + 1
                if last < put.windows:
                    put.cp.add_implication(stands, put.y[s][last].negated())


def _mixing(put: _Put, model: Model) -> list[Any]:
    """Capacity with mixing; returns its price."""
    c, cp = put.c, put.cp
    set_up, price = c.m[col.SET_UP_MIN], c.f[col.SET_UP_PRICE]
    load: dict[int, list[Any]] = defaultdict(list)
    mixed: dict[tuple[int, object], dict[int, Any]] = {}
    cost: list[Any] = []
    for s, sitting in enumerate(model.sittings):
        for b, stands in put.x[s].items():
            load[b].append(stands * sitting.minutes)
            if sitting.palette is None:
                continue
            day = mixed.setdefault((c.window(b, col.PAINTER_DAY), sitting.palette), {})
            for at in range(c.window(b, col.DAY_BEGIN), c.window(b, col.DAY_END)):
                w = c.t[at]
                if w <= b and w not in day:
                    day[w] = cp.new_bool_var("")
                    load[w].append(day[w] * set_up)
                    cost.append(day[w] * price)
            cp.add_bool_or(*(day[w] for w in day if w <= b), stands.negated())
    for b, parts in load.items():
        cp.add(sum(parts) <= c.minutes_left(b))
    for palette, least in _days_apart(put, model).items():
        # Follows from the rest, but the solver's bound is poor without it.
        cp.add(sum(one for key, day in mixed.items() if key[1] == palette for one in day.values()) >= least)
    return cost


def _days_apart(put: _Put, model: Model) -> dict[str, int]:
    """On how many days at least each palette is mixed: sittings of one panel that must dry in between share none."""
    found: dict[str, int] = {}
    for i in range(len(model.panels)):
        mine = put.c.sittings_of(i)
        s = mine.stop - 1 if mine else NOWHERE
        count: dict[str, int] = {}
        lately: set[str] = set()  # palettes of the sittings above that may be of the same day
        while s != NOWHERE:
            palette = model.sittings[s].palette
            if palette is not None and palette not in lately:
                count[palette] = count.get(palette, 0) + 1
                lately.add(palette)
            s, is_apart = _below(put, s)
            if is_apart:
                lately = set()
        for palette, times in count.items():
            found[palette] = max(found.get(palette, 0), times)
    return found


def _below(put: _Put, s: int) -> tuple[int, bool]:
    """The sitting below by the first link, and whether it can never be of the same day."""
    c = put.c
    j = c.sitting(s, col.LINK_BEGIN)
    if j == c.sitting(s, col.LINK_END):
        return NOWHERE, False
    link = c.m[col.LINKS] + j * col.LINK
    low = [c.t[c.m[link + col.LINK_LO] + b] for b in range(put.windows)]
    is_apart = c.m[link + col.KIND] != INTO and all(
        lo >= put.windows or c.window(lo, col.DAY) > c.window(b, col.DAY) for b, lo in enumerate(low)
    )
    return c.m[link + col.BEFORE], is_apart


def _shared_room(put: _Put, model: Model) -> None:
    c = put.c
    slots: dict[int, list[Any]] = defaultdict(list)
    rack: dict[int, list[Any]] = defaultdict(list)
    for s in range(len(model.sittings)):
        row, size = c.sitting(s, col.RACK_ROW), c.panel(c.sitting(s, col.OF_PANEL), col.SIZE)
        for b, stands in put.x[s].items():
            for slot in range(c.window(b, col.SLOT_BEGIN), c.window(b, col.SLOT_END)):
                slots[slot].append(stands)
            if row != NOWHERE:
                for day in range(c.window(b, col.DAY), c.t[row + b]):
                    rack[day].append(stands * size)
    if c.m[col.EASELS] >= 0:
        for parts in slots.values():
            put.cp.add(sum(parts) <= c.m[col.EASELS])
    for parts in rack.values():
        put.cp.add(sum(parts) <= c.m[col.RACK_PLACES])


def _deliveries(put: _Put, model: Model) -> list[Any]:
    """Tardiness and flow, as steps of the day by the last sitting's window. Panels end in one last sitting here."""
    cost: list[Any] = []
    for i in range(len(model.panels)):
        for s in put.c.sittings_of(i):
            if put.c.sitting(s, col.IS_LAST):
                prices = [delivery_price(put.c, i, finish_at(put.c, i, b)) for b in range(put.windows)]
                cost += [prices[b] * stands for b, stands in put.x[s].items()]
    return cost
