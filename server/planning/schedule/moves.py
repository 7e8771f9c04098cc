"""Ruin and recreate: a move takes out a few panels, or parts of them, and puts them back one by one at least cost.

What is taken out hangs together: panels that meet in time, that share a palette, or that stand in the way of a late
one. Most moves bar the sitting they begin with from the day it stood on: put back at least cost it would mostly return
there, and nothing would have been tried (a tabu: Glover, 1986; from memory). Not where few may leave their day. A move
is kept by the rule of simulated annealing (Kirkpatrick, Gelatt and Vecchi, 1983; ruin and recreate: Schrimpf and
others, 2000; leaving windows out at random: Christiaens and Vanden Berghe, 2020). What it may cost is drawn first, so
that it is given up as soon as it cannot end within that.
"""

from math import log

from server.planning.schedule.columns import (
    AT,
    BARRED,
    BARRED_DAY,
    BEGIN,
    BEST,
    BEST_AT,
    BLINK,
    COSTS,
    DUE,
    END,
    FAR,
    FOCUS,
    HEAD,
    KEPT,
    LIMIT,
    LIST_BEGIN,
    LIST_END,
    LIST_FIRST,
    LO,
    LOCKED,
    LOOK,
    MARK,
    MEET_DAY,
    MEET_PALETTE,
    MOST_MOVED,
    MOST_TOUCHED,
    MOVED,
    N_FOCUS,
    N_PANELS,
    N_SITTINGS,
    N_TAKEN,
    N_TOUCHED,
    N_WINDOWS,
    NEXT,
    NO_LIMIT,
    NOWHERE,
    OF_PANEL,
    OVERFULL,
    PAINTER_DAY,
    PALETTE,
    PALETTE_BEGIN,
    PALETTE_END,
    PANEL,
    PANELS,
    SITTING,
    SITTINGS,
    SMALLEST,
    STAMP,
    STAND,
    TAKEN,
    TAKEN_FROM,
    TOUCHED,
    WEIGHTS,
    WIDTH,
    WINDOW,
    WINDOWS,
    Columns,
)
from server.planning.schedule.insert import put_in
from server.planning.schedule.kernel import add, draw, least_price, recount, take, total

BLINK_PER_MILLE = 30  # of windows, left out
MEETINGS_PER_CENT = 40  # of moves that begin at a sitting with a shared palette
BARRED_PER_CENT = 80  # of moves that begin at a sitting: it may not come back to the day it stood on
FURTHER = 8  # a cheaper place is looked for so many times further than places are kept


def take_part(c: Columns, i: int, begin: int, end: int) -> None:
    """Take the sittings ``begin`` to before ``end`` of panel i out, and note it."""
    m, _, _ = c
    mark = m[PANELS] + i * PANEL + MARK
    if m[mark] != m[STAMP]:
        if m[N_TOUCHED] >= MOST_TOUCHED:
            return
        m[mark] = m[STAMP]
        m[m[TOUCHED] + m[N_TOUCHED]] = i
        m[N_TOUCHED] += 1
    for s in range(begin, end):
        if m[m[AT] + s] != NOWHERE and m[m[SITTINGS] + s * SITTING + LOCKED] == 0:
            m[m[TAKEN] + m[N_TAKEN]] = s
            m[m[TAKEN_FROM] + m[N_TAKEN]] = m[m[AT] + s]
            m[N_TAKEN] += 1
            take(c, s)


def take_around(c: Columns, s: int, how: int) -> None:
    """Take s out with its whole panel (0), with all above it (1), or with a few beside it (2)."""
    m, _, _ = c
    i = m[m[SITTINGS] + s * SITTING + OF_PANEL]
    begin, end = m[m[PANELS] + i * PANEL + BEGIN], m[m[PANELS] + i * PANEL + END]
    if how == 1:
        begin = s
    if how == 2:
        begin = max(begin, s - draw(c, 2))
        end = min(end, s + 1 + draw(c, 2))
    take_part(c, i, begin, end)


def near(c: Columns, b: int, reach: int) -> int:
    """A sitting in a window at random within ``reach`` of b, or NOWHERE."""
    m, _, _ = c
    at = b - reach + draw(c, 2 * reach + 1)
    if at < 0 or at >= m[N_WINDOWS]:
        return NOWHERE
    s = m[m[WINDOWS] + at * WINDOW + HEAD]
    while s != NOWHERE and m[m[SITTINGS] + s * SITTING + NEXT] != NOWHERE and draw(c, 2) == 0:
        s = m[m[SITTINGS] + s * SITTING + NEXT]
    return s


def ruin_time(c: Columns, s: int, how: int) -> None:
    """Take out a few that stand near each other in time."""
    m, _, _ = c
    b = m[m[AT] + s]
    take_around(c, s, how)
    count = 1 + draw(c, 4)
    reach = 2 + draw(c, 12)
    for _ in range(3 * count):
        other = near(c, b, reach)
        if other != NOWHERE:
            take_around(c, other, how)
        if m[N_TOUCHED] > count:
            break


