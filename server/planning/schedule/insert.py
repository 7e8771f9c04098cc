"""Putting a panel's sittings where they cost least together, all else standing: a search over places kept for each.

For each sitting in turn the first windows that fit are kept, each with the cheapest way to come there from the places
of the sittings below. A chain, or supports joined late, is so placed at its least cost among the places kept. ``row``
is a sitting's number within its panel; its places are ``row * CELLS + a``.
"""

from server.planning.schedule.columns import (
    AFTER,
    AT,
    BACK,
    BANNED,
    BANS,
    BEFORE,
    BEGIN,
    BLINK,
    CAP,
    CELL_COST,
    CELL_NEED,
    CELL_WINDOW,
    CELLS,
    CHOSEN,
    END,
    FAR,
    FIRST_LINK,
    FLOOR,
    HI,
    HIGHEST,
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
    LOAD,
    MINUTES,
    MIXES,
    MOST_BANS,
    N_BANS,
    N_WINDOWS,
    NEED,
    NOWHERE,
    OF_PANEL,
    PAINTER_DAY,
    PALETTE,
    PANEL,
    PANELS,
    REACH_HI,
    REACH_LO,
    ROW_COUNT,
    SET_UP_PRICE,
    SITTING,
    SITTINGS,
    WIDTH,
    WINDOW,
    WINDOWS,
    Columns,
)
from server.planning.schedule.kernel import add, delivery_price, draw, finish_at, is_linked, price_at, take


def reach(c: Columns, s: int) -> int:
    """For each place of the sittings that s follows: from and until which window s may come. Returns the first such
    window, or one beyond the last where there is none; the last goes to HIGHEST."""
    m, _, t = c
    own = m[SITTINGS] + s * SITTING
    panel = m[PANELS] + m[own + OF_PANEL] * PANEL
    lowest, highest = max(m[own + LO], m[FLOOR]), m[own + HI]
    for j in range(m[own + LINK_BEGIN], m[own + LINK_END]):
        link = m[LINKS] + j * LINK
        row = m[link + BEFORE] - m[panel + BEGIN]
        into = (j - m[panel + FIRST_LINK]) * CELLS
        least, most = m[N_WINDOWS], NOWHERE
        for a in range(m[m[ROW_COUNT] + row]):
            b = m[m[CELL_WINDOW] + row * CELLS + a]
            lo, hi = t[m[link + LINK_LO] + b], m[own + HI]
            if m[link + KIND] != AFTER:
                hi = t[m[link + LINK_HI] + b]
            m[m[REACH_LO] + into + a] = lo
            m[m[REACH_HI] + into + a] = hi
            if m[link + KIND] == INTO:
                lo = b
            least, most = min(least, lo), max(most, hi)
        lowest, highest = max(lowest, least), min(highest, most)
    m[HIGHEST] = highest
    return lowest


def shares(c: Columns, before: int, s: int, b_before: int, b: int) -> bool:
    """Whether the sitting below mixes on the same day what s wants there."""
    m, _, _ = c
    palette = m[m[SITTINGS] + s * SITTING + PALETTE]
    if palette < 0 or palette != m[m[SITTINGS] + before * SITTING + PALETTE]:
        return False
    return m[m[WINDOWS] + b_before * WINDOW + PAINTER_DAY] == m[m[WINDOWS] + b * WINDOW + PAINTER_DAY]


def best_before(c: Columns, j: int, s: int, b: int) -> int:
    """The cheapest place of the sitting below link j from which s can be in window b, or NOWHERE."""
    m, f, _ = c
    own, link, w = m[SITTINGS] + s * SITTING, m[LINKS] + j * LINK, m[WINDOWS] + b * WINDOW
    panel = m[PANELS] + m[own + OF_PANEL] * PANEL
    before = m[link + BEFORE]
    row = before - m[panel + BEGIN]
    into = (j - m[panel + FIRST_LINK]) * CELLS
    least = FAR
    found = NOWHERE
    for a in range(m[m[ROW_COUNT] + row]):
        if b > m[m[REACH_HI] + into + a]:
            continue
        b_before = m[m[CELL_WINDOW] + row * CELLS + a]
        if m[m[REACH_LO] + into + a] > b and not (m[link + KIND] == INTO and b_before == b):
            continue
        cost = f[m[CELL_COST] + row * CELLS + a]
        need = m[NEED]
        if m[own + PALETTE] >= 0 and shares(c, before, s, b_before, b):
            need = m[own + MINUTES]
            cost -= f[SET_UP_PRICE] * m[MIXES]
        if b_before == b and m[w + LOAD] + m[m[CELL_NEED] + row * CELLS + a] + need > m[w + CAP]:
            continue
        if cost < least:
            least = cost
            found = a
    return found


def keep_cell(c: Columns, s: int, b: int, price: float) -> None:
    """Note window b as a place for s when all it follows can come before; ``price`` is its own."""
    m, f, _ = c
    own = m[SITTINGS] + s * SITTING
    panel = m[PANELS] + m[own + OF_PANEL] * PANEL
    row = s - m[panel + BEGIN]
    count = m[m[ROW_COUNT] + row]
    need, same = m[NEED], 0
    for j in range(m[own + LINK_BEGIN], m[own + LINK_END]):
        found = best_before(c, j, s, b)
        if found == NOWHERE:
            return
        before = m[m[LINKS] + j * LINK + BEFORE]
        cell = (before - m[panel + BEGIN]) * CELLS + found
        price += f[m[CELL_COST] + cell]
        b_before = m[m[CELL_WINDOW] + cell]
        if m[own + PALETTE] >= 0 and shares(c, before, s, b_before, b):
            need = m[own + MINUTES]
            price -= f[SET_UP_PRICE] * m[MIXES]
        if b_before == b:
            same += m[m[CELL_NEED] + cell]
        m[m[BACK] + (j - m[panel + FIRST_LINK]) * CELLS + count] = found
    m[m[CELL_WINDOW] + row * CELLS + count] = b
    m[m[CELL_NEED] + row * CELLS + count] = need + same
    f[m[CELL_COST] + row * CELLS + count] = price
    m[m[ROW_COUNT] + row] = count + 1


