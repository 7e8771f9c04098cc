"""Which sittings share a mix, searched: where a search for few panels begins.

With few panels there is time enough for all work, and what a plan costs hangs on which sittings wait for each other to
share a mix. To change that, parts of all panels have to move at once; moves that put a few sittings back at least cost
would have to pay more at each step on the way there. Here the plan is what follows from a grouping (see `groups`). One
sitting leaves its group, goes to another, or lets more or fewer windows pass; all that has its turn after it is put in
anew, and simulated annealing decides. A search by moves (see `moves`) goes on from there.
"""

from math import log

from server.planning.schedule.columns import (
    AT,
    BEFORE,
    BEGIN,
    BEST,
    END,
    FAR,
    GROUP,
    GROUP_STOOD,
    IS_CHAIN,
    LINK,
    LINK_BEGIN,
    LINK_END,
    LINKS,
    LOCKED,
    N_PANELS,
    N_SITTINGS,
    N_WINDOWS,
    NOWHERE,
    OPEN,
    OPEN_STOOD,
    OVERFULL,
    PAINTER_DAY,
    PALETTE,
    PALETTE_BEGIN,
    PALETTE_END,
    PANEL,
    PANELS,
    SINCE,
    SITTING,
    SITTINGS,
    SKIP,
    SKIP_STOOD,
    SMALLEST,
    STAND,
    TURN,
    TURN_STOOD,
    WINDOW,
    WINDOWS,
    Columns,
)
from server.planning.schedule.groups import lay_by_groups, leave, meet, ready
from server.planning.schedule.kernel import draw, total
from server.planning.schedule.moves import keep, stand

REACH = 60  # windows between two sittings that may be brought together
MOST_SKIPPED = 4  # windows more than before that a sitting may let pass, by one change


def part_all(c: Columns) -> None:
    """Have no sitting share, or wait for longer than it must."""
    m, _, _ = c
    for s in range(m[N_SITTINGS]):
        m[m[GROUP] + s] = s
        m[m[SKIP] + s] = 0


def find_chains(c: Columns) -> None:
    """Note the panels of which each sitting follows the one before: no supports that are joined later."""
    m, _, _ = c
    for i in range(m[N_PANELS]):
        chain = 1
        for s in range(m[m[PANELS] + i * PANEL + BEGIN] + 1, m[m[PANELS] + i * PANEL + END]):
            follows = 0
            for j in range(m[m[SITTINGS] + s * SITTING + LINK_BEGIN], m[m[SITTINGS] + s * SITTING + LINK_END]):
                if m[m[LINKS] + j * LINK + BEFORE] == s - 1:
                    follows = 1
            chain *= follows
        m[m[IS_CHAIN] + i] = chain


def pair_up(c: Columns) -> None:
    """Have sittings share that do in the plan that stands."""
    m, _, t = c
    for s in range(m[N_SITTINGS]):
        own = m[SITTINGS] + s * SITTING
        if m[own + PALETTE] < 0 or m[own + LOCKED] != 0:
            continue
        day = m[m[WINDOWS] + m[m[AT] + s] * WINDOW + PAINTER_DAY]
        for n in range(m[own + PALETTE_BEGIN], m[own + PALETTE_END]):
            other = t[n]
            if other >= s or m[m[SITTINGS] + other * SITTING + LOCKED] != 0:
                continue
            if m[m[WINDOWS] + m[m[AT] + other] * WINDOW + PAINTER_DAY] == day and meet(c, s, other):
                break


def group_up(c: Columns) -> bool:
    """Group the sittings as they share in the plan that stands, and have it be what follows from that, or come near;
    False, with the plan as it was, where nothing can be laid."""
    m, _, _ = c
    for s in range(m[N_SITTINGS]):
        if m[m[AT] + s] == NOWHERE:
            return False
        m[m[STAND] + s] = m[m[AT] + s]
        m[m[TURN_STOOD] + s] = 0
    m[SINCE] = 0
    find_chains(c)
    part_all(c)
    pair_up(c)
    if lay_by_groups(c, FAR):
        return True
    stand(c)
    for s in range(m[N_SITTINGS]):
        m[m[SKIP] + s] = max(0, m[m[AT] + s] - ready(c, s))
    if lay_by_groups(c, FAR):
        return True
    part_all(c)
    if lay_by_groups(c, FAR):
        return True
    stand(c)
    return False