def ruin_palette(c: Columns, s: int, how: int) -> None:
    """Take out sittings of one palette that stand near each other in time, of a few drawn."""
    m, _, t = c
    b, own = m[m[AT] + s], m[SITTINGS] + s * SITTING
    begin, end = m[own + PALETTE_BEGIN], m[own + PALETTE_END]
    reach = 4 + draw(c, 40)
    take_around(c, s, how)
    count = 1 + draw(c, 4)
    for _ in range(4 * count):
        other = t[begin + draw(c, end - begin)]
        if m[m[AT] + other] != NOWHERE and abs(m[m[AT] + other] - b) <= reach:
            take_around(c, other, how)
        if m[N_TOUCHED] > count:
            break


def ruin_meeting(c: Columns, s: int, how: int) -> None:
    """Take out two sittings of one palette, and a few beside them, and have both look for a place as if that palette
    were mixed already on a day between them."""
    m, _, t = c
    own = m[SITTINGS] + s * SITTING
    begin, end = m[own + PALETTE_BEGIN], m[own + PALETTE_END]
    i, b = m[own + OF_PANEL], m[m[AT] + s]
    reach = 4 + draw(c, 60)
    for _ in range(8):
        other = t[begin + draw(c, end - begin)]
        at = m[m[AT] + other]
        if at == NOWHERE or m[m[SITTINGS] + other * SITTING + OF_PANEL] == i or abs(at - b) > reach:
            continue
        first = t[m[own + LIST_FIRST] + min(at, b)] - 4
        last = t[m[own + LIST_FIRST] + max(at, b)] + 4
        meet = m[own + LIST_BEGIN] + max(0, first + draw(c, last - first + 1))
        if meet >= m[own + LIST_END]:
            continue
        take_around(c, s, how)
        take_around(c, other, draw(c, 3))
        more = draw(c, 3)
        for _ in range(2 * more):
            beside = near(c, t[meet], 3)
            if beside != NOWHERE:
                take_around(c, beside, draw(c, 3))
            if m[N_TOUCHED] > 1 + more:
                break
        m[MEET_DAY] = m[m[WINDOWS] + t[meet] * WINDOW + PAINTER_DAY]
        m[MEET_PALETTE] = m[own + PALETTE]
        return
    take_around(c, s, how)


def ruin_costly(c: Columns, how: int) -> None:
    """Take out the costliest panel of a few, and some that stand in its time."""
    m, f, _ = c
    i = draw(c, m[N_PANELS])
    for _ in range(2):
        other = draw(c, m[N_PANELS])
        if f[m[COSTS] + other] > f[m[COSTS] + i]:
            i = other
    begin, end = m[m[PANELS] + i * PANEL + BEGIN], m[m[PANELS] + i * PANEL + END]
    if begin == end:
        return
    first, last = m[m[AT] + begin], m[m[AT] + end - 1]
    take_part(c, i, begin, end)
    if first == NOWHERE or last < first:
        return
    count = 1 + draw(c, 4)
    for _ in range(3 * count):
        s = near(c, first + draw(c, last - first + 1), 2)
        if s != NOWHERE:
            take_around(c, s, how)
        if m[N_TOUCHED] > count:
            break


def ruin_focus(c: Columns, how: int) -> None:
    """Take out what follows some sitting of a panel that had to leave its place, and a few that stand where it might
    go instead: soon after the sitting below it."""
    m, _, _ = c
    i = m[m[FOCUS] + draw(c, m[N_FOCUS])]
    begin, end = m[m[PANELS] + i * PANEL + BEGIN], m[m[PANELS] + i * PANEL + END]
    if begin == end:
        return
    s = begin + draw(c, end - begin)
    soonest = m[m[SITTINGS] + s * SITTING + LO]
    if s > begin and m[m[AT] + s - 1] != NOWHERE:
        soonest = max(soonest, m[m[AT] + s - 1])
    take_part(c, i, s, end)
    count = 1 + draw(c, 5)
    reach = 4 + draw(c, 60)
    for _ in range(3 * count):
        other = near(c, soonest + draw(c, reach), 2)
        if other != NOWHERE:
            take_around(c, other, how)
        if m[N_TOUCHED] > count:
            break


def ruin(c: Columns) -> None:
    """Take something out by one of the ways."""
    m, _, _ = c
    m[STAMP] += 1
    m[MEET_PALETTE] = m[BARRED] = NOWHERE
    m[N_TAKEN] = 0
    m[N_TOUCHED] = 0
    if m[N_FOCUS] > 0 and draw(c, 4) > 0:
        ruin_focus(c, draw(c, 3))
        return
    s = draw(c, m[N_SITTINGS])
    if m[m[AT] + s] == NOWHERE:
        return
    way = draw(c, 100)
    how = (draw(c, 5) + 1) // 2  # whole panels half as often as parts: they cost more and are kept less
    if m[MOST_MOVED] == NO_LIMIT and draw(c, 100) < BARRED_PER_CENT:
        m[BARRED] = s
        m[BARRED_DAY] = m[m[WINDOWS] + m[m[AT] + s] * WINDOW + PAINTER_DAY]
    if m[m[SITTINGS] + s * SITTING + PALETTE] >= 0 and draw(c, 100) < MEETINGS_PER_CENT:
        ruin_meeting(c, s, how)
        return
    if way < 35:
        ruin_time(c, s, how)
    elif way < 65 and m[m[SITTINGS] + s * SITTING + PALETTE] >= 0:
        ruin_palette(c, s, how)
    elif way < 90:
        ruin_costly(c, how)
    else:
        take_around(c, s, 0)


