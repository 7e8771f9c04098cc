"""What each window would do to a sitting that is lifted out of a plan, all else as it stands. Runs compiled or plain,
like `kernel`, whose letters hold here too."""

from server.planning.schedule.columns import (
    AFTER,
    AT,
    BEFORE,
    BEGIN,
    CAP,
    EASELS,
    END,
    FINISH_ROW,
    HI,
    INTO,
    KIND,
    LATEST,
    LINK,
    LINK_BEGIN,
    LINK_END,
    LINK_HI,
    LINK_LO,
    LINKS,
    LO,
    LOAD,
    LOOKED_BACK,
    LOOKED_TO,
    MOST_OVERFULL,
    N_SEEN,
    NEED,
    NO_LIMIT,
    NOWHERE,
    OF_PANEL,
    OVERFULL,
    PANEL,
    PANELS,
    SEEN,
    SEEN_STATE,
    SITTING,
    SITTINGS,
    SLOT_BEGIN,
    SLOT_END,
    SLOTS,
    WINDOW,
    WINDOWS,
    Columns,
)
from server.planning.schedule.kernel import add, has_easel, has_room, is_linked, mixing_at, take

# `FREE` is the only one that it may go to.
(
    FREE,
    UNREADY,  # what it follows is not ready, or too dry
    PAINTER,
    SHORT,  # even with nobody else in it
    NO_EASEL,
    NO_RACK,
    TOO_EARLY,  # what follows would come too late for its paint
    TOO_LATE,  # what follows would come before it is ready
    UNMIXED,  # others of its day would have no time for the palette that it has mixed
) = range(9)


def fits(c: Columns, s: int, b: int) -> bool:
    """Whether s may stand in window b by its bounds, its room and what it follows."""
    m, _, _ = c
    own = m[SITTINGS] + s * SITTING
    if b < m[own + LO] or b > m[own + HI]:
        return False
    mixing_at(c, s, b)
    return has_room(c, s, b) and is_linked(c, s, b)


def filled_by(c: Columns, s: int, b: int) -> int:
    """What leaves window b without room for s and its NEED minutes."""
    m, _, _ = c
    w, cap = m[WINDOWS] + b * WINDOW, m[m[CAP] + b]
    if cap < m[NEED]:
        return SHORT
    if cap - m[m[LOAD] + b] < m[NEED]:
        return PAINTER
    if m[EASELS] >= 0:
        for slot in range(m[w + SLOT_BEGIN], m[w + SLOT_END]):
            if m[m[SLOTS] + slot] >= m[EASELS] and not has_easel(c, s, b):
                return NO_EASEL
    return NO_RACK


def led_to(c: Columns, s: int, b: int) -> int:
    """Whether what follows s can stay with s in window b: FREE, TOO_LATE or TOO_EARLY."""
    m, _, t = c
    panel = m[PANELS] + m[m[SITTINGS] + s * SITTING + OF_PANEL] * PANEL
    for after in range(m[panel + BEGIN], m[panel + END]):
        stands, own = m[m[AT] + after], m[SITTINGS] + after * SITTING
        if stands == NOWHERE:
            continue
        for j in range(m[own + LINK_BEGIN], m[own + LINK_END]):
            link = m[LINKS] + j * LINK
            if m[link + BEFORE] != s:
                continue
            if t[m[link + LINK_LO] + b] > stands and not (m[link + KIND] == INTO and b == stands):
                return TOO_LATE
            if m[link + KIND] != AFTER and t[m[link + LINK_HI] + b] < stands:
                return TOO_EARLY
    return FREE


def state_in(c: Columns, s: int, b: int) -> int:
    """What window b would do to s."""
    m, _, _ = c
    if not is_linked(c, s, b):
        return UNREADY
    mixing_at(c, s, b)
    if not has_room(c, s, b):
        return filled_by(c, s, b)
    state = led_to(c, s, b)
    if state == FREE and m[MOST_OVERFULL] != NO_LIMIT:
        add(c, s, b)
        if m[OVERFULL] > m[MOST_OVERFULL]:
            state = UNMIXED
        take(c, s)
    return state


def look_back(c: Columns, s: int, last: int) -> bool:
    """Note the windows that s is ready for, and what they would do to it, from the position ``last`` of its list down
    to LOOKED_TO. False where there are more of them than are noted."""
    m, _, t = c
    m[N_SEEN] = 0
    for at in range(last, m[LOOKED_TO] - 1, -1):
        if m[N_SEEN] == LOOKED_BACK:
            return False
        b = t[at] + 0  # of the long kind, like all other numbers of windows
        state = state_in(c, s, b)
        if state != UNREADY:
            m[m[SEEN] + m[N_SEEN]] = b
            m[m[SEEN_STATE] + m[N_SEEN]] = state
            m[N_SEEN] += 1
    return True


def last_free(c: Columns, s: int, last: int) -> int:
    """The last position of the list of s, from ``last`` down to LOOKED_TO, whose window s may go to and by which its
    panel, were s its last sitting, is deliverable by LATEST; NOWHERE where there is none."""
    m, _, t = c
    finish = m[m[PANELS] + m[m[SITTINGS] + s * SITTING + OF_PANEL] * PANEL + FINISH_ROW]
    for at in range(last, m[LOOKED_TO] - 1, -1):
        b = t[at] + 0
        if t[finish + b] <= m[LATEST] and state_in(c, s, b) == FREE:
            return at
    return NOWHERE
