"""Putting a panel's sittings where they cost least together, all else standing: a search over places kept for each.

For each sitting in turn windows that fit are kept, each with the cheapest way to come there from the places of the
sittings below. A later window is worth keeping only when it costs less than all before it, unless something above is
bound to come soon after; so few are kept however far is looked, and a chain, or supports joined late, is placed at
its least cost. ``row`` is a sitting's number within its panel; its places are ``row * CELLS + a``.
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
    IS_BOUND,
    IS_LAST,
    KIND,
    LIMIT,
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
    LOOK,
    LOWEST,
    MAY_SHARE,
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
from server.planning.schedule.kernel import (
    add,
    delivery_price,
    draw,
    finish_at,
    has_room,
    is_linked,
    mixing_at,
    price_at,
    soonest_price,
    take,
)


def reach(c: Columns, s: int) -> int:
    """For each place of the sittings that s follows: from and until which window s may come. Returns the first such
    window, or one beyond the last where there is none; the last goes to HIGHEST, the least cost below to LOWEST, and to
    MAY_SHARE whether a mix below may serve s too."""
    m, f, t = c
    own = m[SITTINGS] + s * SITTING
    panel = m[PANELS] + m[own + OF_PANEL] * PANEL
    lowest, highest = max(m[own + LO], m[FLOOR]), m[own + HI]
    f[LOWEST], m[MAY_SHARE] = 0.0, 0
    for j in range(m[own + LINK_BEGIN], m[own + LINK_END]):
        link = m[LINKS] + j * LINK
        row = m[link + BEFORE] - m[panel + BEGIN]
        into = (j - m[panel + FIRST_LINK]) * CELLS
        least, most = m[N_WINDOWS], NOWHERE
        cheapest_below = FAR
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
            cheapest_below = min(cheapest_below, f[m[CELL_COST] + row * CELLS + a])
        f[LOWEST] += cheapest_below
        below = m[SITTINGS] + m[link + BEFORE] * SITTING
        if m[own + PALETTE] >= 0 and m[below + PALETTE] == m[own + PALETTE] and m[below + IS_BOUND] != 0:
            m[MAY_SHARE] = 1
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


def keep_cell(c: Columns, s: int, b: int, price: float, below: float) -> None:
    """Note window b as a place for s when all it follows can come before, it has room, and all costs less than
    ``below`` there; ``price`` is its own."""
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
    if price >= below or price + soonest_price(c, s, b) > f[LIMIT]:
        return
    if m[m[AT] + s] == NOWHERE and not has_room(c, s, b):
        return
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


def stay(c: Columns, s: int) -> int:
    """Keep the place that s has; returns how many there are: 0 where what it follows cannot come before."""
    m, _, _ = c
    m[NEED] = 0
    m[MIXES] = 0
    keep_cell(c, s, m[m[AT] + s], 0.0, FAR)
    return m[m[ROW_COUNT] + s - m[m[PANELS] + m[m[SITTINGS] + s * SITTING + OF_PANEL] * PANEL + BEGIN]]


def scan(c: Columns, s: int) -> int:
    """Keep places for s; returns how many there are.

    Where something above s is bound to come soon after it, the first places that fit, as many as WIDTH says. Otherwise
    those that are cheaper than all before them, until one is as cheap as any can be, delivery would cost more than
    LIMIT, or LOOK windows have been looked at.
    """
    m, f, t = c
    own = m[SITTINGS] + s * SITTING
    count = m[ROW_COUNT] + s - m[m[PANELS] + m[own + OF_PANEL] * PANEL + BEGIN]
    costs = m[CELL_COST] + (count - m[ROW_COUNT]) * CELLS
    m[count] = 0
    lowest = reach(c, s)
    if m[m[AT] + s] != NOWHERE:
        return stay(c, s)
    highest = m[HIGHEST]
    if lowest > highest:
        return 0
    minutes, windows, bound = m[own + MINUTES], m[WINDOWS], m[own + IS_BOUND]
    left = m[WIDTH] if bound != 0 else m[LOOK]
    below = FAR
    for at in range(m[own + LIST_BEGIN] + t[m[own + LIST_FIRST] + lowest], m[own + LIST_END]):
        b = t[at]
        if b > highest:
            break
        if m[windows + b * WINDOW + LOAD] + minutes > m[windows + b * WINDOW + CAP]:
            continue
        if f[LIMIT] < FAR and f[LOWEST] + soonest_price(c, s, b) > f[LIMIT]:
            break
        if m[BLINK] > 0 and draw(c, 1000) < m[BLINK]:
            continue
        if bound == 0 and m[count] > 0:
            left -= 1
            if left <= 0:
                break
        price = mixing_at(c, s, b)
        if (m[MAY_SHARE] == 0 and f[LOWEST] + price >= below) or (m[N_BANS] > 0 and is_banned(c, s, b)):
            continue
        had = m[count]
        keep_cell(c, s, b, price, below)
        if m[count] == had:
            continue
        if bound == 0:
            below = f[costs + had]
            if below <= f[LOWEST] or m[count] >= CELLS:
                break
        elif m[count] >= left:
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
