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
    BARRED,
    BARRED_DAY,
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
    FINISH_LEAST,
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
    SOONEST_ROW,
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
    latest_finish,
    mixing_at,
    price_alone,
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


def best_before(c: Columns, link: int, s: int, b: int, into: int) -> int:
    """The cheapest place of the sitting below a link from which s can be in window b, or NOWHERE."""
    m, f, _ = c
    own = m[SITTINGS] + s * SITTING
    before, is_into, may_share = m[link + BEFORE], m[link + KIND] == INTO, m[MAY_SHARE]
    row = before - m[m[PANELS] + m[own + OF_PANEL] * PANEL + BEGIN]
    cells = row * CELLS
    lo, hi, windows, costs = m[REACH_LO] + into, m[REACH_HI] + into, m[CELL_WINDOW] + cells, m[CELL_COST] + cells
    least = FAR
    found = NOWHERE
    for a in range(m[m[ROW_COUNT] + row]):
        b_before = m[windows + a]
        if b > m[hi + a] or (m[lo + a] > b and not (is_into and b_before == b)):
            continue
        cost = f[costs + a]
        need = m[NEED]
        if may_share != 0 and shares(c, before, s, b_before, b):
            need = m[own + MINUTES]
            cost -= f[SET_UP_PRICE] * m[MIXES]
        if b_before == b and m[m[LOAD] + b] + m[m[CELL_NEED] + cells + a] + need > m[m[CAP] + b]:
            continue
        if cost < least:
            least = cost
            found = a
    return found


def keep_cell(c: Columns, s: int, b: int, price: float, below: float) -> bool:
    """Note window b as a place for s when all it follows can come before, it has room, and all costs less than
    ``below`` there; ``price`` is its own."""
    m, f, _ = c
    own, may_share = m[SITTINGS] + s * SITTING, m[MAY_SHARE]
    panel = m[PANELS] + m[own + OF_PANEL] * PANEL
    begin, first_link, back = m[panel + BEGIN], m[panel + FIRST_LINK], m[BACK]
    row = s - begin
    count = m[m[ROW_COUNT] + row]
    need, same = m[NEED], 0
    for j in range(m[own + LINK_BEGIN], m[own + LINK_END]):
        link, into = m[LINKS] + j * LINK, (j - first_link) * CELLS
        found = best_before(c, link, s, b, into)
        if found == NOWHERE:
            return False
        before = m[link + BEFORE]
        cell = (before - begin) * CELLS + found
        price += f[m[CELL_COST] + cell]
        b_before = m[m[CELL_WINDOW] + cell]
        if may_share != 0 and shares(c, before, s, b_before, b):
            need = m[own + MINUTES]
            price -= f[SET_UP_PRICE] * m[MIXES]
        if b_before == b:
            same += m[m[CELL_NEED] + cell]
        m[back + into + count] = found
    if price >= below or price + soonest_price(c, s, b) > f[LIMIT]:
        return False
    if m[m[AT] + s] == NOWHERE and not has_room(c, s, b):
        return False
    cell = row * CELLS + count
    m[m[CELL_WINDOW] + cell] = b
    m[m[CELL_NEED] + cell] = need + same
    f[m[CELL_COST] + cell] = price
    m[m[ROW_COUNT] + row] = count + 1
    return True


def is_left_out(c: Columns, s: int, b: int) -> bool:
    """Whether window b is not looked at: by chance, because s is barred from that day, or because s was tried there and
    did not fit beside its panel."""
    m, _, _ = c
    if m[BLINK] > 0 and draw(c, 1000) < m[BLINK]:
        return True
    if s == m[BARRED] and m[m[WINDOWS] + b * WINDOW + PAINTER_DAY] == m[BARRED_DAY]:
        return True
    for a in range(m[N_BANS]):  # noqa: SIM110 - compiled, a loop is the plain way
        if m[m[BANS] + a] == s and m[m[BANNED] + a] == b:
            return True
    return False


def stay(c: Columns, s: int) -> int:
    """Keep the place that s has; returns how many there are: 0 where what it follows cannot come before."""
    m, _, _ = c
    m[NEED] = 0
    m[MIXES] = 0
    return 1 if keep_cell(c, s, m[m[AT] + s], 0.0, FAR) else 0


def scan(c: Columns, s: int) -> int:
    """Keep places for s; returns how many there are.

    Where something above s is bound to come soon after it, the first places that fit, as many as WIDTH says. Otherwise
    those that are cheaper than all before them, until one is as cheap as any can be, delivery would cost more than
    LIMIT, or LOOK windows have been looked at.
    """
    m, f, t = c
    own = m[SITTINGS] + s * SITTING
    i = m[own + OF_PANEL]
    panel = m[PANELS] + i * PANEL
    row = s - m[panel + BEGIN]
    m[m[ROW_COUNT] + row] = 0
    lowest = reach(c, s)
    if m[m[AT] + s] != NOWHERE:
        return stay(c, s)
    highest, latest = m[HIGHEST], latest_finish(c, i, f[LIMIT] - f[LOWEST])
    if lowest > highest or latest < m[panel + FINISH_LEAST]:
        return 0
    least, load, cap, soonest = f[LOWEST], m[LOAD], m[CAP], m[own + SOONEST_ROW]
    minutes, bound = m[own + MINUTES], m[own + IS_BOUND]
    left = m[WIDTH] if bound != 0 else m[LOOK]
    below = FAR
    count = 0
    for at in range(m[own + LIST_BEGIN] + t[m[own + LIST_FIRST] + lowest], m[own + LIST_END]):
        b = t[at]
        if b > highest:
            break
        if m[load + b] + minutes > m[cap + b]:
            continue
        if t[soonest + b] > latest:
            break
        if bound == 0 and count > 0:
            left -= 1
            if left <= 0:
                break
        price = price_alone(c, s, b)
        if (least + price >= below and m[MAY_SHARE] == 0) or is_left_out(c, s, b):
            continue
        mixing_at(c, s, b)
        if not keep_cell(c, s, b, price, below):
            continue
        count += 1
        if bound == 0:
            below = f[m[CELL_COST] + row * CELLS + count - 1]
            if below <= least or count >= CELLS:
                break
        elif count >= left:
            break
    return count


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