def is_banned(c: Columns, s: int, b: int) -> bool:
    """Whether s was tried in window b and did not fit beside its own panel."""
    m, _, _ = c
    for a in range(m[N_BANS]):  # noqa: SIM110 - compiled, a loop is the plain way
        if m[m[BANS] + a] == s and m[m[BANNED] + a] == b:
            return True
    return False


def scan(c: Columns, s: int) -> int:
    """Keep the first places of s that fit, as many as WIDTH says; returns how many there are."""
    m, _, t = c
    own = m[SITTINGS] + s * SITTING
    count = m[ROW_COUNT] + s - m[m[PANELS] + m[own + OF_PANEL] * PANEL + BEGIN]
    m[count] = 0
    lowest = reach(c, s)
    if m[m[AT] + s] != NOWHERE:
        m[NEED] = 0
        m[MIXES] = 0
        keep_cell(c, s, m[m[AT] + s], 0.0)
        return m[count]
    highest = m[HIGHEST]
    if lowest > highest:
        return 0
    minutes, windows = m[own + MINUTES], m[WINDOWS]
    for at in range(m[own + LIST_BEGIN] + t[m[own + LIST_FIRST] + lowest], m[own + LIST_END]):
        b = t[at]
        if b > highest:
            break
        if m[windows + b * WINDOW + LOAD] + minutes > m[windows + b * WINDOW + CAP]:
            continue
        if m[BLINK] > 0 and draw(c, 1000) < m[BLINK]:
            continue
        price = price_at(c, s, b)
        if price >= FAR or (m[N_BANS] > 0 and is_banned(c, s, b)):
            continue
        keep_cell(c, s, b, price)
        if m[count] >= m[WIDTH]:
            break
    return m[count]


def cheapest(c: Columns, i: int, s: int) -> int:
    """The cheapest of the places kept for s, which nothing kept follows."""
    m, f, _ = c
    row = s - m[m[PANELS] + i * PANEL + BEGIN]
    least = FAR
    found = NOWHERE
    for a in range(m[m[ROW_COUNT] + row]):
        cost = f[m[CELL_COST] + row * CELLS + a]
        if m[m[SITTINGS] + s * SITTING + IS_LAST] != 0:
            cost += delivery_price(c, i, finish_at(c, i, m[m[CELL_WINDOW] + row * CELLS + a]))
        if cost < least:
            least = cost
            found = a
    return found


def choose(c: Columns, i: int) -> None:
    """The cheapest place of each last sitting of panel i, and from there down the places that lead to it."""
    m, _, _ = c
    panel = m[PANELS] + i * PANEL
    begin, end = m[panel + BEGIN], m[panel + END]
    for row in range(end - begin):
        m[m[CHOSEN] + row] = NOWHERE
    for s in range(end - 1, begin - 1, -1):
        own = m[SITTINGS] + s * SITTING
        row = s - begin
        if m[m[CHOSEN] + row] == NOWHERE:
            m[m[CHOSEN] + row] = cheapest(c, i, s)
        for j in range(m[own + LINK_BEGIN], m[own + LINK_END]):
            below = m[CHOSEN] + m[m[LINKS] + j * LINK + BEFORE] - begin
            found = m[m[BACK] + (j - m[panel + FIRST_LINK]) * CELLS + m[m[CHOSEN] + row]]
            # Two sittings on one: the earlier place serves both.
            if m[below] == NOWHERE or found < m[below]:
                m[below] = found
    for row in range(end - begin):
        m[m[CHOSEN] + row] = m[m[CELL_WINDOW] + row * CELLS + m[m[CHOSEN] + row]]


def unsettle(c: Columns, i: int, until: int) -> bool:
    """Take out what `settle` placed of panel i before the sitting ``until``; always False."""
    m, _, _ = c
    begin = m[m[PANELS] + i * PANEL + BEGIN]
    for s in range(begin, until):
        if m[m[CHOSEN] + s - begin] <= -2:
            take(c, s)
    return False


def settle(c: Columns, i: int) -> bool:
    """Place the sittings of panel i that are out at their chosen windows. Where one does not fit beside its own panel,
    all are taken out again and that window is banned."""
    m, _, _ = c
    panel = m[PANELS] + i * PANEL
    for s in range(m[panel + BEGIN], m[panel + END]):
        chosen = m[CHOSEN] + s - m[panel + BEGIN]
        b = m[chosen]
        if m[m[AT] + s] != NOWHERE:
            if not is_linked(c, s, b):
                return unsettle(c, i, s)
        elif price_at(c, s, b) >= FAR or not is_linked(c, s, b):
            if m[N_BANS] < MOST_BANS:
                m[m[BANS] + m[N_BANS]] = s
                m[m[BANNED] + m[N_BANS]] = b
                m[N_BANS] += 1
            return unsettle(c, i, s)
        else:
            add(c, s, b)
            m[chosen] = -2 - b
    return True


def put_in(c: Columns, i: int) -> bool:
    """Put the sittings of panel i that are out back at least cost; False, with all of them out, where none fits."""
    m, _, _ = c
    panel = m[PANELS] + i * PANEL
    m[N_BANS] = 0
    for _ in range(MOST_BANS):
        for s in range(m[panel + BEGIN], m[panel + END]):
            if scan(c, s) == 0:
                return False
        choose(c, i)
        if settle(c, i):
            return True
    return False
