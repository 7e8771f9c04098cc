"""A sitting moved by hand, a working day at a time: where it would be then. The plan around it is set right."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.planning.schedule.calendar import Window, Zone
from server.services import planning_fits, records
from server.services.access import Actor
from server.services.board.today import moment_at
from server.services.errors import Refused
from server.services.plan_reading import PlanInUse, PlannedSitting
from server.services.planning_asked import PlanMake
from server.services.planning_fits import Fitting
from server.store.tables import Layer

Way = Literal["earlier", "later"]
LOOKS_AHEAD_D = 200


@dataclass(frozen=True, slots=True)
class Move:
    """Which layer's sitting, which way, and ``from_at`` where a plan that waits has it by hand already."""

    uid: str
    way: Way
    from_at: datetime | None = None


def beside(
    session: Session, actor: Actor, plan: PlanInUse, move: Move, when: tuple[datetime, ZoneInfo]
) -> tuple[PlannedSitting, datetime]:
    """The sitting of a layer, and the beginning of the working time in which it fits on the nearest day before or after
    its own, or that to which it was moved already in a plan that waits.

    Raises ``Refused`` for a layer that is not in the plan or stands there no more, and where there is no such day, with
    why.
    """
    uid, way = move.uid, move.way
    sitting = plan.sittings.get(uid)
    if sitting is None:
        raise Refused("This sitting is not in the plan in use. Nothing was changed.")
    _check_standing(records.find(session, actor, Layer, uid), sitting)
    now, zone = when
    week = Zone(zone, now.astimezone(zone).date())
    day = week.day_of(move.from_at or sitting.start_at)
    settings = PlanMake.model_validate(dict(plan.settings))
    days = max(day, 0) + LOOKS_AHEAD_D
    fitting = planning_fits.fitting(session, actor, sitting, settings, (moment_at(now, zone), days))
    if fitting is None:
        raise Refused("This sitting is not in the plan in use. Nothing was changed.")
    found = _nearest(fitting.fits(), day, way)
    if found is None:
        raise Refused(_why_none(fitting, sitting, day, way))
    return sitting, week.instant(found.start_min)


def _check_standing(layer: Layer, sitting: PlannedSitting) -> None:
    """Raise ``Refused`` for a layer that is on, and for one whose day is not the plan's any more."""
    if layer.painted_at is not None:
        raise Refused("This layer is painted already, so there is nothing to move. Nothing was changed.")
    if layer.planned_on != sitting.on:
        raise Refused("Its day was changed by hand since. Set the plan right first. Nothing was changed.")


def _nearest(fits: list[Window], day: int, way: Way) -> Window | None:
    """The first window of the nearest day on that side; never one of today, which is under way."""
    if way == "later":
        return next((w for w in fits if w.day > max(day, 0)), None)
    before = [w for w in fits if 0 < w.day < day]
    return next((w for w in before if w.day == before[-1].day), None)


def _why_none(fitting: Fitting, sitting: PlannedSitting, day: int, way: Way) -> str:
    """What stands in the way of every working day on that side."""
    some = [n for n in fitting.roomy if _nearest([fitting.windows[n]], day, way) is not None]
    if any(n not in fitting.ready for n in some):
        return f"The layer below is ready only from {_day(fitting.ready_on)}. Nothing was changed."
    if some and fitting.above is not None:
        kind, pinned_on = fitting.above.kind, _day(fitting.above.on)
        return (
            f"The layer above it, {kind}, is pinned to {pinned_on}, and this one has to dry before. "
            "Let that one move first. Nothing was changed."
        )
    return f"{sitting.painter} has no working day {way} than this with time enough for it. Nothing was changed."


def _day(on: date) -> str:
    return f"{on.day} {on:%B %Y}"
