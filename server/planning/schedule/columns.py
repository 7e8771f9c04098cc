"""Where the search finds its numbers: all in three arrays, so that compiled calls stay light.

``m`` holds whole numbers: first single ones (`HEADER`), then records one after the other. ``f`` holds prices and costs,
``t`` lists that never change: the record of a sitting says where its list begins. A record is addressed by the position
of its first number: the load of window b is ``m[m[WINDOWS] + b * WINDOW + LOAD]``. The search never sees a name, a
date or a temperature; windows, sittings, panels and palettes are numbers. Compiled, the arrays are numpy's; plain,
they are lists: the same functions run on both.
"""

from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

NOWHERE = -1
PRIVATE = -2  # a palette that one sitting alone uses: always a set-up of its own
FAR = 1e18
SMALLEST = 1e-7  # a cost that differs by less is the same
CELLS = 96  # places kept for a sitting while its panel is put in
MOST_BANS = 8
MOST_TOUCHED = 24
LOOKED_BACK = 40  # windows before its own that are looked at to say why a sitting is not sooner
# Kinds of link.
AFTER, BETWEEN, INTO = range(3)  # a lower limit; two limits; two limits, and the same window will do

# The header of ``m``: first where each kind of record begins, then single numbers.
(
    WINDOWS,
    CAP,  # window -> minutes
    LOAD,  # window -> minutes taken, set-ups included
    SITTINGS,
    LINKS,
    PANELS,
    AT,  # sitting -> window
    BEST_AT,
    STAND,  # what the plan is asked to be
    SLOTS,  # stretches of time in which the same windows are open -> easels in use
    RACK,  # day -> places in use
    USED,  # window * palettes + palette -> sittings
    DAY_USED,  # a painter's day, by PAINTER_DAY, * palettes + palette -> sittings
    ROW_COUNT,  # for the panel being put in: sitting -> places kept
    CHOSEN,
    CELL_WINDOW,
    CELL_NEED,
    REACH_LO,
    REACH_HI,
    BACK,
    TAKEN,  # what a move took out
    TAKEN_FROM,
    TOUCHED,
    ORDER,  # panels, in the order in which they are put in
    GROUP,  # sitting -> the next of those that share a mix with it
    GROUP_STOOD,
    SKIP,  # sitting -> windows that it lets pass once it is ready
    SKIP_STOOD,
    OPEN,  # sitting -> the first window that it was ready for
    OPEN_STOOD,
    TURN,  # sitting -> the first window that all of its group were ready for
    TURN_STOOD,
    FRONT,  # panel -> its first sitting that is out
    IS_CHAIN,  # panel -> 1 where each of its sittings follows the one before
    FOCUS,  # panels that found no place where they stood: the search looks after them first
    BANS,
    BANNED,
    WEIGHTS,  # in f
    COSTS,  # in f: each panel's own part of the objective
    CELL_COST,  # in f
    N_WINDOWS,
    N_SITTINGS,
    N_PANELS,
    N_PALETTES,
    N_SLOTS,
    EASELS,  # NOWHERE: no limit
    PANEL_ONCE,  # 1: a panel takes an easel and its places in the rack once, however many of its sittings do
    RACK_PLACES,
    SET_UP_MIN,
    OVERFULL,  # windows loaded beyond their minutes
    SET_UPS,
    MOVED,
    MOST_MOVED,  # a move of the search that would move more is not kept
    SEED,
    N_TAKEN,
    N_TOUCHED,
    N_ORDER,
    N_FOCUS,
    N_BANS,
    NEED,
    MIXES,
    MAY_SHARE,
    HIGHEST,
    FLOOR,
    WIDTH,  # places kept for a sitting that something above is bound to
    LOOK,  # windows with time left looked at beyond the first place of any other
    BLINK,
    MEET_DAY,  # a painter's day, by PAINTER_DAY, on which MEET_PALETTE is taken to be mixed already
    MEET_PALETTE,
    BARRED,  # a sitting that may not stand on BARRED_DAY, a painter's day by PAINTER_DAY
    BARRED_DAY,
    STAMP,
    KEPT,
    SEEN,  # windows looked at
    SEEN_STATE,  # what each would do to the sitting that is lifted out, see `looking`
    N_SEEN,
    MOST_OVERFULL,  # windows that may be overfull with that sitting put in again; NO_LIMIT: that need not be looked at
    LOOKED_TO,  # the lowest position of its list that is looked at
    SINCE,  # what has its turn before stands
    LAST_TURN,  # that came
    LATEST,  # the last day on which its panel may be deliverable
    HEADER,
) = range(82)
NO_LIMIT = 2**62
# Room for a number for each sitting, and for each panel.
OF_EACH_SITTING = TAKEN, TAKEN_FROM, GROUP, GROUP_STOOD, SKIP, SKIP_STOOD, OPEN, OPEN_STOOD, TURN, TURN_STOOD
OF_EACH_PANEL = ORDER, FOCUS, FRONT, IS_CHAIN
# The header of ``f``.
SET_UP_PRICE, MOVE_PRICE, FLOW_PRICE, TARDY_PRICE, PANEL_COSTS, BEST, LOWEST, LIMIT, PRICES = range(9)

