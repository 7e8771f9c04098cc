"""From windows to times: sittings one after the other within their window, mixing first, and the terms of the whole."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from server.planning.schedule.columns import NOWHERE
from server.planning.schedule.model import Model
from server.planning.schedule.plan import Moved, Objective, PlacedSitting, PlannedPanel
from server.planning.schedule.problem import FLOW_PRICE, TARDINESS_PRICE, PanelJob
from server.planning.schedule.speed import DryingClock

FIRST = -1e9  # before any minute


@dataclass(frozen=True, slots=True)
class Timed:
    """A sitting's minutes from the origin, painting only; ``mixing`` minutes go before."""

    start: float
    end: float
    mixing: int


def times(model: Model, at: Sequence[int]) -> dict[int, Timed]:
    """When each placed sitting begins and ends. Within a window: in the order of links, pins at their own time where
    the others leave room, then the same palettes side by side."""
    here: dict[int, list[int]] = {}
    for s, b in enumerate(at):
        if b != NOWHERE:
            here.setdefault(b, []).append(s)
    found: dict[int, Timed] = {}
    mixed: set[tuple[int, int, str]] = set()
    wanted = pinned_minutes(model)
    for b in sorted(here):
        found |= within(model, b, here[b], mixed, wanted)
    return found


def pinned_minutes(model: Model) -> dict[str, float]:
    """The minute at which each pinned sitting is to begin."""
    return {p.sitting: model.zone.minute_of(p.start_at) for p in model.problem.previous if p.pinned and not p.done}


def _in_turn(model: Model, sittings: list[int], wanted: dict[str, float]) -> list[int]:
    if len(sittings) == 1:
        return sittings
    palettes = {s: model.sittings[s].palette or "" for s in sittings}
    first = {palette: min(s for s in sittings if palettes[s] == palette) for palette in palettes.values()}
    # A panel's own sittings are numbered in the order of their links; they must stay so.
    of_panel = model.panel_of
    lead = {of_panel[s]: min(t for t in sittings if of_panel[t] == of_panel[s]) for s in sittings}
    heads = {s: lead[of_panel[s]] for s in sittings}
    # So what follows a pin does not go before it.
    pins = {s: wanted.get(model.sittings[s].id, FIRST) for s in sittings}
    after = {s: max(pins[t] for t in sittings if of_panel[t] == of_panel[s] and t <= s) for s in sittings}
    return sorted(sittings, key=lambda s: (after[s], first[palettes[heads[s]]], heads[s], s))


def within(
    model: Model, b: int, standing: list[int], mixed: set[tuple[int, int, str]], wanted: dict[str, float]
) -> dict[int, Timed]:
    """When each of the sittings that stand in window ``b`` begins and ends. ``mixed``: the painters' days and palettes
    that need no mixing any more; those of this window are added. ``wanted``: see `pinned_minutes`."""
    window, set_up, sittings = model.windows[b], model.problem.set_up_min, _in_turn(model, standing, wanted)
    mixing = []
    for s in sittings:
        palette = model.sittings[s].palette
        key = (window.painter, window.day, palette or "")
        mixing.append(set_up if palette is not None and key not in mixed else 0)
        mixed.add(key)
    left = sum(mixing) + sum(model.sittings[s].minutes for s in sittings)
    clock = float(window.start_min)
    found: dict[int, Timed] = {}
    for s, minutes in zip(sittings, mixing, strict=True):
        sitting = model.sittings[s]
        pinned = wanted.get(sitting.id)
        if pinned is not None:
            clock = max(clock, min(pinned - minutes, window.end_min - left))
        found[s] = Timed(clock + minutes, clock + minutes + sitting.minutes, minutes)
        clock += minutes + sitting.minutes
        left -= minutes + sitting.minutes
    return found


def placed(model: Model, at: Sequence[int], timed: dict[int, Timed]) -> list[PlacedSitting]:
    """The sittings in the order of their times."""
    zone = model.zone
    found = []
    dry = _ready(model, at, timed)
    for s, time in sorted(timed.items(), key=lambda item: (item[1].start, item[0])):
        sitting, window = model.sittings[s], model.windows[at[s]]
        ready, start_at = zone.instant(dry[s]) if s in dry else None, zone.instant(time.start)
        found.append(
            PlacedSitting(
                id=sitting.id,
                panel=model.panels[model.panel_of[s]].id,
                painter=model.problem.painters[window.painter].id,
                start_at=start_at,
                end_at=zone.instant(time.end),
                palette=sitting.palette,
                set_up_min=time.mixing,
                ready_at=None if ready is None else _up_to_second(ready),
                may_slip_to=start_at,
            )
        )
    return found


