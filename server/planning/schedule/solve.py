"""From columns to a first plan: greedy, or where things stood before. And what a search may spend from there."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from time import monotonic

from server.planning.schedule.columns import (
    AFTER,
    AT,
    BEFORE,
    BEST,
    BEST_AT,
    COSTS,
    DUE,
    EARLIEST,
    FINISH_LEAST,
    FINISH_ROW,
    FLOOR,
    FLOW_PRICE,
    FOCUS,
    IS_LAST,
    KIND,
    LINK,
    LINK_BEGIN,
    LINK_END,
    LINKS,
    LO,
    LOCKED,
    LOOK,
    MOVE_PRICE,
    N_FOCUS,
    N_ORDER,
    N_SITTINGS,
    NOWHERE,
    ORDER,
    PANEL,
    PANELS,
    SEED,
    SET_UP_PRICE,
    SITTING,
    SITTINGS,
    STAND,
    TARDY_PRICE,
    WEIGHTS,
    WIDTH,
    Arrays,
    Columns,
)
from server.planning.schedule.compiled import Search
from server.planning.schedule.kernel import add, recount, total
from server.planning.schedule.model import Model, may_have_had
from server.planning.schedule.problem import Previous

WIDE, NARROW, ALONE = 64, 16, 8


@dataclass(slots=True)
class Desk:
    """A plan being worked on: the columns in the form the search wants, and the search."""

    model: Model
    search: Search
    c: Columns

    def put_in(self, i: int, width: int) -> bool:
        """Put panel i in; where the places kept lead nowhere, behind everything else."""
        m = self.c.m
        m[WIDTH] = m[LOOK] = width
        if self.search.put_in(self.c, i):
            return True
        m[FLOOR] = min(max(self.c.at) + 1, len(self.model.windows))
        done = self.search.put_in(self.c, i)
        m[FLOOR] = 0
        return bool(done)

    def window_of(self, s: int) -> int:
        return int(self.c.m[self.c.m[AT] + s])

    def take_out(self, i: int) -> None:
        for s in self.c.sittings_of(i):
            if self.window_of(s) != NOWHERE and not self.c.sitting(s, LOCKED):
                self.search.take(self.c, s)
        self.search.recount(self.c, i)

    def total(self) -> float:
        return float(total(self.c))

    def keep_best(self) -> None:
        """Note the plan as it stands as the best."""
        m, count = self.c.m, self.c.m[N_SITTINGS]
        m[m[BEST_AT] : m[BEST_AT] + count] = m[m[AT] : m[AT] + count]
        self.c.f[BEST] = self.total()

    def restore(self, at: Sequence[int]) -> None:
        """Make the plan be ``at``, a window for each sitting."""
        m, count = self.c.m, self.c.m[N_SITTINGS]
        m[m[STAND] : m[STAND] + count] = at
        self.search.stand(self.c)

    def take_over(self, other: "Desk") -> None:
        """Note the best plan of another desk as the best, where it is better."""
        if other.c.f[BEST] < self.c.f[BEST]:
            m, theirs, count = self.c.m, other.c.m, self.c.m[N_SITTINGS]
            m[m[BEST_AT] : m[BEST_AT] + count] = theirs[theirs[BEST_AT] : theirs[BEST_AT] + count]
            self.c.f[BEST] = other.c.f[BEST]

    @property
    def order(self) -> list[int]:
        """The panels in the order in which they were put in, as `orders` keeps it."""
        m = self.c.m
        return [int(i) for i in m[m[ORDER] : m[ORDER] + m[N_ORDER]]]

    def set_order(self, order: Sequence[int]) -> None:
        m = self.c.m
        m[N_ORDER] = len(order)
        m[m[ORDER] : m[ORDER] + len(order)] = order


@dataclass(frozen=True, slots=True)
class Budget:
    """``moves`` bounds the search by itself; otherwise ``seconds`` of ``clock``. ``seed`` of the search's numbers.

    ``cold`` is the temperature it ends with, in the objective's own unit. ``threads`` search at once where that helps.
    """

    seed: int = 1
    seconds: float = 1.0
    moves: int | None = None
    clock: Callable[[], float] = monotonic
    cold: float = 2.0
    threads: int = 1


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a search is: ``share`` of its budget, ``moves`` tried, and the best objective so far."""

    share: float
    moves: int
    best: float


def desk(model: Model, search: Search, seed: int) -> Desk:
    """A desk with the pinned sittings in place and each panel's earliest day worked out."""
    columns = model.shape.columns(seed)
    made = Desk(model, search, columns if search.is_compiled else columns.plain())
    _earliest(made)
    for s, b in model.pins.items():
        add(made.c, s, b)
    for i in range(len(model.panels)):
        recount(made.c, i)
    return made