def comes_before(c: Columns, i: int, other: int, by: int) -> bool:
    """Whether panel i is put in before the other."""
    m, f, _ = c
    if by == 1:
        return f[m[WEIGHTS] + i] > f[m[WEIGHTS] + other]
    if by == 2:
        return m[m[PANELS] + i * PANEL + DUE] < m[m[PANELS] + other * PANEL + DUE]
    return draw(c, 2) == 0


def order(c: Columns) -> None:
    """Put the touched panels in the order of their return: at random, the weightiest, or the soonest due first."""
    m, _, _ = c
    by = draw(c, 4)
    touched = m[TOUCHED]
    for a in range(1, m[N_TOUCHED]):
        i = m[touched + a]
        at = a
        while at > 0 and comes_before(c, i, m[touched + at - 1], by):
            m[touched + at] = m[touched + at - 1]
            at -= 1
        m[touched + at] = i


def recreate(c: Columns, most: float) -> bool:
    """Put all that was taken out back in; False where something found no place, or as soon as the plan costs more than
    ``most``: what is still out can only add to it."""
    m, f, _ = c
    order(c)
    for a in range(m[N_TOUCHED]):
        recount(c, m[m[TOUCHED] + a])
    rest = 0.0
    for a in range(m[N_TOUCHED]):
        rest += least_price(c, m[m[TOUCHED] + a])
    for a in range(m[N_TOUCHED]):
        i = m[m[TOUCHED] + a]
        if a == m[N_TOUCHED] - 1:
            m[MEET_PALETTE] = NOWHERE
        rest -= least_price(c, i)
        f[LIMIT] = most - rest - total(c)
        if not put_in(c, i):
            return False
        recount(c, i)
        if total(c) + rest > most:
            return False
    return True


def put_back(c: Columns) -> None:
    """Undo a move: what it placed comes out, what it took out goes back."""
    m, _, _ = c
    for a in range(m[N_TAKEN]):
        s = m[m[TAKEN] + a]
        if m[m[AT] + s] != NOWHERE and m[m[AT] + s] != m[m[TAKEN_FROM] + a]:
            take(c, s)
    for a in range(m[N_TAKEN]):
        s = m[m[TAKEN] + a]
        if m[m[AT] + s] == NOWHERE:
            add(c, s, m[m[TAKEN_FROM] + a])
    for a in range(m[N_TOUCHED]):
        recount(c, m[m[TOUCHED] + a])


def keep(c: Columns) -> None:
    """Note the plan as it stands as the best."""
    m, _, _ = c
    for s in range(m[N_SITTINGS]):
        m[m[BEST_AT] + s] = m[m[AT] + s]


def stand(c: Columns) -> None:
    """Make the plan stand as STAND says."""
    m, _, _ = c
    for s in range(m[N_SITTINGS]):
        if m[m[AT] + s] != NOWHERE and m[m[AT] + s] != m[m[STAND] + s]:
            take(c, s)
    for s in range(m[N_SITTINGS]):
        if m[m[AT] + s] == NOWHERE and m[m[STAND] + s] != NOWHERE:
            add(c, s, m[m[STAND] + s])
    for i in range(m[N_PANELS]):
        recount(c, i)


def improve(c: Columns, moves: int, temperature: float) -> int:
    """Try so many moves at one temperature; returns how many were kept. The best plan seen stays in BEST_AT."""
    m, f, _ = c
    kept = 0
    crowded = m[OVERFULL]
    m[BLINK] = BLINK_PER_MILLE
    for _ in range(moves):
        before = total(c)
        chance = (1 + draw(c, 1000000)) / 1000001.0
        most_moved = max(m[MOST_MOVED], m[MOVED])
        m[WIDTH] = 4 + draw(c, 5) * draw(c, 5)
        m[LOOK] = FURTHER * m[WIDTH]
        ruin(c)
        if recreate(c, before - temperature * log(chance)) and m[OVERFULL] <= crowded and m[MOVED] <= most_moved:
            kept += 1
            after = total(c)
            if after < f[BEST] - SMALLEST:
                f[BEST] = after
                keep(c)
            continue
        put_back(c)
    m[BLINK] = 0
    m[MEET_PALETTE] = m[BARRED] = NOWHERE
    f[LIMIT] = FAR
    m[KEPT] += kept
    return kept
