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
    FINISH_LEAST,
    FINISH_ROW,
    HEAD,
    INTO,
    IS_LAST,
    KIND,
    LATEST,
    LINK,
    LINK_BEGIN,
    LINK_END,
    LINK_HI,
    LINK_LO,
    LINKS,
    LIST_BEGIN,
    LIST_FIRST,
    LOOKED_TO,
    MINUTES,
    MOST_OVERFULL,
    N_SEEN,
    NEXT,
    NO_LIMIT,
    NOWHERE,
    OF_PANEL,
    OVERFULL,
    PALETTE,
    SEEN,
    SEEN_STATE,
    SET_UP_MIN,
    Arrays,
    Columns,
)
from server.planning.schedule.compiled import Search
from server.planning.schedule.kernel import first_use, price_alone
from server.planning.schedule.model import Model
from server.planning.schedule.planner import Bench

# The states of a window that `looking` tells by numbers, as kinds of a reason.
STATES = ("free", "unready", "painter", "short", "easels", "rack", "still_wet", "overlaps", "palette")
FREE, UNREADY, PAINTER, SHORT, NO_EASEL, NO_RACK, TOO_EARLY, TOO_LATE, UNMIXED = STATES


@dataclass(slots=True)
class Reader:
    """A plan, with the links that lead on from each sitting, each with the sitting it leads to."""

    model: Model
    search: Search
    c: Columns
    onward: list[list[tuple[int, int]]]
    wanted: dict[str, float]

    @classmethod
    def of(cls, bench: Bench) -> "Reader":
        c, search = bench.desk.c, bench.desk.search
        c = Arrays(c.m.copy(), c.f, c.t) if search.is_compiled else c
        onward: list[list[tuple[int, int]]] = [[] for _ in bench.model.sittings]
        for s in range(len(bench.model.sittings)):
            for j in range(c.sitting(s, LINK_BEGIN), c.sitting(s, LINK_END)):
                onward[c.m[c.m[LINKS] + j * LINK + BEFORE]].append((j, s))
        return cls(bench.model, search, c, onward, assemble.pinned_minutes(bench.model))

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
    """A sitting lifted out of window ``b``; ``here``: what it costs there by itself."""

    reader: Reader
    s: int
    b: int
    here: float

    @classmethod
    def out_of(cls, reader: Reader, s: int) -> "Lifted":
        c, b = reader.c, reader.at(s)
        crowded = c.m[OVERFULL]
        reader.search.take(c, s)
        # Without it something of that day may have no time to mix its palette.
        c.m[MOST_OVERFULL] = crowded if c.m[OVERFULL] > crowded else NO_LIMIT
        return cls(reader, s, b, price_alone(c, s, b))

    def put_back(self) -> None:
        self.reader.search.add(self.reader.c, self.s, self.b)

    def seen(self, last: int, first: int) -> tuple[list[tuple[int, str]], bool]:
        """The windows that it is ready for, from the position ``last`` of its list back to ``first``, each with what it
        would do to it; whether these are all."""
        c, m = self.reader.c, self.reader.c.m
        m[LOOKED_TO] = first
        is_whole = self.reader.search.look_back(c, self.s, last)
        windows = m[m[SEEN] : m[SEEN] + m[N_SEEN]]
        states = m[m[SEEN_STATE] : m[SEEN_STATE] + m[N_SEEN]]
        return [(int(w), STATES[state]) for w, state in zip(windows, states, strict=True)], bool(is_whole)

    def last_free(self, last: int, first: int, latest: int) -> int:
        """The last position of its list, from ``last`` back to ``first``, whose window it may go to and by which its
        panel is deliverable by day ``latest``; NOWHERE where there is none."""
        c = self.reader.c
        c.m[LOOKED_TO], c.m[LATEST] = first, latest
        return int(self.reader.search.last_free(c, self.s, last))


def when(at: datetime) -> str:
    return f"{day_of(at)}, {at:%H:%M}"


def day_of(at: date) -> str:
    return f"{at:%A} {at.day} {at:%B %Y}"