# Records: the last name is their length.
(
    DAY,
    HEAD,  # the sittings within, as a chain
    PAINTER_DAY,
    DAY_BEGIN,  # in t: the windows of this painter on this day
    DAY_END,
    SLOT_BEGIN,
    SLOT_END,
    WINDOW,
) = range(8)
(
    OF_PANEL,
    MINUTES,
    PALETTE,
    LO,  # first and last window by itself
    HI,
    LIST_BEGIN,  # in t: the windows of the painters allowed
    LIST_END,
    LIST_FIRST,  # in t: window -> the first entry of that list not before it
    RACK_ROW,  # in t: window -> the day its place is free again; NOWHERE: it takes none
    OLD_DAY,  # in the plan before
    LOCKED,
    IS_LAST,
    IS_BOUND,  # something above it must come before a limit
    SOONEST_ROW,  # in t: window -> the first day of delivery from there, were there room for all above at once
    LINK_BEGIN,
    LINK_END,
    PALETTE_BEGIN,  # in t: the sittings of its palette
    PALETTE_END,
    NEXT,
    PRIOR,
    SITTING,
) = range(21)
BEFORE, KIND, LINK_LO, LINK_HI, LINK = range(5)  # LINK_LO, LINK_HI: in t, window -> window
BEGIN, END, FIRST_LINK, SIZE, DUE, EARLIEST, FINISH_ROW, FINISH_LEAST, MARK, PANEL = range(10)


class Columns(NamedTuple):
    """One plan on its way."""

    m: Any
    f: Any
    t: Any

    @property
    def at(self) -> list[int]:
        """The window of each sitting."""
        return [int(b) for b in self.m[self.m[AT] : self.m[AT] + self.m[N_SITTINGS]]]

    @property
    def standing(self) -> Any:
        """The same as the search holds it, to be put back by `Desk.restore` without loss of time."""
        return self.m[self.m[AT] : self.m[AT] + self.m[N_SITTINGS]].copy()

    @property
    def best_at(self) -> list[int]:
        """The same of the best plan seen."""
        return [int(b) for b in self.m[self.m[BEST_AT] : self.m[BEST_AT] + self.m[N_SITTINGS]]]

    def window(self, b: int, field: int) -> int:
        return int(self.m[self.m[WINDOWS] + b * WINDOW + field])

    def minutes_left(self, b: int) -> int:
        return int(self.m[self.m[CAP] + b] - self.m[self.m[LOAD] + b])

    def sitting(self, s: int, field: int) -> int:
        return int(self.m[self.m[SITTINGS] + s * SITTING + field])

    def panel(self, i: int, field: int) -> int:
        return int(self.m[self.m[PANELS] + i * PANEL + field])

    def sittings_of(self, i: int) -> range:
        return range(self.panel(i, BEGIN), self.panel(i, END))

    def plain(self) -> "Columns":
        """As lists, for the search that is not compiled."""
        return Columns(self.m.tolist(), self.f.tolist(), self.t.tolist())


class Arrays(Columns):
    """Columns as numpy's arrays, with the addresses that the compiled search wants: each search asks for them often."""

    @cached_property
    def addresses(self) -> tuple[int, int, int]:
        return self.m.ctypes.data, self.f.ctypes.data, self.t.ctypes.data


class Builder:
    """Puts an array of whole numbers together, part by part, and notes in its header where each begins."""

    def __init__(self) -> None:
        self.header = np.zeros(HEADER, np.int64)
        self._parts: list[np.ndarray] = [self.header]
        self._length = HEADER

    def put(self, name: int, numbers: np.ndarray) -> None:
        self.header[name] = self._length
        flat = np.asarray(numbers, np.int64).ravel()
        self._parts.append(flat)
        self._length += len(flat)

    def room(self, name: int, length: int, value: int = 0) -> None:
        self.put(name, np.full(length, value))

    def joined(self) -> np.ndarray:
        return np.concatenate(self._parts)