def twin(made: Desk, number: int) -> Desk:
    """A desk on which everything stands as on this one, whose search draws other numbers."""
    m = made.c.m.copy()
    m[SEED] = (int(m[SEED]) + number * 1_000_003) % 2_147_483_646 + 1
    return Desk(made.model, made.search, Arrays(m, made.c.f.copy(), made.c.t))


def _earliest(made: Desk) -> None:
    """The day each panel could be delivered had it the studio to itself; NOWHERE where it cannot be placed at all."""
    c, f = made.c, made.c.f
    prices = f[SET_UP_PRICE], f[MOVE_PRICE], f[TARDY_PRICE], f[FLOW_PRICE]
    f[SET_UP_PRICE], f[MOVE_PRICE], f[TARDY_PRICE], f[FLOW_PRICE] = 0.0, 0.0, 0.0, 1.0
    for i in range(len(made.model.panels)):
        mine = c.sittings_of(i)
        for s in mine:
            if s in made.model.pins:
                add(c, s, made.model.pins[s])
        c.m[WIDTH] = c.m[LOOK] = ALONE if _only_waits(c, mine) else WIDE
        c.m[c.m[PANELS] + i * PANEL + EARLIEST] = _earliest_of(made, i)
        for s in mine:
            if made.window_of(s) != NOWHERE:
                made.search.take(c, s)
        f[c.m[COSTS] + i] = 0.0
    f[SET_UP_PRICE], f[MOVE_PRICE], f[TARDY_PRICE], f[FLOW_PRICE] = prices


def _earliest_of(made: Desk, i: int) -> int:
    """The soonest day panel i, put in by itself, could be delivered; NOWHERE where it cannot be placed.

    Layers of two supports that are joined later may want the same window, and the search gives it to the first of
    them. Whether it had better be the other is found by having each of them come a window later.
    """
    c = made.c
    if not made.search.put_in(c, i):
        return NOWHERE
    soonest, waiting = finish_of(c, i), _beside_another(c, i)
    raised: dict[int, int] = {}
    while waiting:
        s = waiting.pop()
        own = c.m[SITTINGS] + s * SITTING + LO
        low, at = int(c.m[own]), made.window_of(s)
        made.take_out(i)
        c.m[own] = at + 1
        if made.search.put_in(c, i) and finish_of(c, i) < soonest:
            raised.setdefault(own, low)
            soonest, waiting = finish_of(c, i), _beside_another(c, i)
            continue
        made.take_out(i)
        c.m[own] = low
        made.search.put_in(c, i)
    for own, low in raised.items():
        c.m[own] = low
    return soonest


def _beside_another(c: Columns, i: int) -> list[int]:
    """The sittings of panel i that neither follow nor are followed by all the others: those below a joint."""
    mine = c.sittings_of(i)
    follows = {s: _followed_by(c, s) for s in mine}
    if all(s - 1 in follows[s] for s in mine[1:]):
        return []  # one after the other
    below: dict[int, set[int]] = {}
    for s, under in follows.items():
        below[s] = set(under).union(*(below[one] for one in under))
    free = [s for s in mine if not c.sitting(s, LOCKED)]
    return [s for s in free if len(below[s]) + sum(s in one for one in below.values()) < len(mine) - 1]


def _followed_by(c: Columns, s: int) -> list[int]:
    """The sittings that sitting s follows."""
    begin, end = c.sitting(s, LINK_BEGIN), c.sitting(s, LINK_END)
    return [int(c.m[c.m[LINKS] + j * LINK + BEFORE]) for j in range(begin, end)]


def _only_waits(c: Columns, mine: range) -> bool:
    """Whether no sitting of the panel has a limit that it may come too late for."""
    if not mine:
        return True
    links = range(c.sitting(mine.start, LINK_BEGIN), c.sitting(mine.stop - 1, LINK_END))
    return all(c.m[c.m[LINKS] + j * LINK + KIND] == AFTER for j in links)


def finish_of(c: Columns, i: int) -> int:
    """The day panel i, wholly placed, is deliverable."""
    ends = [s for s in c.sittings_of(i) if c.sitting(s, IS_LAST)]
    days = [int(c.t[c.panel(i, FINISH_ROW) + c.m[c.m[AT] + s]]) for s in ends]
    return max([c.panel(i, FINISH_LEAST), *days])


def orders_of_urgency(made: Desk) -> list[list[int]]:
    """The panels that can be placed, in a few orders: least time to spare for its weight, soonest due, weightiest."""
    c = made.c
    wanted = [i for i in range(len(made.model.panels)) if c.sittings_of(i) and c.panel(i, EARLIEST) != NOWHERE]
    due = {i: c.panel(i, DUE) for i in wanted}
    slack = {i: due[i] - c.panel(i, EARLIEST) for i in wanted}
    weight = {i: float(c.f[c.m[WEIGHTS] + i]) for i in wanted}
    keys: list[Callable[[int], tuple[float, ...]]] = [
        lambda i: (slack[i] / max(weight[i], 0.1) if slack[i] > 0 else slack[i] * weight[i], i),
        lambda i: (due[i], -weight[i]),
        lambda i: (-weight[i], due[i]),
    ]
    return [sorted(wanted, key=key) for key in keys]


