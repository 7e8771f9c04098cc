"""Taking sittings out of a plan and putting them into windows, with all that hangs on it. Runs compiled or plain.

Only loops and numbers: numba compiles these functions as they stand, and Python runs them on lists. No function here
checks its input; ``shape`` makes sure of it. Letters: s a sitting, b a window, i a panel, j a link; ``own`` and ``w``
are where their records begin.
"""

from math import floor

from server.planning.schedule.columns import (
    AFTER,
    AT,
    BEFORE,
    BEGIN,
    CAP,
    COSTS,
    DAY,
    DAY_BEGIN,
    DAY_END,
    DAY_USED,
    DUE,
    EARLIEST,
    EASELS,
    END,
    FAR,
    FINISH_LEAST,
    FINISH_ROW,
    FLOW_PRICE,
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
    LOAD,
    MEET_DAY,
    MEET_PALETTE,
    MINUTES,
    MIXES,
    MOVE_PRICE,
    MOVED,
    N_PALETTES,
    NEED,
    NEXT,
    NO_LIMIT,
    NOWHERE,
    OF_PANEL,
    OLD_DAY,
    OVERFULL,
    PAINTER_DAY,
    PALETTE,
    PANEL,
    PANEL_COSTS,
    PANEL_ONCE,
    PANELS,
    PRIOR,
    PRIVATE,
    RACK,
    RACK_PLACES,
    RACK_ROW,
    SEED,
    SET_UP_MIN,
    SET_UP_PRICE,
    SET_UPS,
    SITTING,
    SITTINGS,
    SIZE,
    SLOT_BEGIN,
    SLOT_END,
    SLOTS,
    SMALLEST,
    SOONEST_ROW,
    TARDY_PRICE,
    USED,
    WEIGHTS,
    WINDOW,
    WINDOWS,
    Columns,
)


def draw(c: Columns, below: int) -> int:
    """A number from 0 to below it, from the plan's own sequence (Park and Miller's generator)."""
    m, _, _ = c
    m[SEED] = m[SEED] * 48271 % 2147483647
    return m[SEED] % below


def first_use(c: Columns, b: int, palette: int) -> int:
    """The first window of b's painter and day in which the palette is used, or NOWHERE."""
    m, _, t = c
    w = m[WINDOWS] + b * WINDOW
    if m[m[DAY_USED] + m[w + PAINTER_DAY] * m[N_PALETTES] + palette] == 0:
        return NOWHERE
    used = m[USED] + palette
    for at in range(m[w + DAY_BEGIN], m[w + DAY_END]):
        if m[used + t[at] * m[N_PALETTES]] > 0:
            return t[at]
    return NOWHERE


def pays_mixing(c: Columns, s: int, b: int) -> bool:
    """Whether s has a palette that nothing else has mixed on the day of window b."""
    m, _, _ = c
    palette = m[m[SITTINGS] + s * SITTING + PALETTE]
    if palette < 0:
        return palette == PRIVATE
    day = m[m[WINDOWS] + b * WINDOW + PAINTER_DAY]
    if day == m[MEET_DAY] and palette == m[MEET_PALETTE]:
        return False
    return m[m[DAY_USED] + day * m[N_PALETTES] + palette] == 0


def price_alone(c: Columns, s: int, b: int) -> float:
    """What placing s in window b adds by itself, whether it fits or not: mixing, and another day than before."""
    m, f, _ = c
    old_day = m[m[SITTINGS] + s * SITTING + OLD_DAY]
    price = f[SET_UP_PRICE] if pays_mixing(c, s, b) else 0.0
    if old_day != NOWHERE and old_day != m[m[WINDOWS] + b * WINDOW + DAY]:
        price += f[MOVE_PRICE]
    return price


def mixing_at(c: Columns, s: int, b: int) -> None:
    """Note the minutes that s takes in window b (NEED) and whether it pays for mixing (MIXES)."""
    m, _, _ = c
    own = m[SITTINGS] + s * SITTING
    palette = m[own + PALETTE]
    m[NEED] = m[own + MINUTES]
    m[MIXES] = 1 if pays_mixing(c, s, b) else 0
    if palette != NOWHERE:
        use = first_use(c, b, palette) if palette != PRIVATE else NOWHERE
        if use == NOWHERE or use > b:
            m[NEED] += m[SET_UP_MIN]


def has_easel(c: Columns, s: int, b: int) -> bool:
    """Whether the panel of s stands on an easel in window b by another of its sittings, where that counts once."""
    m, _, _ = c
    if m[PANEL_ONCE] == 0:
        return False
    panel = m[PANELS] + m[m[SITTINGS] + s * SITTING + OF_PANEL] * PANEL
    for other in range(m[panel + BEGIN], m[panel + END]):  # noqa: SIM110 - compiled, a loop is the plain way
        if other != s and m[m[AT] + other] == b:
            return True
    return False


