"""A problem's windows, sittings, links and panels as records, and its tables one after the other."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from server.planning.schedule import columns, tables
from server.planning.schedule.calendar import Window, Zone
from server.planning.schedule.columns import (
    AFTER,
    BETWEEN,
    CELLS,
    FAR,
    INTO,
    MOST_BANS,
    MOST_TOUCHED,
    NOWHERE,
    PRIVATE,
    Arrays,
    Builder,
)
from server.planning.schedule.problem import (
    FLOW_PRICE,
    TARDINESS_PRICE,
    Link,
    LinkKind,
    PanelJob,
    Problem,
    Sitting,
)
from server.planning.schedule.soonest import FAR_DAY, Days, Soonest
from server.planning.schedule.table import Table
from server.planning.schedule.tables import PanelTables, Tables

MOST_SOONEST = 4_000_000  # windows times sittings; more would fill the memory
LONG_AGO = -2  # any day before today


@dataclass(frozen=True, slots=True)
class Laid:
    """A sitting that is over: its window's start and end in minutes, its day."""

    start_min: float
    end_min: float
    day: int


def _has_limit(link: Link, before: Sitting) -> bool:
    return link.kind is LinkKind.WET_IN_WET or tables.upper_limit_d(link, before) is not None


@dataclass(frozen=True)
class Shape:
    """The pieces the columns are made of. ``rows`` are the sittings to plan of each panel, in order."""

    problem: Problem
    zone: Zone
    windows: tuple[Window, ...]
    tables: Tables
    rows: tuple[tuple[Sitting, ...], ...]
    pins: dict[int, int]
    done: dict[str, Laid]

    @cached_property
    def sittings(self) -> tuple[Sitting, ...]:
        return tuple(s for row in self.rows for s in row)

    @cached_property
    def panel_of(self) -> tuple[int, ...]:
        return tuple(i for i, row in enumerate(self.rows) for _ in row)

    @cached_property
    def number(self) -> dict[str, int]:
        return {s.id: n for n, s in enumerate(self.sittings)}

    @cached_property
    def links(self) -> list[list[tuple[Link, Sitting]]]:
        """The links that lead to each sitting. Those between sittings that the question fixed cannot be kept here."""
        into: list[list[tuple[Link, Sitting]]] = [[] for _ in self.sittings]
        for panel in self.problem.panels:
            of = {s.id: s for s in panel.sittings}
            for link in panel.links:
                before, after = self.number.get(link.before), self.number.get(link.after)
                if before is not None and after is not None and not (before in self.pins and after in self.pins):
                    into[after].append((link, of[link.before]))
        return into

    @cached_property
    def ready(self) -> list[list[int]]:
        """For each of the ``links``: the number of the row of windows by which it lets the next layer go on."""
        return [
            [self._own(s).lo(tables.lower_limit(self.problem, link, before)) for link, before in row]
            for s, row in enumerate(self.links)
        ]

    @cached_property
    def shared(self) -> dict[str, list[int]]:
        """The sittings of each palette that more than one uses."""
        used: dict[str, list[int]] = {}
        for n, sitting in enumerate(self.sittings):
            if sitting.palette is not None:
                used.setdefault(sitting.palette, []).append(n)
        return {palette: found for palette, found in used.items() if len(found) > 1}

    def may_stand(self, s: int, b: int) -> bool:
        """Whether a sitting may be in a window by its release, by what is over, and by the pins below it."""
        panel, sitting = self.problem.panels[self.panel_of[s]], self.sittings[s]
        low, high = self._bounds(panel, sitting)
        of = {one.id: one for one in panel.sittings}
        for link in (one for one in panel.links if one.after == sitting.id):
            pinned = self.pins.get(self.number.get(link.before, -1))
            if pinned is None:
                continue
            own = self.tables.of(panel)
            lo = self.tables.rows["lo"][own.lo(tables.lower_limit(self.problem, link, of[link.before]))]
            hi = self.tables.rows["hi"][own.hi(tables.upper_limit_d(link, of[link.before]))]
            into = link.kind is LinkKind.WET_IN_WET and pinned == b
            if (lo[pinned] > b and not into) or hi[pinned] < b:
                return False
        return low <= b <= high

    def columns(self, seed: int) -> Arrays:
        """A plan in which nothing stands but the rack places of what is over."""
        table, built = Table(self.tables), Builder()
        windows, count = self._window_records(table), len(self.sittings)
        longest = max((len(row) for row in self.rows), default=0) + 1
        widest = max((sum(map(len, self._links_of(i))) for i in range(len(self.rows))), default=0) + 1
        built.put(columns.WINDOWS, windows)
        built.put(columns.CAP, np.array([w.minutes for w in self.windows]))
        built.room(columns.LOAD, len(windows))
        sittings, panels = self._sitting_records(table), self._panel_records(table)
        sittings[:, columns.SOONEST_ROW] = self._soonest(table, panels)
        built.put(columns.SITTINGS, sittings)
        built.put(columns.LINKS, self._link_records(table))
        built.put(columns.PANELS, panels)
        built.room(columns.AT, count, NOWHERE)
        built.room(columns.BEST_AT, count, NOWHERE)
        built.room(columns.STAND, count, NOWHERE)
        built.room(columns.SLOTS, int(windows[:, columns.SLOT_END].max(initial=0)) + 1)
        built.put(columns.RACK, self._rack_of_done())
        built.room(columns.USED, len(windows) * max(1, len(self.shared)))
        days = int(windows[:, columns.PAINTER_DAY].max(initial=0)) + 1
        built.room(columns.DAY_USED, days * max(1, len(self.shared)))
        for name in (columns.ROW_COUNT, columns.CHOSEN):
            built.room(name, longest)
        for name in (columns.CELL_WINDOW, columns.CELL_NEED):
            built.room(name, longest * CELLS)
        for name in (columns.REACH_LO, columns.REACH_HI, columns.BACK):
            built.room(name, widest * CELLS)
        for name in columns.OF_EACH_SITTING:
            built.room(name, count)
        built.room(columns.TOUCHED, MOST_TOUCHED + 1)
        for name in columns.OF_EACH_PANEL:
            built.room(name, len(self.rows))
        for name in (columns.BANS, columns.BANNED):
            built.room(name, MOST_BANS)
        for name in (columns.SEEN, columns.SEEN_STATE):
            built.room(name, columns.LOOKED_BACK)
        self._numbers(built.header, seed)
        floats = self._floats(built.header, longest)
        return Arrays(built.joined(), floats, table.joined())

    def _numbers(self, header: np.ndarray, seed: int) -> None:
        problem = self.problem
        header[columns.N_WINDOWS] = len(self.windows)
        header[columns.N_SITTINGS] = len(self.sittings)
        header[columns.N_PANELS] = len(self.rows)
        header[columns.N_PALETTES] = max(1, len(self.shared))
        header[columns.MEET_PALETTE] = header[columns.BARRED] = NOWHERE
        header[columns.EASELS] = NOWHERE if problem.easels is None else problem.easels
        header[columns.PANEL_ONCE] = problem.panel_once
        header[columns.RACK_PLACES] = problem.rack_places or 0
        header[columns.SET_UP_MIN] = problem.set_up_min
        header[columns.MOST_MOVED] = columns.NO_LIMIT if problem.most_moved is None else problem.most_moved
        header[columns.SEED] = seed % 2147483646 + 1

    def _floats(self, header: np.ndarray, longest: int) -> np.ndarray:
        panels = len(self.rows)
        header[columns.WEIGHTS] = columns.PRICES
        header[columns.COSTS] = columns.PRICES + panels
        header[columns.CELL_COST] = columns.PRICES + 2 * panels
        found = np.zeros(columns.PRICES + 2 * panels + longest * CELLS)
        found[columns.SET_UP_PRICE] = self.problem.set_up_price
        found[columns.MOVE_PRICE] = self.problem.move_price
        found[columns.FLOW_PRICE], found[columns.TARDY_PRICE] = FLOW_PRICE, TARDINESS_PRICE
        found[columns.BEST] = found[columns.LIMIT] = FAR
        found[columns.PRICES : columns.PRICES + panels] = [panel.weight for panel in self.problem.panels]
        return found

    def _window_records(self, table: Table) -> np.ndarray:
        edges = np.unique([m for w in self.windows for m in (w.start_min, w.end_min)])
        of_day: dict[tuple[int, int], list[int]] = {}
        for b, w in enumerate(self.windows):
            of_day.setdefault((w.painter, w.day), []).append(b)
        number = {key: n for n, key in enumerate(of_day)}
        begins = {key: table.put(found) for key, found in of_day.items()}
        keys = [(w.painter, w.day) for w in self.windows]
        found = np.zeros((len(self.windows), columns.WINDOW), np.int64)
        found[:, columns.DAY] = [w.day for w in self.windows]
        found[:, columns.HEAD] = NOWHERE
        found[:, columns.PAINTER_DAY] = [number[key] for key in keys]
        found[:, columns.DAY_BEGIN] = [begins[key] for key in keys]
        found[:, columns.DAY_END] = [begins[key] + len(of_day[key]) for key in keys]
        found[:, columns.SLOT_BEGIN] = np.searchsorted(edges, [w.start_min for w in self.windows])
        found[:, columns.SLOT_END] = np.searchsorted(edges, [w.end_min for w in self.windows])
        return found

    @cached_property
    def _places(self) -> dict[str, int]:
        return {p.id: n for n, p in enumerate(self.problem.painters)}

    def _allowed(self, sitting: Sitting) -> tuple[int, ...]:
        if not sitting.painters:
            return tuple(self._places.values())
        return tuple(sorted({self._places[p] for p in sitting.painters}))

    def _lists(self, table: Table) -> dict[tuple[int, ...], tuple[int, int, int]]:
        """For each group of painters: where its list of windows begins and ends, and where the way into it does."""
        painter = np.array([w.painter for w in self.windows], dtype=np.int64)
        made = {}
        for group in dict.fromkeys(map(self._allowed, self.sittings)):
            found = np.flatnonzero(np.isin(painter, group))
            begin = table.put(found)
            made[group] = begin, begin + len(found), table.put(np.searchsorted(found, np.arange(len(painter) + 1)))
        return made

    def _sitting_records(self, table: Table) -> np.ndarray:
        lists, problem = self._lists(table), self.problem
        palettes = {p: (n, table.put(used), len(used)) for n, (p, used) in enumerate(self.shared.items())}
        old = {p.sitting: max(LONG_AGO, self.zone.day_of(p.start_at)) for p in problem.previous if not p.done}
        followed = {link.before for panel in problem.panels for link in panel.links if link.after in self.number}
        ends = np.cumsum([len(row) for row in self.links])
        bound = self._bound()
        found = np.zeros((len(self.sittings), columns.SITTING), np.int64)
        panel_of = self.panel_of
        for n, sitting in enumerate(self.sittings):
            one = found[n]
            one[columns.OF_PANEL], one[columns.MINUTES] = panel_of[n], sitting.minutes
            one[columns.LO], one[columns.HI] = self._bounds(problem.panels[panel_of[n]], sitting)
            one[columns.LIST_BEGIN], one[columns.LIST_END], one[columns.LIST_FIRST] = lists[self._allowed(sitting)]
            one[columns.PALETTE] = NOWHERE if sitting.palette is None else PRIVATE
            if sitting.palette in palettes:
                one[columns.PALETTE], begin, length = palettes[sitting.palette]
                one[columns.PALETTE_BEGIN], one[columns.PALETTE_END] = begin, begin + length
            takes_place = problem.rack_places is not None and sitting.rack_d is not None
            one[columns.RACK_ROW] = (
                table.row("rack", self._own(n).rack(sitting.rack_d or 0.0)) if takes_place else NOWHERE
            )
            day = old.get(sitting.id)
            one[columns.OLD_DAY] = NOWHERE if day is None else LONG_AGO if day < 0 else day
            one[columns.LOCKED], one[columns.IS_LAST] = n in self.pins, sitting.id not in followed
            one[columns.IS_BOUND] = sitting.id in bound
            one[columns.LINK_BEGIN], one[columns.LINK_END] = ends[n] - len(self.links[n]), ends[n]
        return found

    def _bound(self) -> set[str]:
        """The sittings that the soonest place need not serve best: what follows may come too late for a limit, or
        shares their palette and may come on the same day."""
        day, found = np.array([w.day for w in self.windows] + [FAR_DAY]), set()
        for s, row in enumerate(self.links):
            for (link, before), ready in zip(row, self.ready[s], strict=True):
                if _has_limit(link, before):
                    found.add(before.id)
                elif before.palette is not None and before.palette == self.sittings[s].palette:
                    lo = self.tables.rows["lo"][ready]
                    if (day[np.minimum(lo, len(self.windows))] == day[:-1]).any():
                        found.add(before.id)
        return found

    def _own(self, s: int) -> PanelTables:
        """The tables of the place that a sitting's panel dries in."""
        return self.tables.of(self.problem.panels[self.panel_of[s]])

    def _bounds(self, panel: PanelJob, sitting: Sitting) -> tuple[int, int]:
        """The first and last window of a sitting, by its release and by what is over already."""
        low, high = self._first_window(panel), len(self.windows) - 1
        if not self.done:
            return low, high
        starts, clock = self.tables.start, self.tables.of(panel).clock
        of = {s.id: s for s in panel.sittings}
        for link in panel.links:
            laid = self.done.get(link.before)
            if link.after != sitting.id or laid is None:
                continue
            after = tables.lower_limit(self.problem, link, of[link.before])
            ready = self.tables.of(panel).ready_min(laid.end_min, after)
            low = max(low, int(np.searchsorted(starts, ready - tables.EDGE_MIN)))
            limit = tables.upper_limit_d(link, of[link.before])
            if limit is not None:
                until = clock.after(np.array([laid.start_min]), limit)[0]
                high = min(high, np.searchsorted(starts, until + tables.EDGE_MIN, side="right") - 1)
        return int(low), int(high)

    def _first_window(self, panel: PanelJob) -> int:
        """The first window in which a panel is there."""
        found = self._first.get(panel.id)
        if found is None:
            there = tables.released_min(self.problem, self.zone, panel)
            found = min(int(np.searchsorted(self.tables.start, there - tables.EDGE_MIN)), len(self.windows))
            self._first[panel.id] = found
        return found

    @cached_property
    def _first(self) -> dict[str, int]:
        return {}

    def _links_of(self, i: int) -> list[list[tuple[Link, Sitting]]]:
        return [self.links[self.number[s.id]] for s in self.rows[i]]

    def _link_records(self, table: Table) -> np.ndarray:
        pairs = [
            (self._own(s), *pair, lo)
            for s, row in enumerate(self.links)
            for pair, lo in zip(row, self.ready[s], strict=True)
        ]
        found = np.zeros((len(pairs), columns.LINK), np.int64)
        for one, (own, link, before, lo) in zip(found, pairs, strict=True):
            limit = tables.upper_limit_d(link, before)
            one[columns.BEFORE] = self.number[link.before]
            one[columns.KIND] = (
                INTO if link.kind is LinkKind.WET_IN_WET else BETWEEN if _has_limit(link, before) else AFTER
            )
            one[columns.LINK_LO], one[columns.LINK_HI] = table.row("lo", lo), table.row("hi", own.hi(limit))
        return found

    def _panel_records(self, table: Table) -> np.ndarray:
        found = np.zeros((len(self.rows), columns.PANEL), np.int64)
        ends = np.cumsum([len(row) for row in self.rows])
        first_link = 0
        for i, (one, panel) in enumerate(zip(found, self.problem.panels, strict=True)):
            wait_d = panel.final_wait.at(self.problem.confidence)
            one[columns.BEGIN], one[columns.END] = ends[i] - len(self.rows[i]), ends[i]
            one[columns.FIRST_LINK], one[columns.SIZE] = first_link, panel.size
            one[columns.DUE] = FAR_DAY if panel.due_on is None else (panel.due_on - self.problem.today).days
            one[columns.FINISH_ROW] = table.row("finish", self.tables.of(panel).finish(wait_d, panel.handling_d))
            one[columns.FINISH_LEAST] = self._least(panel, wait_d)
            first_link += sum(map(len, self._links_of(i)))
        return found

    def _soonest(self, table: Table, panels: np.ndarray) -> list[int]:
        """Where the list of each sitting begins that has, for each window, the first day of delivery from there. Where
        that would be too much, the list of its panel's final wait, as if nothing came above it."""
        of_panel = [int(panels[i, columns.FINISH_ROW]) for i in self.panel_of]
        if len(self.windows) * len(self.sittings) > MOST_SOONEST:
            return of_panel
        found: list[int] = [0] * len(self.sittings)
        lists, days = Soonest(table, len(self.windows)), dict[int, Days]()
        for s in reversed(range(len(self.sittings))):
            soonest = days.pop(s, None)
            if soonest is None:  # nothing comes above it
                panel = self.problem.panels[self.panel_of[s]]
                wait_d = panel.final_wait.at(self.problem.confidence)
                soonest = lists.at_last(self._own(s).finish(wait_d, panel.handling_d))
            found[s] = lists.begin_of(soonest)
            for (link, _), lo in zip(self.links[s], self.ready[s], strict=True):
                below, after = self.number[link.before], soonest
                if link.kind is not LinkKind.WET_IN_WET:
                    after = lists.below(soonest, lo)
                days[below] = lists.later(days[below], after) if below in days else after
        return found

    def _least(self, panel: PanelJob, wait_d: float) -> int:
        """The day before which what is over already lets the panel not be delivered."""
        ends = [self.done[s.id].end_min for s in panel.sittings if s.id in self.done]
        if not ends:
            return LONG_AGO
        return int(self.tables.of(panel).finish_days(np.array([max(ends)]), wait_d, panel.handling_d)[0])

    def _rack_of_done(self) -> np.ndarray:
        used = np.zeros(self.tables.days + 2, dtype=np.int64)
        for panel in self.problem.panels:
            for sitting in panel.sittings:
                laid = self.done.get(sitting.id)
                if laid is not None and sitting.rack_d is not None:
                    until = self.tables.of(panel).rack_until(np.array([laid.end_min]), sitting.rack_d)[0]
                    used[max(laid.day, 0) : until] += panel.size
        return used
