"""Where one sitting of the plan in use fits while what is pinned stays, by the columns that the search itself works on.
What is not pinned makes room, so it counts for nothing here."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from sqlmodel import Session

from server.planning.schedule import solve, tables
from server.planning.schedule.calendar import Window, Zone
from server.planning.schedule.columns import FAR, HI, LO, NOWHERE
from server.planning.schedule.compiled import PLAIN
from server.planning.schedule.hands import with_hands
from server.planning.schedule.kernel import add, is_linked, price_at, take
from server.planning.schedule.model import build, kept_of
from server.planning.schedule.solve import Desk
from server.services import planning
from server.services.access import Actor
from server.services.board.facts import Moment
from server.services.board.films import panel_layers
from server.services.board.plan_problem import Extra, Room, problem
from server.services.board.rows import StudioRows, load
from server.services.board.standing import standings
from server.services.board.today import standing_sittings
from server.services.plan_reading import PlannedSitting
from server.services.planning_asked import PlanMake


@dataclass(frozen=True, slots=True)
class Fitting:
    """The windows of a sitting's painter, by what allows them: ``roomy`` have the minutes, mixing included, an easel
    and places in the rack; ``ready`` come once the layer below and the panel are ready; ``leading`` leave what is
    pinned above it its time to dry. ``ready_on`` is the first day of which all of that is true but for the hours;
    ``above``, pinned, comes next on the panel."""

    week: Zone
    windows: tuple[Window, ...]
    roomy: frozenset[int]
    ready: frozenset[int]
    leading: frozenset[int]
    ready_on: date
    above: PlannedSitting | None

    def fits(self) -> list[Window]:
        return [self.windows[n] for n in sorted(self.roomy & self.ready & self.leading)]


def fitting(
    session: Session, actor: Actor, sitting: PlannedSitting, settings: PlanMake, when: tuple[Moment, int]
) -> Fitting | None:
    """What a sitting of the plan in use fits into; ``when``: now, and so many days ahead. None where its panel has
    nothing to be planned any more."""
    moment, days = when
    rows = load(session, actor)
    if rows is None:
        return None
    stand = {s.uid: s for s in standing_sittings(rows) if s.on >= moment.on}
    stay = {uid: s for uid, s in stand.items() if s.pinned and uid != sitting.uid}
    stay |= {uid: stand[uid] for uid in _below(rows, sitting) if uid in stand}
    room = Room(
        painters=planning.painters(planning.all_open(session, actor), moment.on, 0),
        easels=settings.easels,
        rack_places=settings.rack_places,
        set_up_min=settings.mix_setup_min,
        stood={s.uid: (s.start_at, s.painter) for s in stay.values()},
        pinned=frozenset(stay),
    )
    made = _desk(rows, {sitting.panel_uid} | {s.panel_uid for s in stay.values()}, room, moment, days)
    number = made.model.shape.number.get(sitting.uid)
    return None if number is None else _read(made, number, sitting, stay)


def _below(rows: StudioRows, sitting: PlannedSitting) -> Iterator[str]:
    """The layers below it on its panel."""
    [panel] = [panel for panel in rows.panels if panel.uid == sitting.panel_uid]
    for layer in rows.layers.get(panel.id, ()):
        if layer.uid == sitting.uid:
            return
        yield layer.uid


def _desk(rows: StudioRows, panels: Collection[str], room: Room, moment: Moment, days: int) -> Desk:
    """Columns of some panels in which nothing stands but what stays."""
    some = replace(rows, panels=[panel for panel in rows.panels if panel.uid in panels])
    found = standings(some, panel_layers(some, moment), moment)
    stops = {uid: rest for uid, rest in rows.plan.rests.items() if rest.is_stop} if rows.plan else {}
    question = replace(problem(found, some, moment, room, Extra(rests=stops)), keep_today=False)
    return solve.desk(build(with_hands(question), days, kept_of(question)), PLAIN, 1)


def _read(made: Desk, s: int, sitting: PlannedSitting, stay: Mapping[str, PlannedSitting]) -> Fitting:
    model, c = made.model, made.c
    names = [painter.id for painter in model.problem.painters]
    mine = [b for b, window in enumerate(model.windows) if names[window.painter] == sitting.painter]
    panel = model.panels[model.panel_of[s]]
    above = [model.shape.number[link.after] for link in panel.links if link.before == sitting.uid]
    pinned = [t for t in above if made.window_of(t) != NOWHERE]
    roomy, ready, leading = set(), set(), set()
    for n, b in enumerate(mine):
        if price_at(c, s, b) < FAR:
            roomy.add(n)
        if c.sitting(s, LO) <= b <= c.sitting(s, HI) and is_linked(c, s, b):
            ready.add(n)
        add(c, s, b)
        if all(is_linked(c, t, made.window_of(t)) for t in pinned):
            leading.add(n)
        take(c, s)
    return Fitting(
        week=model.zone,
        windows=tuple(model.windows[b] for b in mine),
        roomy=frozenset(roomy),
        ready=frozenset(ready),
        leading=frozenset(leading),
        ready_on=_ready_on(made, s),
        above=next((stay[model.sittings[t].id] for t in pinned), None),
    )


def _ready_on(made: Desk, s: int) -> date:
    """The day on which the layer below and the panel are ready for a sitting."""
    model = made.model
    panel, sitting = model.panels[model.panel_of[s]], model.sittings[s]
    of = {one.id: one for one in panel.sittings}
    ready = [tables.released_min(model.problem, model.zone, panel)]
    for link in panel.links:
        below = model.shape.number.get(link.before)
        if link.after == sitting.id and below is not None and made.window_of(below) != NOWHERE:
            end = float(model.windows[made.window_of(below)].end_min)
            wait = tables.lower_limit(model.problem, link, of[link.before])
            ready.append(model.shape.tables.of(panel).ready_min(end, wait))
    return model.zone.instant(max(ready)).date()