def has_place(c: Columns, s: int, day: int) -> bool:
    """Whether the panel of s has its places in the rack on a day by another of its sittings, where that counts once."""
    m, _, t = c
    if m[PANEL_ONCE] == 0:
        return False
    panel = m[PANELS] + m[m[SITTINGS] + s * SITTING + OF_PANEL] * PANEL
    for other in range(m[panel + BEGIN], m[panel + END]):
        at, row = m[m[AT] + other], m[m[SITTINGS] + other * SITTING + RACK_ROW]
        if other != s and at != NOWHERE and row >= 0 and m[m[WINDOWS] + at * WINDOW + DAY] <= day < t[row + at]:
            return True
    return False


def has_room(c: Columns, s: int, b: int) -> bool:
    """Whether window b has NEED minutes left, an easel, and the rack a place for s."""
    m, _, t = c
    own, w = m[SITTINGS] + s * SITTING, m[WINDOWS] + b * WINDOW
    if m[m[LOAD] + b] + m[NEED] > m[m[CAP] + b]:
        return False
    if m[EASELS] >= 0:
        for slot in range(m[w + SLOT_BEGIN], m[w + SLOT_END]):
            if m[m[SLOTS] + slot] >= m[EASELS] and not has_easel(c, s, b):
                return False
    if m[own + RACK_ROW] >= 0:
        free = m[RACK_PLACES] - m[m[PANELS] + m[own + OF_PANEL] * PANEL + SIZE]
        for day in range(m[w + DAY], t[m[own + RACK_ROW] + b]):
            if m[m[RACK] + day] > free and not has_place(c, s, day):
                return False
    return True


def price_at(c: Columns, s: int, b: int) -> float:
    """What placing s in window b adds by itself, or FAR where it does not fit; notes NEED and MIXES."""
    mixing_at(c, s, b)
    return price_alone(c, s, b) if has_room(c, s, b) else FAR


def put_load(c: Columns, b: int, minutes: int) -> None:
    """Change the load of a window and keep count of those that are too full."""
    m, _, _ = c
    load, cap = m[LOAD] + b, m[m[CAP] + b]
    if m[load] > cap:
        m[OVERFULL] -= 1
    m[load] += minutes
    if m[load] > cap:
        m[OVERFULL] += 1


def count_at(c: Columns, s: int, b: int, by: int) -> None:
    """Easels, rack and moves of s in window b, ``by`` 1 or -1."""
    m, _, t = c
    own, w = m[SITTINGS] + s * SITTING, m[WINDOWS] + b * WINDOW
    if m[EASELS] >= 0 and not has_easel(c, s, b):
        for slot in range(m[w + SLOT_BEGIN], m[w + SLOT_END]):
            m[m[SLOTS] + slot] += by
    if m[own + RACK_ROW] >= 0:
        places = m[m[PANELS] + m[own + OF_PANEL] * PANEL + SIZE] * by
        for day in range(m[w + DAY], t[m[own + RACK_ROW] + b]):
            if not has_place(c, s, day):
                m[m[RACK] + day] += places
    if m[own + OLD_DAY] != NOWHERE and m[own + OLD_DAY] != m[w + DAY]:
        m[MOVED] += by


def add(c: Columns, s: int, b: int) -> None:
    """Place s in window b. A palette used later that day is then mixed here."""
    m, _, _ = c
    own, w = m[SITTINGS] + s * SITTING, m[WINDOWS] + b * WINDOW
    minutes = m[own + MINUTES]
    palette = m[own + PALETTE]
    if palette != NOWHERE:
        use = NOWHERE
        if palette != PRIVATE:
            use = first_use(c, b, palette)
            m[m[USED] + b * m[N_PALETTES] + palette] += 1
            m[m[DAY_USED] + m[w + PAINTER_DAY] * m[N_PALETTES] + palette] += 1
        if use == NOWHERE:
            m[SET_UPS] += 1
        if use > b:
            put_load(c, use, -m[SET_UP_MIN])
        if use == NOWHERE or use > b:
            minutes += m[SET_UP_MIN]
    put_load(c, b, minutes)
    m[m[AT] + s] = b
    count_at(c, s, b, 1)
    head = m[w + HEAD]
    m[own + NEXT] = head
    m[own + PRIOR] = NOWHERE
    if head != NOWHERE:
        m[m[SITTINGS] + head * SITTING + PRIOR] = s
    m[w + HEAD] = s


def unmix(c: Columns, s: int, b: int) -> int:
    """Give up the palette of s in window b; returns the minutes of mixing that leave the window with it. A palette
    that is still used later that day is mixed there instead."""
    m, _, _ = c
    palette = m[m[SITTINGS] + s * SITTING + PALETTE]
    if palette == NOWHERE:
        return 0
    if palette == PRIVATE:
        m[SET_UPS] -= 1
        return m[SET_UP_MIN]
    was = first_use(c, b, palette)
    m[m[USED] + b * m[N_PALETTES] + palette] -= 1
    m[m[DAY_USED] + m[m[WINDOWS] + b * WINDOW + PAINTER_DAY] * m[N_PALETTES] + palette] -= 1
    now = first_use(c, b, palette)
    if now == NOWHERE:
        m[SET_UPS] -= 1
    if was != b or now == b:
        return 0
    if now != NOWHERE:
        put_load(c, now, m[SET_UP_MIN])
    return m[SET_UP_MIN]


