"""From a grouping of sittings to the plan that follows from it. Runs compiled or plain.

A group is mixed for together: each sitting in it is on the same day, by the same painter. What is ready soonest goes
first, into the first window or day that it fits; SKIP has a sitting let windows pass before. (A schedule made in the
order of time from what is ready: Kelley, 1963; from memory.) A group is a ring: GROUP holds the next of it, and a
sitting that shares with nothing is its own next. What has its turn before SINCE stands as it stood and is left there.
"""

from server.planning.schedule.columns import (
    AFTER,
    AT,
    BEFORE,
    BEGIN,
    CAP,
    COSTS,
    DAY_BEGIN,
    DAY_END,
    END,
    FRONT,
    GROUP,
    INTO,
    IS_CHAIN,
    KIND,
    LAST_TURN,
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
    LOAD,
    LOCKED,
    MINUTES,
    N_PANELS,
    N_SITTINGS,
    N_WINDOWS,
    NOWHERE,
    OF_PANEL,
    OPEN,
    OPEN_STOOD,
    PAINTER_DAY,
    PANEL,
    PANEL_COSTS,
    PANELS,
    SINCE,
    SITTING,
    SITTINGS,
    SKIP,
    TURN,
    TURN_STOOD,
    WINDOW,
    WINDOWS,
    Columns,
)
from server.planning.schedule.kernel import add, has_room, is_linked, mixing_at, recount, soonest_price, take, total

FURTHEST = 40  # windows looked at for a group


def leave(c: Columns, s: int) -> None:
    """Have s share with nothing."""
    m, _, _ = c
    ring = m[GROUP]
    before = s
    while m[ring + before] != s:
        before = m[ring + before]
    m[ring + before] = m[ring + s]
    m[ring + s] = s


def meet(c: Columns, s: int, other: int) -> bool:
    """Have s, which shares with nothing, share with the group of another; False where its panel has one in it."""
    m, _, _ = c
    ring, own = m[GROUP], m[m[SITTINGS] + s * SITTING + OF_PANEL]
    at = other
    while True:
        if m[m[SITTINGS] + at * SITTING + OF_PANEL] == own:
            return False
        at = m[ring + at]
        if at == other:
            break
    m[ring + s] = m[ring + other]
    m[ring + other] = s
    return True


def ready(c: Columns, s: int) -> int:
    """The first window that s may be in by its release and by what it follows."""
    m, _, t = c
    own = m[SITTINGS] + s * SITTING
    lowest = m[own + LO]
    for j in range(m[own + LINK_BEGIN], m[own + LINK_END]):
        link = m[LINKS] + j * LINK
        before = m[m[AT] + m[link + BEFORE]]
        lowest = max(lowest, before if m[link + KIND] == INTO else t[m[link + LINK_LO] + before])
    return min(lowest + m[m[SKIP] + s], m[N_WINDOWS] - 1)


def last(c: Columns, s: int) -> int:
    """The last window that s may be in by what it follows."""
    m, _, t = c
    own = m[SITTINGS] + s * SITTING
    highest = m[N_WINDOWS] - 1
    for j in range(m[own + LINK_BEGIN], m[own + LINK_END]):
        link = m[LINKS] + j * LINK
        if m[link + KIND] != AFTER:
            highest = min(highest, t[m[link + LINK_HI] + m[m[AT] + m[link + BEFORE]]])
    return highest


def is_free_for(c: Columns, s: int, b: int) -> bool:
    """Whether s fits window b as things stand."""
    m, _, _ = c
    if m[m[LOAD] + b] + m[m[SITTINGS] + s * SITTING + MINUTES] > m[m[CAP] + b]:
        return False
    mixing_at(c, s, b)
    return has_room(c, s, b) and is_linked(c, s, b)


def lay_one(c: Columns, s: int, lowest: int) -> bool:
    """Put s into the first window from ``lowest`` on that it fits."""
    m, _, t = c
    own, highest = m[SITTINGS] + s * SITTING, last(c, s)
    for n in range(m[own + LIST_BEGIN] + t[m[own + LIST_FIRST] + lowest], m[own + LIST_END]):
        if t[n] > highest:
            return False
        if is_free_for(c, s, t[n]):
            add(c, s, t[n])
            return True
    return False


def lay_on(c: Columns, s: int, day: int, end: int) -> bool:
    """Put s into the first window of a painter's day, from ``day`` to before ``end`` in ``t``, that it may be in."""
    m, _, t = c
    own, lowest = m[SITTINGS] + s * SITTING, ready(c, s)
    for n in range(day, end):
        b = t[n]
        place = m[own + LIST_BEGIN] + t[m[own + LIST_FIRST] + b]
        if b >= lowest and place < m[own + LIST_END] and t[place] == b and is_free_for(c, s, b):
            add(c, s, b)
            return True
    return False


def lay_all_on(c: Columns, first: int, day: int, end: int) -> bool:
    """Put a group into a painter's day; False, with all of it out, where it does not fit."""
    m, _, _ = c
    s, whole = first, True
    while whole:
        whole = lay_on(c, s, day, end)
        s = m[m[GROUP] + s]
        if s == first:
            break
    if whole:
        return True
    s = first
    while True:
        if m[m[AT] + s] != NOWHERE:
            take(c, s)
        s = m[m[GROUP] + s]
        if s == first:
            return False


