"""The order in which panels are put in, searched: where to begin a search by ruin and recreate.

Which of several late panels goes first decides more than all that comes after, and no small move changes it any more
once the plan is full. Here the whole plan is an order of panels, each put in at least cost behind those before it; one
panel goes to another place in the order, all behind it are put in anew, and simulated annealing decides. (Priority
lists with a serial schedule: Kolisch and Hartmann, 1999; from memory.)
"""

from math import log

from server.planning.schedule.columns import (
    AT,
    BEGIN,
    BEST,
    END,
    FAR,
    LIMIT,
    LOCKED,
    LOOK,
    N_ORDER,
    N_SITTINGS,
    NOWHERE,
    ORDER,
    PANEL,
    PANELS,
    SITTING,
    SITTINGS,
    SMALLEST,
    STAND,
    WIDTH,
    Columns,
)
from server.planning.schedule.insert import put_in
from server.planning.schedule.kernel import draw, least_price, recount, take, total
from server.planning.schedule.moves import keep, stand

PLACES = 16  # kept for a sitting while its panel is put in


def shift(c: Columns, begin: int, end: int) -> None:
    """Have the panel that is ``begin``th in the order be ``end``th."""
    m, _, _ = c
    i, at = m[m[ORDER] + begin], begin
    step = 1 if end > begin else -1
    while at != end:
        m[m[ORDER] + at] = m[m[ORDER] + at + step]
        at += step
    m[m[ORDER] + end] = i


def lay(c: Columns, first: int, most: float) -> bool:
    """Put the ``first`` panel of the order and all behind it in anew; False as soon as one finds no place or the plan
    costs more than ``most``."""
    m, f, _ = c
    for n in range(first, m[N_ORDER]):
        i = m[m[ORDER] + n]
        for s in range(m[m[PANELS] + i * PANEL + BEGIN], m[m[PANELS] + i * PANEL + END]):
            if m[m[AT] + s] != NOWHERE and m[m[SITTINGS] + s * SITTING + LOCKED] == 0:
                take(c, s)
        recount(c, i)
    rest = 0.0
    for n in range(first, m[N_ORDER]):
        rest += least_price(c, m[m[ORDER] + n])
    for n in range(first, m[N_ORDER]):
        i = m[m[ORDER] + n]
        rest -= least_price(c, i)
        f[LIMIT] = most - rest - total(c)
        if not put_in(c, i):
            return False
        recount(c, i)
        if total(c) + rest > most:
            return False
    return True


def reorder(c: Columns, tries: int, temperature: float) -> int:
    """Try so many changes of the order at one temperature; returns how many were kept. The plan is to stand as its
    order says; the best seen goes to BEST_AT."""
    m, f, _ = c
    kept, count = 0, m[N_ORDER]
    m[WIDTH] = m[LOOK] = PLACES
    if count < 2:
        return 0
    for s in range(m[N_SITTINGS]):
        m[m[STAND] + s] = m[m[AT] + s]
    for _ in range(tries):
        begin = draw(c, count)
        end = (begin + 1 + draw(c, count - 1)) % count
        most = total(c) - temperature * log((1 + draw(c, 1000000)) / 1000001.0)
        shift(c, begin, end)
        if not lay(c, min(begin, end), most):
            shift(c, end, begin)
            stand(c)
            continue
        kept += 1
        for s in range(m[N_SITTINGS]):
            m[m[STAND] + s] = m[m[AT] + s]
        if total(c) < f[BEST] - SMALLEST:
            f[BEST] = total(c)
            keep(c)
    f[LIMIT] = FAR
    return kept