def take(c: Columns, s: int) -> None:
    """Take s out of its window."""
    m, _, _ = c
    own, b = m[SITTINGS] + s * SITTING, m[m[AT] + s]
    put_load(c, b, -(m[own + MINUTES] + unmix(c, s, b)))
    count_at(c, s, b, -1)
    m[m[AT] + s] = NOWHERE
    after, before = m[own + NEXT], m[own + PRIOR]
    if before == NOWHERE:
        m[m[WINDOWS] + b * WINDOW + HEAD] = after
    else:
        m[m[SITTINGS] + before * SITTING + NEXT] = after
    if after != NOWHERE:
        m[m[SITTINGS] + after * SITTING + PRIOR] = before


def finish_at(c: Columns, i: int, b: int) -> int:
    """The day panel i is deliverable when its last layer is laid in window b."""
    m, _, t = c
    panel = m[PANELS] + i * PANEL
    return max(m[panel + FINISH_LEAST], t[m[panel + FINISH_ROW] + b])


def delivery_price(c: Columns, i: int, finish: int) -> float:
    """Tardiness and flow of panel i when deliverable on a day."""
    m, f, _ = c
    panel = m[PANELS] + i * PANEL
    price = f[FLOW_PRICE] * (finish - m[panel + EARLIEST])
    if finish > m[panel + DUE]:
        price += f[TARDY_PRICE] * f[m[WEIGHTS] + i] * (finish - m[panel + DUE])
    return price


def latest_finish(c: Columns, i: int, most: float) -> int:
    """The last day on which panel i may be deliverable for its tardiness and flow to cost no more than ``most``."""
    m, f, _ = c
    panel = m[PANELS] + i * PANEL
    left, slope = most - f[FLOW_PRICE] * (m[panel + DUE] - m[panel + EARLIEST]), f[FLOW_PRICE]
    finish = m[panel + DUE]
    if left >= 0.0:
        slope += f[TARDY_PRICE] * f[m[WEIGHTS] + i]
    if slope <= 0.0:
        return NO_LIMIT if left >= 0.0 else -NO_LIMIT
    return finish + floor(left / slope + SMALLEST)


def soonest_price(c: Columns, s: int, b: int) -> float:
    """The least tardiness and flow of the panel of s, once s stands in window b."""
    m, _, t = c
    own = m[SITTINGS] + s * SITTING
    i = m[own + OF_PANEL]
    return delivery_price(c, i, max(m[m[PANELS] + i * PANEL + FINISH_LEAST], t[m[own + SOONEST_ROW] + b]))


def least_price(c: Columns, i: int) -> float:
    """What putting in the rest of panel i adds at least in tardiness and flow; 0 for one that is counted."""
    m, f, t = c
    if f[m[COSTS] + i] != 0.0:
        return 0.0
    panel = m[PANELS] + i * PANEL
    finish = max(m[panel + FINISH_LEAST], m[panel + EARLIEST])
    for s in range(m[panel + BEGIN], m[panel + END]):
        b = m[m[AT] + s]
        if b != NOWHERE:
            finish = max(finish, t[m[m[SITTINGS] + s * SITTING + SOONEST_ROW] + b])
    return delivery_price(c, i, finish)


def recount(c: Columns, i: int) -> None:
    """Work out the cost of panel i anew; 0 for a panel that is not wholly placed."""
    m, f, _ = c
    panel = m[PANELS] + i * PANEL
    finish = m[panel + FINISH_LEAST]
    cost = 0.0
    whole = True
    for s in range(m[panel + BEGIN], m[panel + END]):
        b = m[m[AT] + s]
        if b == NOWHERE:
            whole = False
        elif m[m[SITTINGS] + s * SITTING + IS_LAST] != 0:
            finish = max(finish, finish_at(c, i, b))
    if whole:
        cost = delivery_price(c, i, finish)
    f[PANEL_COSTS] += cost - f[m[COSTS] + i]
    f[m[COSTS] + i] = cost


def total(c: Columns) -> float:
    """The objective of the plan as it stands."""
    m, f, _ = c
    return f[PANEL_COSTS] + f[SET_UP_PRICE] * m[SET_UPS] + f[MOVE_PRICE] * m[MOVED]


def is_linked(c: Columns, s: int, b: int) -> bool:
    """Whether s in window b keeps its links to the sittings it follows, which are placed."""
    m, _, t = c
    own = m[SITTINGS] + s * SITTING
    for j in range(m[own + LINK_BEGIN], m[own + LINK_END]):
        link = m[LINKS] + j * LINK
        before = m[m[AT] + m[link + BEFORE]]
        if before == NOWHERE:
            return False
        if t[m[link + LINK_LO] + before] > b and not (m[link + KIND] == INTO and before == b):
            return False
        if m[link + KIND] != AFTER and t[m[link + LINK_HI] + before] < b:
            return False
    return True
