"""A plan that stands, read with one sitting lifted out of it: what each window would do to it, and to what stays."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from server.planning.schedule import assemble
from server.planning.schedule.columns import (
    AFTER,
    AT,
    BEFORE,
    DAY_BEGIN,
    EASELS,
    FAR,
    FINISH_LEAST,
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
    LIST_FIRST,
    MINUTES,
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
from server.planning.schedule.kernel import add, first_use, is_linked, price_alone, price_at, take
from server.planning.schedule.model import Model
from server.planning.schedule.planner import Bench

# What a window would do to a sitting. `FREE` is the only one that it may go to.
FREE, UNREADY, PAINTER, SHORT, NO_EASEL, NO_RACK, TOO_EARLY, TOO_LATE, UNMIXED = (
    "free",
    "unready",  # what it follows is not ready, or too dry
    "painter",
    "short",  # even with nobody else in it
    "easels",
    "rack",
    "still_wet",  # what follows would come too late for its paint
    "overlaps",  # what follows would come before it is ready
    "palette",  # others of its day would have no time for the palette that it has mixed
)


@dataclass(slots=True)
class Reader:
    """A plan in plain columns, with the links that lead on from each sitting, each with the sitting it leads to."""

    model: Model
    c: Columns
    onward: list[list[tuple[int, int]]]
    wanted: dict[str, float]

    @classmethod
    def of(cls, bench: Bench) -> "Reader":
        c = bench.desk.c.plain() if bench.desk.search.is_compiled else bench.desk.c
        onward: list[list[tuple[int, int]]] = [[] for _ in bench.model.sittings]
        for s in range(len(bench.model.sittings)):
            for j in range(c.sitting(s, LINK_BEGIN), c.sitting(s, LINK_END)):
                onward[c.m[c.m[LINKS] + j * LINK + BEFORE]].append((j, s))
        return cls(bench.model, c, onward, assemble.pinned_minutes(bench.model))

    def link(self, j: int, field: int) -> int:
        return int(self.c.m[self.c.m[LINKS] + j * LINK + field])

    def at(self, s: int) -> int:
        return int(self.c.m[self.c.m[AT] + s])

    def name(self, s: int) -> str:
        return self.model.sittings[s].id

    def start(self, b: int) -> datetime:
        return self.model.zone.instant(self.model.windows[b].start_min)

    def position(self, s: int, b: int) -> int:
        """Where in ``t`` the windows of the painters of s begin that are not before b."""
        return int(self.c.sitting(s, LIST_BEGIN) + self.c.t[self.c.sitting(s, LIST_FIRST) + b])

    def standing_in(self, b: int) -> list[int]:
        """The sittings in a window, in the order of the problem: names themselves may be made by chance."""
        found, s = [], self.c.window(b, HEAD)
        while s != NOWHERE:
            found.append(s)
            s = self.c.sitting(s, NEXT)
        return sorted(found)

    def start_of(self, s: int, b: int) -> datetime:
        """When s, which is lifted, would begin in window b beside what stands there."""
        day = self.c.window(b, DAY_BEGIN)
        mixed: set[tuple[int, int, str]] = set()
        while self.c.t[day] != b:
            window = self.model.windows[self.c.t[day]]
            palettes = (self.model.sittings[t].palette for t in self.standing_in(self.c.t[day]))
            mixed |= {(window.painter, window.day, palette) for palette in palettes if palette is not None}
            day += 1
        timed = assemble.within(self.model, b, [*self.standing_in(b), s], mixed, self.wanted)
        return self.model.zone.instant(timed[s].start)

    def finish(self, s: int, b: int) -> int:
        """The day the panel of s is deliverable, with s in window b and all else as it stands."""
        c, i = self.c, self.c.sitting(s, OF_PANEL)
        row, days = c.panel(i, FINISH_ROW), [c.panel(i, FINISH_LEAST), c.t[c.panel(i, FINISH_ROW) + b]]
        others = (self.at(t) for t in c.sittings_of(i) if t != s and c.sitting(t, IS_LAST))
        return int(max(*days, *(c.t[row + w] for w in others if w != NOWHERE), NOWHERE))

    def needs(self, s: int, b: int) -> int:
        """The minutes that s would take in window b."""
        return self.c.sitting(s, MINUTES) + (self.c.m[SET_UP_MIN] if self.mixes(s, b) else 0)

    def mixes(self, s: int, b: int) -> bool:
        """Whether s would have its palette mixed in window b."""
        palette = self.c.sitting(s, PALETTE)
        if palette == NOWHERE:
            return False
        use = first_use(self.c, b, palette) if palette >= 0 else NOWHERE
        return use == NOWHERE or use > b

    def after(self, s: int, b: int) -> Iterator[tuple[str, int]]:
        """What follows s and cannot stay with s in window b, each with `TOO_EARLY` or `TOO_LATE` for s."""
        for j, t in self.onward[s]:
            stands = self.at(t)
            if stands == NOWHERE:
                continue
            if self.c.t[self.link(j, LINK_LO) + b] > stands and not (self.link(j, KIND) == INTO and b == stands):
                yield TOO_LATE, t
            elif self.link(j, KIND) != AFTER and self.c.t[self.link(j, LINK_HI) + b] < stands:
                yield TOO_EARLY, t


@dataclass(slots=True)
class Lifted:
    """A sitting lifted out of window ``b``. ``crowds``: something of that day would have no time to mix its palette."""

    reader: Reader
    s: int
    b: int
    crowded: int
    crowds: bool
    here: float

    @classmethod
    def out_of(cls, reader: Reader, s: int) -> "Lifted":
        c, b = reader.c, reader.at(s)
        crowded = c.m[OVERFULL]
        take(c, s)
        return cls(reader, s, b, crowded, bool(c.m[OVERFULL] > crowded), price_alone(c, s, b))

    def put_back(self) -> None:
        add(self.reader.c, self.s, self.b)

    def state(self, w: int) -> str:
        """What window w would do to it, all else as it stands."""
        reader, c, s = self.reader, self.reader.c, self.s
        if not is_linked(c, s, w):
            return UNREADY
        if price_at(c, s, w) >= FAR:
            return self._full(w)
        for fault, _ in reader.after(s, w):
            return fault
        return UNMIXED if self.crowds and not self._mixes_for_all(w) else FREE

    def _full(self, w: int) -> str:
        reader, c = self.reader, self.reader.c
        need = reader.needs(self.s, w)
        if reader.model.windows[w].minutes < need:
            return SHORT
        if c.minutes_left(w) < need:
            return PAINTER
        if c.m[EASELS] >= 0:
            slots = range(c.window(w, SLOT_BEGIN), c.window(w, SLOT_END))
            if any(c.m[c.m[SLOTS] + slot] >= c.m[EASELS] for slot in slots):
                return NO_EASEL
        return NO_RACK

    def _mixes_for_all(self, w: int) -> bool:
        add(self.reader.c, self.s, w)
        holds = bool(self.reader.c.m[OVERFULL] <= self.crowded)
        take(self.reader.c, self.s)
        return holds


def when(at: datetime) -> str:
    return f"{day_of(at)}, {at:%H:%M}"


def day_of(at: date) -> str:
    return f"{at:%A} {at.day} {at:%B %Y}"