def _ready(model: Model, at: Sequence[int], placed: Iterable[int]) -> dict[int, float]:
    """The minute by which each layer laid is ready, at the confidence asked for."""
    of_clock: dict[DryingClock, list[tuple[int, float]]] = {}
    for s in placed:
        drying = model.sittings[s].drying
        if drying is not None:
            clock = model.shape.tables.of(model.panels[model.panel_of[s]]).clock
            of_clock.setdefault(clock, []).append((s, drying.at(model.problem.confidence)))
    found: dict[int, float] = {}
    for clock, waits in of_clock.items():
        laid = np.array([model.windows[at[s]].end_min for s, _ in waits], float)
        minutes = clock.after(laid, np.array([wait_d for _, wait_d in waits]))
        found.update(zip([s for s, _ in waits], minutes.tolist(), strict=True))
    return found


def _up_to_second(at: datetime) -> datetime:
    """The next full second, so that what is told is never too early."""
    whole = at.replace(microsecond=0)
    return whole if whole == at else whole + timedelta(seconds=1)


def panels(model: Model, at: Sequence[int], earliest: Sequence[int | None]) -> list[PlannedPanel]:
    """When each panel is deliverable."""
    found = []
    for i, panel in enumerate(model.panels):
        finish = finish_day(model, at, i)
        soonest = earliest[i] if _is_whole(model, panel) else None
        if finish is not None:
            soonest = finish if soonest is None else min(soonest, finish)
        late = 0
        if finish is not None and panel.due_on is not None:
            late = max(0, finish - (panel.due_on - model.problem.today).days)
        found.append(PlannedPanel(panel.id, _date(model, finish), late, _date(model, soonest)))
    return found


def _is_whole(model: Model, panel: PanelJob) -> bool:
    """Whether every sitting of the panel is over or among those that are planned: what has no place even alone in the
    studio has no soonest day either."""
    shape = model.shape
    return all(sitting.id in shape.number or sitting.id in shape.done for sitting in panel.sittings)


def _date(model: Model, day: int | None) -> date | None:
    return None if day is None else model.problem.today + timedelta(days=day)


def finish_day(model: Model, at: Sequence[int], i: int) -> int | None:
    """The day a panel is deliverable, None while a sitting of it has no place."""
    panel, shape = model.panels[i], model.shape
    numbers = [shape.number.get(sitting.id) for sitting in panel.sittings if sitting.id not in shape.done]
    if any(number is None or at[number] == NOWHERE for number in numbers):
        return None
    over = max(
        (shape.done[sitting.id].end_min for sitting in panel.sittings if sitting.id in shape.done), default=FIRST
    )
    last = max((at[n] for n in numbers if n is not None), key=lambda b: model.windows[b].end_min, default=NOWHERE)
    own, wait_d = shape.tables.of(panel), panel.final_wait.at(model.problem.confidence)
    if last == NOWHERE or over > model.windows[last].end_min:
        return int(own.finish_days(np.array([over]), wait_d, panel.handling_d)[0])
    return int(shape.tables.rows["finish"][own.finish(wait_d, panel.handling_d)][last])


def objective(model: Model, sittings: Sequence[PlacedSitting], planned: Sequence[PlannedPanel]) -> Objective:
    """The terms of the objective from what is told."""
    weights = {panel.id: panel.weight for panel in model.panels}
    tardiness = sum(weights[p.id] * p.late_d for p in planned)
    flow = sum((p.finish_on - p.earliest_on).days for p in planned if p.finish_on and p.earliest_on)
    set_ups = len({(s.painter, s.start_at.date(), s.palette) for s in sittings if s.palette is not None})
    count = len(moved(model, sittings))
    mixing, moving = model.problem.set_up_price * set_ups, model.problem.move_price * count
    total = TARDINESS_PRICE * tardiness + mixing + FLOW_PRICE * flow + moving
    return Objective(total, tardiness, set_ups, flow, count)


def moved(model: Model, sittings: Sequence[PlacedSitting]) -> list[Moved]:
    """Sittings of the plan before that are on another day now."""
    stood = {p.sitting: p.start_at for p in model.problem.previous if not p.done}
    zone = model.problem.zone
    return [
        Moved(s.id, stood[s.id].astimezone(zone), s.start_at)
        for s in sittings
        if s.id in stood and stood[s.id].astimezone(zone).date() != s.start_at.date()
    ]
