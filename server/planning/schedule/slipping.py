"""How far a sitting may slip while all else stays and nothing gets late for it."""

from collections.abc import Callable
from datetime import datetime

import numpy as np

from server.planning.schedule.columns import DUE, HI, NOWHERE, OF_PANEL
from server.planning.schedule.reader import Lifted
from server.planning.schedule.soonest import FAR_DAY

LOOKED_AHEAD_D = 60  # of a sitting that nothing waits for; further off, "may slip" says no more


MayBe = Callable[[str, datetime], bool]  # whether a sitting may begin then, by what the search knows nothing of


def last_window(lifted: Lifted, may_be: MayBe | None = None) -> int:
    """The last window that it may go to. What mixing once more or another day costs is no matter here: slipping is what
    happens, not what is chosen."""
    reader, s, b = lifted.reader, lifted.s, lifted.b
    limit, first = _latest_finish(lifted), reader.position(s, b + 1)
    at = reader.position(s, _bound(lifted, limit) + 1)
    while True:
        at = lifted.last_free(at - 1, first, limit)
        if at == NOWHERE:
            return b
        w = int(reader.c.t[at])
        if may_be is None or may_be(reader.name(s), reader.start(w)):
            return w


def _latest_finish(lifted: Lifted) -> int:
    """The last day on which its panel may be deliverable: its due day, or the day it comes to anyway."""
    reader = lifted.reader
    due = reader.c.panel(reader.c.sitting(lifted.s, OF_PANEL), DUE)
    return max(due, reader.finish(lifted.s, lifted.b))


def _bound(lifted: Lifted, limit: int) -> int:
    """The last window worth a look."""
    reader, s, b = lifted.reader, lifted.s, lifted.b
    model = reader.model
    last_day = limit if limit < FAR_DAY else model.windows[b].day + LOOKED_AHEAD_D
    until = model.zone.minute_of(model.zone.day_start(min(last_day, model.days) + 1))
    bound = int(np.searchsorted(model.shape.tables.start, until)) - 1
    stands = [reader.at(t) for _, t in reader.onward[s] if reader.at(t) != NOWHERE]
    return max(b, min(bound, reader.c.sitting(s, HI), *stands))
