"""Why a sitting is on its day, and how far it may slip. Works on a plan that stands, one sitting lifted at a time."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from server.planning.schedule import planner
from server.planning.schedule.calendar import MINUTES_PER_DAY
from server.planning.schedule.columns import (
    AFTER,
    AT,
    BEFORE,
    DUE,
    EASELS,
    FAR,
    FINISH_ROW,
    HEAD,
    INTO,
    IS_LAST,
    KIND,
    LINK,
    LINK_BEGIN,
    LINK_END,
    LINK_HI,
    LINK_LO,
    LINKS,
    LIST_BEGIN,
    LIST_END,
    LIST_FIRST,
    LO,
    LOCKED,
    MINUTES,
    N_WINDOWS,
    NEXT,
    NOWHERE,
    OF_PANEL,
    OVERFULL,
    PALETTE,
    SET_UP_MIN,
    SLOT_BEGIN,
    SLOT_END,
    SLOTS,
    Columns,
)
from server.planning.schedule.kernel import add, first_use, is_linked, pays_mixing, price_at, take
from server.planning.schedule.model import Model
from server.planning.schedule.options import Variants, options
from server.planning.schedule.plan import Binding, PlacedSitting, Plan
from server.planning.schedule.planner import Bench

LOOKED_BACK, LOOKED_AHEAD = 40, 80
A_DAY = timedelta(days=1)


@dataclass(slots=True)
class Reader:
    """A plan in plain columns, with the links that lead on from each sitting."""

    model: Model
    c: Columns
    onward: list[list[int]]

    @classmethod
    def of(cls, bench: Bench) -> "Reader":
        c = bench.desk.c.plain() if bench.desk.search.is_compiled else bench.desk.c
        onward: list[list[int]] = [[] for _ in bench.model.sittings]
        for s in range(len(bench.model.sittings)):
            for j in range(c.sitting(s, LINK_BEGIN), c.sitting(s, LINK_END)):
                onward[c.m[c.m[LINKS] + j * LINK + BEFORE]].append(j)
        return cls(bench.model, c, onward)

    def link(self, j: int, field: int) -> int:
        return int(self.c.m[self.c.m[LINKS] + j * LINK + field])

    def at(self, s: int) -> int:
        return int(self.c.m[self.c.m[AT] + s])

    def name(self, s: int) -> str:
        return self.model.sittings[s].id

    def start(self, b: int) -> datetime:
        return self.model.zone.instant(self.model.windows[b].start_min)


def explained(bench: Bench, *, with_options: bool = True, variants: Variants | None = None) -> Plan:
    """The plan on the desk with every sitting's reason and leeway, and the options of late panels.

    ``variants``: other ways to make a panel, which are tried for it."""
    plan = planner.answer(bench)
    reader = Reader.of(bench)
    number = bench.model.shape.number
    sittings = tuple(_told(reader, number[placed.id], placed) for placed in plan.sittings)
    panels = plan.panels
    if with_options and any(panel.late_d for panel in panels):
        found = options(bench, {p.id: p.finish_on for p in panels if p.late_d and p.finish_on}, variants)
        panels = tuple(replace(panel, options=found.get(panel.id, ())) for panel in panels)
    return replace(plan, sittings=sittings, panels=panels)


def _told(reader: Reader, s: int, placed: PlacedSitting) -> PlacedSitting:
    c, b = reader.c, reader.at(s)
    if c.sitting(s, LOCKED):
        text = "pinned to this time" if _is_pinned(reader.model, placed.id) else "stands today, and today stays"
        return replace(placed, binding=Binding("pinned", None, text), may_slip_to=placed.start_at)
    crowded = c.m[OVERFULL]
    take(c, s)
    here = price_at(c, s, b)
    binding = _binding(reader, s, b, here)
    last = b if c.m[OVERFULL] > crowded else _last_window(reader, s, b)
    slip = placed.start_at
    if last != b:
        mixing = c.m[SET_UP_MIN] if price_mixes(c, s, last) else 0
        slip = reader.start(last) + timedelta(minutes=mixing)
    add(c, s, b)
    return replace(placed, binding=binding, may_slip_to=max(slip, placed.start_at))


def _is_pinned(model: Model, sitting: str) -> bool:
    return any(p.sitting == sitting and p.pinned for p in model.problem.previous)


def price_mixes(c: Columns, s: int, b: int) -> bool:
    """Whether s would have its palette mixed in window b."""
    palette = c.sitting(s, PALETTE)
    if palette == NOWHERE:
        return False
    use = first_use(c, b, palette) if palette >= 0 else NOWHERE
    return use == NOWHERE or use > b


def _leads_on(reader: Reader, s: int, b: int) -> bool:
    """Whether all that follows s can stay when s is in window b."""
    for j in reader.onward[s]:
        after = next(t for t in _followers(reader, j))
        stands = reader.at(after)
        if stands == NOWHERE:
            continue
        lo = reader.c.t[reader.link(j, LINK_LO) + b]
        if lo > stands and not (reader.link(j, KIND) == INTO and b == stands):
            return False
        if reader.link(j, KIND) != AFTER and reader.c.t[reader.link(j, LINK_HI) + b] < stands:
            return False
    return True


def _followers(reader: Reader, j: int) -> list[int]:
    before = reader.link(j, BEFORE)
    panel = reader.model.panels[reader.model.panel_of[before]]
    mine = [reader.model.shape.number[s.id] for s in panel.sittings if s.id in reader.model.shape.number]
    return [t for t in mine if reader.c.sitting(t, LINK_BEGIN) <= j < reader.c.sitting(t, LINK_END)]


def _last_window(reader: Reader, s: int, b: int) -> int:
    """The last window that s, which is out, may go to while all else stays, nothing gets late and no palette is mixed
    more. What a plan in use charges for another day is no matter here: slipping is what happens, not what is chosen."""
    c, i = reader.c, reader.c.sitting(s, OF_PANEL)
    is_last = bool(c.sitting(s, IS_LAST))
    row = c.panel(i, FINISH_ROW)
    latest_finish = max(c.t[row + b], c.panel(i, DUE) if c.panel(i, DUE) < c.t[row + b] + 3650 else 0)
    found, mixes = b, pays_mixing(c, s, b)
    first = c.sitting(s, LIST_BEGIN) + c.t[c.sitting(s, LIST_FIRST) + b + 1]
    for at in range(first, min(first + LOOKED_AHEAD, c.sitting(s, LIST_END))):
        w = c.t[at]
        if not is_linked(c, s, w) or (is_last and c.t[row + w] > latest_finish) or not _leads_on(reader, s, w):
            break
        if price_at(c, s, w) < FAR and (mixes or not pays_mixing(c, s, w)):
            found = w
    return found


def _binding(reader: Reader, s: int, b: int, here: float) -> Binding:
    """What keeps s from an earlier window than b. s is lifted out of the plan."""
    c = reader.c
    lowest, by = c.sitting(s, LO), NOWHERE
    for j in range(c.sitting(s, LINK_BEGIN), c.sitting(s, LINK_END)):
        before = reader.at(reader.link(j, BEFORE))
        lo = c.t[reader.link(j, LINK_LO) + before]
        if reader.link(j, KIND) == INTO:
            lo = min(lo, before)
        if lo >= lowest and lo > 0:
            lowest, by = lo, j
    first = c.sitting(s, LIST_BEGIN) + c.t[c.sitting(s, LIST_FIRST) + min(lowest, c.m[N_WINDOWS])]
    end = c.sitting(s, LIST_BEGIN) + c.t[c.sitting(s, LIST_FIRST) + b]
    earlier = [c.t[at] for at in range(max(first, end - LOOKED_BACK), end)]
    free = [w for w in earlier if price_at(c, s, w) < FAR]
    if free:
        return _could_be_earlier(reader, s, b, here, free)
    if earlier:
        return _blocked(reader, s, earlier)
    return _waits(reader, s, b, by)


def _could_be_earlier(reader: Reader, s: int, b: int, here: float, free: list[int]) -> Binding:
    c = reader.c
    linked = [w for w in free if _leads_on(reader, s, w)]
    if not linked:
        return Binding("still_wet", None, f"any sooner, and {_next_names(reader, s)} would come too late for its paint")
    if all(price_at(c, s, w) > here for w in linked):
        old = [p for p in reader.model.problem.previous if p.sitting == reader.name(s)]
        palette = reader.model.sittings[s].palette
        if palette is not None and not price_mixes(c, s, b):
            return Binding("palette", palette, f"shares the palette {palette} with other sittings of the day")
        if old:
            return Binding("kept", None, "stays on the day it stood")
    when = _when(reader.start(linked[0]))
    return Binding("free", None, f"could be painted from {when}; the panel would not be ready sooner for it")


def _next_names(reader: Reader, s: int) -> str:
    return ", ".join(reader.name(t) for j in reader.onward[s] for t in _followers(reader, j))


def _waits(reader: Reader, s: int, b: int, j: int) -> Binding:
    """Nothing but its own earliest day keeps s: drying, release, or that nobody works before."""
    panel = reader.model.panels[reader.model.panel_of[s]]
    zone, clock = reader.model.zone, reader.model.shape.tables.of(panel).clock
    if j == NOWHERE:
        below = [k.before for k in panel.links if k.after == reader.name(s) and k.before in reader.model.shape.done]
        if below:
            return Binding("drying", below[-1], f"as soon as {below[-1]} is ready")
        if panel.release_on is not None and panel.release_on > reader.model.problem.today:
            return Binding("released", None, f"the panel is there from {_day(panel.release_on)}")
        return Binding("released", None, "the first working time there is")
    before = reader.link(j, BEFORE)
    name = reader.name(before)
    link = next(k for k in panel.links if k.before == name and k.after == reader.name(s))
    if link.kind.value in {"wet_in_wet", "split"}:
        return Binding("follows", name, f"straight after {name}")
    wait = reader.model.sittings[before].drying
    days = wait.at(reader.model.problem.confidence) if wait and link.kind.value == "dry" else link.after_d
    end = float(reader.model.windows[reader.at(before)].end_min)
    ready, start = zone.instant(float(clock.after(np.array([end]), days)[0])), reader.start(b)
    rested = zone.instant(end + link.rest_d * MINUTES_PER_DAY)
    if rested > ready:
        return Binding("rule", name, f"a rule asks to wait over {name} until {_day(rested)}")
    # Of drying over days no more than the day is known.
    word, by = ("ready", _day(ready)) if link.kind.value == "dry" else ("tacky", _when(ready))
    if start - ready >= A_DAY:
        return Binding("closed", name, f"{name} is {word} by {by}; nobody works until {_when(start)}")
    return Binding("drying", name, f"as soon as {name} is {word}, by {by}")


def _blocked(reader: Reader, s: int, earlier: list[int]) -> Binding:
    """All windows before are taken: by what, in the last of them and most of the others."""
    c = reader.c
    kinds = [_block(c, s, w) for w in earlier]
    kind = max(set(kinds), key=lambda k: (kinds.count(k), k == kinds[-1]))
    last = max(w for w, own in zip(earlier, kinds, strict=True) if own == kind)
    count = len(earlier)
    times = "the working time before is" if count == 1 else f"the {count} working times before are"
    if kind == "painter":
        names = _standing_in(reader, last)
        painter = reader.model.problem.painters[reader.model.windows[last].painter].id
        return Binding("painter", painter, f"{times} full, the last with {', '.join(names[:4]) or 'too little time'}")
    if kind == "easels":
        return Binding("easels", None, f"{times} without a free easel")
    return Binding("rack", None, f"{times} too early: the rack is full until places come free")


def _block(c: Columns, s: int, w: int) -> str:
    need = c.sitting(s, MINUTES) + (c.m[SET_UP_MIN] if price_mixes(c, s, w) else 0)
    if c.minutes_left(w) < need:
        return "painter"
    if c.m[EASELS] >= 0:
        slots = range(c.window(w, SLOT_BEGIN), c.window(w, SLOT_END))
        if any(c.m[c.m[SLOTS] + slot] >= c.m[EASELS] for slot in slots):
            return "easels"
    return "rack"


def _standing_in(reader: Reader, b: int) -> list[str]:
    """Names of the sittings in a window, in the order of the problem: names themselves may be made by chance."""
    found, s = [], reader.c.window(b, HEAD)
    while s != NOWHERE:
        found.append(s)
        s = reader.c.sitting(s, NEXT)
    return [reader.name(s) for s in sorted(found)]


def _when(at: datetime) -> str:
    return f"{_day(at)}, {at:%H:%M}"


def _day(at: date) -> str:
    return f"{at:%A} {at.day} {at:%B %Y}"