def put_in_order(made: Desk, order: Sequence[int]) -> list[int]:
    """Put panels in anew, one after the other. Returns those that found no place."""
    for i in order:
        made.take_out(i)
    failed = [i for i in order if not made.put_in(i, NARROW)]
    for i in order:
        made.search.recount(made.c, i)
    return failed


def put_in_best_order(made: Desk) -> list[int]:
    """Put all panels in anew by the best of the orders of urgency, and note it. Returns those that found no place."""
    came: list[tuple[int, float, int, list[int], list[int], list[int]]] = []
    for n, order in enumerate(orders_of_urgency(made)):
        failed = put_in_order(made, order)
        came.append((len(failed), made.total(), n, made.c.at, order, failed))
    _, _, _, at, order, failed = min(came)
    made.restore(at)
    made.set_order(order)
    return failed


def greedy(made: Desk) -> list[int]:
    """The first plan where none is in use. Returns the panels that found no place."""
    failed = put_in_best_order(made)
    made.keep_best()
    return failed


def start(made: Desk) -> list[int]:
    """The first plan: where things stood before as far as that holds, the rest by the greedy way. Returns the panels
    that found no place."""
    stood = place_previous(made)
    if not stood:
        return greedy(made)
    failed = _put_in_rest(made)
    if failed:
        # What must be soon, before its paint sets, goes first; of the others stays what still can.
        for i in range(len(made.model.panels)):
            made.take_out(i)
        first = [i for i in failed if made.put_in(i, WIDE)]
        place_previous(made, but_for=frozenset(first))
        failed = _put_in_rest(made)
    for i in range(len(made.model.panels)):
        made.search.recount(made.c, i)
    made.keep_best()
    return failed


def _put_in_rest(made: Desk) -> list[int]:
    """Put in every panel that is not wholly placed, the soonest due first. Returns those that found no place."""
    c = made.c
    left = [i for i in range(len(made.model.panels)) if any(made.window_of(s) == NOWHERE for s in c.sittings_of(i))]
    for n, i in enumerate(left):
        c.m[c.m[FOCUS] + n] = i
    c.m[N_FOCUS] = len(left)
    return [i for i in sorted(left, key=lambda i: (c.panel(i, DUE), i)) if not made.put_in(i, NARROW)]


def place_previous(made: Desk, but_for: frozenset[int] = frozenset()) -> int:
    """Put sittings where they stood in the plan before, where that still holds, but for those of some panels; returns
    how many stand there now."""
    model = made.model
    before = {p.sitting: p for p in model.problem.previous if not p.done}
    starts: dict[tuple[int, int], list[int]] = {}
    for b, w in enumerate(model.windows):
        starts.setdefault((w.painter, w.day), []).append(b)
    stood = [
        s
        for s, sitting in enumerate(model.sittings)
        if sitting.id in before and made.window_of(s) == NOWHERE and model.panel_of[s] not in but_for
    ]
    everyone = len(model.problem.painters)

    def turn(s: int) -> tuple[int, bool, datetime, int]:
        # By time: a palette is then mixed where it was, and what follows finds what it follows. Where nobody knows in
        # whose hand a sitting was, those that only one may paint go first within their day.
        one = before[model.sittings[s].id]
        hands = 1 if one.painter is not None else len(model.sittings[s].painters) or everyone
        return model.zone.day_of(one.start_at), hands > 1, one.start_at, s

    count, waiting = 0, sorted(stood, key=turn)
    while waiting:
        left = [s for s in waiting if not _stands_again(made, s, before[model.sittings[s].id], starts)]
        count += len(waiting) - len(left)
        # What came too soon for its palette or for the layer below may find them there now.
        waiting = left if len(left) < len(waiting) else []
    return count


def _stands_again(made: Desk, s: int, one: Previous, starts: Mapping[tuple[int, int], list[int]]) -> bool:
    """Put a sitting where it stood, if it still fits there."""
    model = made.model
    minute, day = model.zone.minute_of(one.start_at), model.zone.day_of(one.start_at)
    for painter, own in enumerate(model.problem.painters):
        if may_have_had(one, own.id, model.sittings[s]):
            for b in starts.get((painter, day), ()):
                if model.windows[b].start_min <= minute < model.windows[b].end_min and made.search.fits(made.c, s, b):
                    made.search.add(made.c, s, b)
                    return True
    return False