def touch(c: Columns, s: int) -> None:
    """Have all that has its turn once s or one of its group might be ready be put in anew."""
    m, _, _ = c
    at = s
    while True:
        m[SINCE] = min(m[SINCE], m[m[OPEN_STOOD] + at] - m[m[SKIP_STOOD] + at])
        at = m[m[GROUP] + at]
        if at == s:
            return


def wait_otherwise(c: Columns, s: int) -> None:
    """Have s let another number of windows pass, none as often as not."""
    m, _, _ = c
    touch(c, s)
    was = m[m[SKIP] + s]
    m[m[SKIP] + s] = 0 if was > 0 and draw(c, 2) == 0 else draw(c, was + MOST_SKIPPED)


def share_otherwise(c: Columns, s: int) -> bool:
    """Have s leave its group, or go to that of another; False where nothing came of it."""
    m, _, t = c
    own, shared = m[SITTINGS] + s * SITTING, m[m[GROUP] + s] != s
    if shared and draw(c, 3) == 0:
        touch(c, s)
        leave(c, s)
        return True
    other = t[m[own + PALETTE_BEGIN] + draw(c, m[own + PALETTE_END] - m[own + PALETTE_BEGIN])]
    if other == s or m[m[SITTINGS] + other * SITTING + LOCKED] != 0:
        return False
    if abs(m[m[STAND] + other] - m[m[STAND] + s]) > REACH:
        return False
    touch(c, s)
    touch(c, other)
    if shared:
        leave(c, s)
    if m[m[GROUP] + other] != other and draw(c, 2) == 0:
        leave(c, other)
    return meet(c, s, other) or shared


def change(c: Columns) -> bool:
    """Change what one sitting waits for or shares; False where nothing came of it."""
    m, _, _ = c
    s = draw(c, m[N_SITTINGS])
    own = m[SITTINGS] + s * SITTING
    if m[own + LOCKED] != 0:
        return False
    if draw(c, 2) == 0:
        wait_otherwise(c, s)
        return True
    return m[own + PALETTE] >= 0 and share_otherwise(c, s)


def note(c: Columns) -> None:
    """Have the plan and its groups be those that changes are made to."""
    m, _, _ = c
    for s in range(m[N_SITTINGS]):
        m[m[STAND] + s] = m[m[AT] + s]
        m[m[GROUP_STOOD] + s] = m[m[GROUP] + s]
        m[m[SKIP_STOOD] + s] = m[m[SKIP] + s]
        m[m[OPEN_STOOD] + s] = m[m[OPEN] + s]
        m[m[TURN_STOOD] + s] = m[m[TURN] + s]
    m[SINCE] = m[N_WINDOWS]


def unnote(c: Columns) -> None:
    """Have the groups be again as noted."""
    m, _, _ = c
    for s in range(m[N_SITTINGS]):
        m[m[GROUP] + s] = m[m[GROUP_STOOD] + s]
        m[m[SKIP] + s] = m[m[SKIP_STOOD] + s]


def regroup(c: Columns, tries: int, temperature: float) -> int:
    """Try so many changes of the groups at one temperature; returns how many were kept. The plan is to stand as its
    groups say; the best seen goes to BEST_AT."""
    m, f, _ = c
    kept, now, crowded = 0, total(c), m[OVERFULL]
    note(c)
    for _ in range(tries):
        changed = change(c)
        if draw(c, 3) == 0:
            changed = change(c) or changed
        most = now - temperature * log((1 + draw(c, 1000000)) / 1000001.0)
        if not changed or not lay_by_groups(c, most) or m[OVERFULL] > crowded:
            unnote(c)
            continue
        kept += 1
        now = total(c)
        note(c)
        if now < f[BEST] - SMALLEST:
            f[BEST] = now
            keep(c)
    stand(c)
    return kept
