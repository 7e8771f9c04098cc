"""A sitting moved by hand, a working day at a time: where it would be then. The plan around it is set right."""

from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.planning.schedule.calendar import Window, Zone, windows
from server.services import planning
from server.services.access import Actor
from server.services.errors import Refused
from server.services.plan_reading import PlanInUse, PlannedSitting
from server.services.planning_make import PlanMake

Way = Literal["earlier", "later"]
LOOKS_AHEAD_D = 200


def beside(
    session: Session, actor: Actor, plan: PlanInUse, move: tuple[str, Way], when: tuple[datetime, ZoneInfo]
) -> tuple[PlannedSitting, datetime]:
    """The sitting of a layer, and when it would begin on the working day before or after its own.

    Raises ``Refused`` for a layer that is not in the plan, and where there is no such day.
    """
    uid, way = move
    sitting = plan.sittings.get(uid)
    if sitting is None:
        raise Refused("This sitting is not in the plan in use. Nothing was changed.")
    now, zone = when
    week = Zone(zone, now.astimezone(zone).date())
    painters = planning.painters(planning.all_open(session, actor), week.today, 0)
    mine = tuple(painter for painter in painters if painter.id == sitting.painter)
    mixing = PlanMake.model_validate(dict(plan.settings)).mix_setup_min if sitting.palette else 0
    need = round((sitting.end_at - sitting.start_at).total_seconds() / 60) + mixing
    day = week.day_of(sitting.start_at)
    fits = [w for w in windows(mine, week, max(day, 0) + LOOKS_AHEAD_D) if w.minutes >= need]
    found = _nearest(fits, day, way)
    if found is None:
        raise Refused(f"{sitting.painter} has no working day {way} than this with time enough for it.")
    return sitting, week.instant(found.start_min + mixing)


def _nearest(fits: list[Window], day: int, way: Way) -> Window | None:
    """The first window of the nearest day on that side; never one of today, which is under way."""
    if way == "later":
        return next((w for w in fits if w.day > max(day, 0)), None)
    before = [w for w in fits if 0 < w.day < day]
    return next((w for w in before if w.day == before[-1].day), None)