def lay_group(c: Columns, first: int, lowest: int) -> bool:
    """Put a group into the first painter's day from that of ``lowest`` on that all of it fits."""
    m, _, t = c
    own, day = m[SITTINGS] + first * SITTING, NOWHERE
    at = m[own + LIST_BEGIN] + t[m[own + LIST_FIRST] + lowest]
    for n in range(at, min(at + FURTHEST, m[own + LIST_END])):
        w = m[WINDOWS] + t[n] * WINDOW
        if m[w + PAINTER_DAY] == day:
            continue
        day = m[w + PAINTER_DAY]
        if lay_all_on(c, first, m[w + DAY_BEGIN], m[w + DAY_END]):
            return True
    return False


def is_open(c: Columns, s: int) -> bool:
    """Whether s is out, and all that it follows is in."""
    m, _, _ = c
    if m[m[AT] + s] != NOWHERE:
        return False
    own = m[SITTINGS] + s * SITTING
    for j in range(m[own + LINK_BEGIN], m[own + LINK_END]):
        if m[m[AT] + m[m[LINKS] + j * LINK + BEFORE]] == NOWHERE:
            return False
    return True


def group_ready(c: Columns, s: int) -> int:
    """The first window in which all of a group are ready, or NOWHERE where one waits for what is not yet in."""
    m, _, _ = c
    lowest, at = 0, s
    while True:
        if not is_open(c, at):
            return NOWHERE
        m[m[OPEN] + at] = ready(c, at)
        lowest = max(lowest, m[m[OPEN] + at])
        at = m[m[GROUP] + at]
        if at == s:
            return lowest


def count_in(c: Columns, s: int) -> None:
    """Have the panel of s cost what it does at least, now that s is in."""
    m, f, _ = c
    i = m[m[SITTINGS] + s * SITTING + OF_PANEL]
    least = soonest_price(c, s, m[m[AT] + s])
    if least > f[m[COSTS] + i]:
        f[PANEL_COSTS] += least - f[m[COSTS] + i]
        f[m[COSTS] + i] = least


def clear(c: Columns) -> None:
    """Take out all that has its turn from SINCE on, and have panels cost what they do at least by the rest."""
    m, f, _ = c
    for i in range(m[N_PANELS]):
        m[m[FRONT] + i] = m[m[PANELS] + i * PANEL + BEGIN]
        f[m[COSTS] + i] = 0.0
    f[PANEL_COSTS], m[LAST_TURN] = 0.0, 0
    for s in range(m[N_SITTINGS]):
        if m[m[AT] + s] == NOWHERE or m[m[SITTINGS] + s * SITTING + LOCKED] != 0:
            continue
        if m[m[TURN_STOOD] + s] >= m[SINCE]:
            take(c, s)
        else:
            m[m[TURN] + s] = m[m[TURN_STOOD] + s]
            m[m[OPEN] + s] = m[m[OPEN_STOOD] + s]
            count_in(c, s)


def next_up(c: Columns) -> int:
    """A sitting of the group that is ready soonest, or NOWHERE where none is."""
    m, _, _ = c
    chosen, soonest = NOWHERE, m[N_WINDOWS]
    for i in range(m[N_PANELS]):
        front, end = m[FRONT] + i, m[m[PANELS] + i * PANEL + END]
        while m[front] < end and m[m[AT] + m[front]] != NOWHERE:
            m[front] += 1
        if m[m[IS_CHAIN] + i] != 0:
            end = min(end, m[front] + 1)  # nothing else can be open
        for s in range(m[front], end):
            lowest = group_ready(c, s)
            if lowest != NOWHERE and lowest < soonest:
                chosen, soonest = s, lowest
    return chosen


def lay_next(c: Columns, first: int) -> bool:
    """Put a group in whose turn it is, and count it; False where it finds no place."""
    m, _, _ = c
    lowest = group_ready(c, first)
    # What follows in the same window is ready no later: a turn never comes before one that was.
    m[LAST_TURN] = max(m[LAST_TURN], lowest)
    alone = m[m[GROUP] + first] == first
    if not (lay_one(c, first, lowest) if alone else lay_group(c, first, lowest)):
        return False
    s = first
    while True:
        m[m[TURN] + s] = m[LAST_TURN]
        count_in(c, s)
        s = m[m[GROUP] + s]
        if s == first:
            return True


def holds(c: Columns) -> bool:
    """Whether everything is in, and what is fixed keeps its links to what it follows."""
    m, _, _ = c
    for s in range(m[N_SITTINGS]):
        b = m[m[AT] + s]
        if b == NOWHERE or (m[m[SITTINGS] + s * SITTING + LOCKED] != 0 and not is_linked(c, s, b)):
            return False
    return True


def lay_by_groups(c: Columns, most: float) -> bool:
    """Put in what has its turn from SINCE on as the groups say; False where something finds no place, or as soon as all
    costs more than ``most``."""
    m, _, _ = c
    clear(c)
    first = next_up(c)
    while first != NOWHERE:
        if not lay_next(c, first) or total(c) > most:
            return False
        first = next_up(c)
    if not holds(c):
        return False
    for i in range(m[N_PANELS]):
        recount(c, i)
    return total(c) <= most
