"""Today, or another chosen day: what can be painted, what wants a fingertip first, what rests."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, time, timedelta, timezone
from itertools import count
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.services.access import Actor
from server.services.board.facts import Moment, PanelFact, Standing, TodayBoard
from server.services.board.films import panel_layers
from server.services.board.leftovers import reminders
from server.services.board.marked import broken_of, marked_facts
from server.services.board.plan_holds import plan_holds
from server.services.board.plan_odds import planned_standings
from server.services.board.rows import StudioRows, load
from server.services.board.sitting import open_sitting
from server.services.board.snapshot import snapshot
from server.services.board.spans import start_of_day
from server.services.board.told import told_once
from server.services.kept import Kept
from server.services.plan_reading import PlannedSitting

FAR = date.max
# The hour at which another day than today is looked at: before the first sitting.
MORNING = time(9)
EVERY = timedelta(minutes=10)
_EPOCH = datetime(2000, 1, 1, tzinfo=timezone.utc)
FACTS_KEPT = 12_000
FACTS: Kept[PanelFact] = Kept(FACTS_KEPT)
_numbers = count(1)


def moment_of(now: datetime, zone: ZoneInfo, on: date | None = None) -> Moment:
    """Now, or the morning of a chosen day in the studio's zone."""
    today = now.astimezone(zone).date()
    if on is None or on == today:
        at = _EPOCH - (_EPOCH - now) // EVERY * EVERY  # up to the next full ten minutes
        return Moment(at, today, start_of_day(today, zone), today, zone)
    at = datetime.combine(on, MORNING, zone).astimezone(timezone.utc)
    return Moment(at, on, start_of_day(on, zone), today, zone)


def moment_at(at: datetime, zone: ZoneInfo) -> Moment:
    """An instant to the second, as something is put to the rules when it is done."""
    day = at.astimezone(zone).date()
    return Moment(at, day, start_of_day(day, zone), day, zone)


def panel_facts(rows: StudioRows, moment: Moment) -> list[PanelFact]:
    """Every panel of ``rows``, in their order; what was told of the same panel at the same moment is told again."""

    def made(part: StudioRows) -> list[PanelFact]:
        found = planned_standings(part, panel_layers(part, moment), moment)
        return marked_facts(found, part, moment)

    return told_once(FACTS, rows, moment, made)


def today(session: Session, actor: Actor, now: datetime, zone: ZoneInfo, on: date | None = None) -> TodayBoard:
    """The board of today, or of the morning of ``on``. The number of queries does not depend on the studio's size."""
    moment = moment_of(now, zone, on)
    found = snapshot(session, actor)
    return found.keep(("today", moment), lambda: _board(found.rows, moment))


def _board(rows: StudioRows, moment: Moment) -> TodayBoard:
    groups: dict[Standing, list[PanelFact]] = {standing: [] for standing in Standing}
    for fact in panel_facts(rows, moment):
        groups[fact.standing].append(fact)
    ordered = {standing: tuple(sorted(facts, key=ORDER[standing])) for standing, facts in groups.items()}
    facts = [fact for group in ordered.values() for fact in group]
    at_risk = [fact for fact in facts if fact.due and fact.due.at_risk]
    at_risk.sort(key=_due_first)
    sitting = open_sitting(rows, moment)
    broken = broken_of(facts)
    standing = standing_sittings(rows)
    planned = [replace(one, broken=broken[one.uid]) if one.uid in broken else one for one in standing]
    return TodayBoard(
        number=next(_numbers),
        moment=moment,
        groups=ordered,
        at_risk=tuple(at_risk),
        has_panels=bool(rows.panels),
        sitting=sitting,
        planned=tuple(one for one in planned if one.on == moment.on),
        next_planned=next((one for one in planned if one.on > moment.on), None),
        leftovers=reminders(rows, moment),
        holds=plan_holds(rows, facts, moment),
        plan_waits=rows.plan_waits,
    )


def standing_sittings(rows: StudioRows) -> list[PlannedSitting]:
    """The sittings of the plan in use that still stand, by their times."""
    to_come = (layer for panel in rows.panels for layer in rows.layers.get(panel.id, ()))
    found = [sitting for layer in to_come if (sitting := rows.sitting_of(layer)) is not None]
    return sorted(found, key=lambda one: (one.start_at, one.title))


def one_panel(session: Session, actor: Actor, uid: str, moment: Moment) -> PanelFact | None:
    """One panel as Today shows it, for an answer that changes that card alone; None when there is no such panel."""
    rows = load(session, actor, uid)
    return None if rows is None else panel_facts(rows, moment)[0]


def _due_first(fact: PanelFact) -> tuple[date, str]:
    return (fact.due.on if fact.due else FAR, fact.title)


def _open_first(fact: PanelFact) -> tuple[date, date, str]:
    return (fact.rest.allowed_from or fact.rest.ready_from or FAR, *_due_first(fact))


def _likely_first(fact: PanelFact) -> tuple[float, date, str]:
    return (-(fact.rest.touch_odds or 0.0), *_due_first(fact))


ORDER: dict[Standing, Callable[[PanelFact], tuple[object, ...]]] = {
    Standing.READY: _due_first,
    Standing.TEST_FIRST: _likely_first,
    Standing.RESTS: _open_first,
    Standing.STOPPED: _open_first,
    Standing.UNPLANNED: _due_first,
    Standing.FINISHED: _due_first,
}
