"""Why a sitting is not sooner: what it waits for, and what has taken the working times since then.

Every reason is one that holds of each window it speaks of; where windows are taken by different things, each is told
with its number.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from server.planning.schedule import tables
from server.planning.schedule.calendar import MINUTES_PER_DAY
from server.planning.schedule.columns import (
    DAY,
    INTO,
    KIND,
    LINK_BEGIN,
    LINK_LO,
    NOWHERE,
    OLD_DAY,
    SMALLEST,
)
from server.planning.schedule.kernel import pays_mixing, price_alone
from server.planning.schedule.plan import Binding
from server.planning.schedule.problem import Link, LinkKind, PanelJob
from server.planning.schedule.reader import (
    FREE,
    NO_EASEL,
    NO_RACK,
    PAINTER,
    SHORT,
    TOO_EARLY,
    TOO_LATE,
    UNMIXED,
    Lifted,
    Reader,
    day_of,
    when,
)

A_DAY = timedelta(days=1)
MOST_NAMES = 4


@dataclass(frozen=True, slots=True)
class Wait:
    """What a sitting waits for at the least: from which window on it could be, were there room. ``link`` to the sitting
    it follows, laid until ``end_min``; None: the release of the panel."""

    window: int
    link: Link | None = None
    end_min: float = 0.0


Seen = list[tuple[int, str]]  # windows, and what each would do to the sitting


def reason(lifted: Lifted) -> Binding:
    """What keeps a sitting, lifted out of the plan, from a sooner window than its own."""
    wait = _wait(lifted.reader, lifted.s)
    seen, is_whole = _looked_back(lifted, wait)
    free = [w for w, state in seen if state == FREE]
    if free:
        return _by_choice(lifted, free)
    if seen:
        return _taken(lifted, seen, wait if is_whole else None)
    return _waiting(lifted, wait)


def _looked_back(lifted: Lifted, wait: Wait) -> tuple[Seen, bool]:
    """The windows before that come after the wait, the last of them where there are many; whether these are all."""
    reader, s = lifted.reader, lifted.s
    first = reader.position(s, min(wait.window, len(reader.model.windows)))
    seen, is_whole = lifted.seen(reader.position(s, lifted.b) - 1, first)
    return seen[::-1], is_whole


# What it waits for


def _wait(reader: Reader, s: int) -> Wait:
    found = Wait(_released(reader, s))
    for link, window, end_min in _below(reader, s):
        if window >= found.window and window > 0:
            found = Wait(window, link, end_min)
    return found


def _released(reader: Reader, s: int) -> int:
    model = reader.model
    there = tables.released_min(model.problem, model.zone, model.panels[model.panel_of[s]])
    return int(np.searchsorted(model.shape.tables.start, there - tables.EDGE_MIN))


def _below(reader: Reader, s: int) -> Iterator[tuple[Link, int, float]]:
    """The links to what s follows, each with the first window it lets s be in, and when the layer was laid."""
    model, c = reader.model, reader.c
    for n, (link, below) in enumerate(model.shape.links[s]):
        j, before = c.sitting(s, LINK_BEGIN) + n, reader.at(model.shape.number[below.id])
        if before != NOWHERE:
            window = c.t[reader.link(j, LINK_LO) + before]
            first = min(window, before) if reader.link(j, KIND) == INTO else window
            yield link, int(first), float(model.windows[before].end_min)
    panel = model.panels[model.panel_of[s]]
    of = {one.id: one for one in panel.sittings}
    for link in panel.links:
        laid = model.shape.done.get(link.before) if link.after == reader.name(s) else None
        if laid is not None:
            lower = tables.lower_limit(model.problem, link, of[link.before])
            ready = model.shape.tables.of(panel).ready_min(laid.end_min, lower)
            yield link, int(np.searchsorted(model.shape.tables.start, ready - tables.EDGE_MIN)), laid.end_min


def _waiting(lifted: Lifted, wait: Wait) -> Binding:
    """Nothing but its own earliest day keeps it: drying, release, or that nobody works before."""
    reader, start = lifted.reader, lifted.reader.start(lifted.b)
    panel = reader.model.panels[reader.model.panel_of[lifted.s]]
    if wait.link is None:
        if wait.window == 0 or panel.release_on is None:
            return Binding("released", None, "the first working time there is")
        there = f"the panel is there from {day_of(panel.release_on)}"
        return Binding("released", None, f"{there}; {_closed(lifted)}" if start.date() > panel.release_on else there)
    name = wait.link.before
    kind, ready = _over(reader, panel, wait)
    if kind == "follows":
        return Binding(kind, name, f"straight after {name}")
    told = _waited(reader, panel, wait)
    if kind == "rule":
        return Binding(kind, name, told)
    if start - ready >= A_DAY:
        return Binding("closed", name, f"{told}; {_closed(lifted)}")
    if _is_dry(wait.link):
        return Binding("drying", name, f"as soon as {name} is ready, by {day_of(ready)}")
    return Binding("drying", name, f"as soon as {name} is tacky, by {when(ready)}")


def _closed(lifted: Lifted) -> str:
    start = lifted.reader.start(lifted.b)
    if lifted.reader.model.sittings[lifted.s].painters:
        return f"nobody who may paint it works until {when(start)}"
    return f"nobody works until {when(start)}"


def _over(reader: Reader, panel: PanelJob, wait: Wait) -> tuple[str, datetime]:
    """The kind of a wait for what lies below, and when it is over."""
    link, model = wait.link, reader.model
    assert link is not None
    if link.kind in {LinkKind.WET_IN_WET, LinkKind.SPLIT}:
        return "follows", model.zone.instant(wait.end_min)
    below = next(one for one in panel.sittings if one.id == link.before)
    lower = tables.lower_limit(model.problem, link, below)
    own = model.shape.tables.of(panel)
    ready = own.ready_min(wait.end_min, tables.Wait(lower.reference_d))
    rested = wait.end_min + lower.rest_d * MINUTES_PER_DAY
    return ("rule", model.zone.instant(rested)) if rested > ready else ("drying", model.zone.instant(ready))


def _is_dry(link: Link) -> bool:
    """Of drying over days no more than the day is known, and told."""
    return link.kind is LinkKind.DRY


def _waited(reader: Reader, panel: PanelJob, wait: Wait) -> str:
    """What it waits for in words; empty where that is nothing but today."""
    if wait.link is None:
        if panel.release_on is None or panel.release_on <= reader.model.problem.today:
            return ""
        return f"the panel is there from {day_of(panel.release_on)}"
    kind, ready = _over(reader, panel, wait)
    name = wait.link.before
    if kind == "follows":
        return f"it goes on after {name}"
    if kind == "rule":
        return f"a rule asks to wait over {name} until {day_of(ready)}"
    return f"{name} is ready by {day_of(ready)}" if _is_dry(wait.link) else f"{name} is tacky by {when(ready)}"


# What has taken the working times since


def _taken(lifted: Lifted, seen: Seen, wait: Wait | None) -> Binding:
    """All windows seen are taken: by what, and how many by each. ``wait``: what came before the first of them."""
    reader = lifted.reader
    panel = reader.model.panels[reader.model.panel_of[lifted.s]]
    told = "" if wait is None else _waited(reader, panel, wait)
    by_state: dict[str, list[int]] = {}
    for w, state in reversed(seen):
        by_state.setdefault(state, []).append(w)
    ordered = sorted(by_state, key=lambda state: -len(by_state[state]))  # of as many the one that is nearest
    clauses: list[str] = []
    for state in ordered:
        count = len(by_state[state])
        times = _of_them(count) if clauses else _times(count, len(seen), is_since=bool(told))
        clauses.append(_clause(lifted, state, by_state[state], times))
    text = "; ".join([told, *clauses] if told else clauses)
    return Binding(ordered[0], _holder(lifted, ordered[0], by_state[ordered[0]][0]), text)


def _times(count: int, of_all: int, *, is_since: bool) -> str:
    if count < of_all:
        verb = "is" if count == 1 else "are"
        since = f"{count} of the {of_all} working times since then {verb}"
        return since if is_since else f"{count} of the {of_all} working times before {verb}"
    if is_since:
        return "the working time since then is" if count == 1 else f"the {count} working times since then are"
    return "the working time before is" if count == 1 else f"the {count} working times before are"


def _of_them(count: int) -> str:
    return "one of them is" if count == 1 else f"{count} of them are"


def _clause(lifted: Lifted, state: str, windows: Sequence[int], times: str) -> str:
    reader, last = lifted.reader, windows[0]
    if state == PAINTER:
        names = ", ".join([reader.name(s) for s in reader.standing_in(last)][:MOST_NAMES])
        return f"{times} full, with {names}" if len(windows) == 1 else f"{times} full, the last with {names}"
    if state == SHORT:
        minutes = reader.needs(lifted.s, last)
        return f"{times} too short for its {minutes} minutes"
    if state == NO_EASEL:
        return f"{times} without a free easel"
    if state == NO_RACK:
        return f"{times} too early: the rack is full until places come free"
    if state == UNMIXED:
        palette = _palette(lifted)
        return f"{times} without time for the palette {palette} to be mixed for others of its day"
    following = [reader.name(t) for w in windows for fault, t in reader.after(lifted.s, w) if fault == state]
    names = ", ".join(dict.fromkeys(following))
    if state == TOO_EARLY:
        return f"{times} too early: {names} would come too late for its paint"
    assert state == TOO_LATE
    return f"{times} not over in time for {names}"


def _holder(lifted: Lifted, state: str, last: int) -> str | None:
    if state == PAINTER:
        return lifted.reader.model.problem.painters[lifted.reader.model.windows[last].painter].id
    return _palette(lifted) if state == UNMIXED else None


def _palette(lifted: Lifted) -> str | None:
    return lifted.reader.model.sittings[lifted.s].palette


# What the plan chose


def _by_choice(lifted: Lifted, free: list[int]) -> Binding:
    """It could be sooner; what that would cost, or that nobody would gain by it."""
    reader, c, s, b = lifted.reader, lifted.reader.c, lifted.s, lifted.b
    cheap = [w for w in free if price_alone(c, s, w) <= lifted.here + SMALLEST]
    if not cheap:
        is_dearer = pays_mixing(c, s, free[-1]) and not pays_mixing(c, s, b)
        if is_dearer:
            palette = _palette(lifted)
            return Binding("palette", palette, f"shares the palette {palette} with other sittings of the day")
        if c.sitting(s, OLD_DAY) == c.window(b, DAY):
            return Binding("kept", None, "stays on the day it stood")
    now = reader.finish(s, b)
    sooner = [w for w in free if reader.finish(s, w) < now]
    at = when(reader.start_of(s, (sooner or cheap or free)[0]))
    if sooner and not cheap:
        text = f"could be painted from {at}, and the panel be ready sooner; the plan as a whole would cost more"
        return Binding("free", None, text)
    if sooner:
        text = f"could be painted from {at}, and the panel be ready sooner; the search did not come to that"
        return Binding("free", None, text)
    return Binding("free", None, f"could be painted from {at}; the panel would not be ready sooner for it")
