"""Whether the plan in use leaves a sitting the time it takes by now: a layer may want longer, or another mix."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from sqlalchemy import Row

from server.services.board.facts import BrokenSitting
from server.services.board.rows import StudioRows
from server.services.plan_reading import PlanInUse, PlannedSitting

SITTING_MIN = 90  # where a layer says nothing; an assumption
MIXING_MIN = 30  # of plans that do not say


Mixed = Mapping[tuple[str, str, date], datetime]  # a palette in somebody's hands on a day: the first sitting with it


def first_mixed(plan: PlanInUse | None) -> Mixed:
    """When each palette is first used on each day of a plan."""
    found: dict[tuple[str, str, date], datetime] = {}
    for one in plan.sittings.values() if plan is not None else ():
        key = (one.palette or "", one.painter, one.on)
        found[key] = min(one.start_at, found.get(key, one.start_at))
    return found


def too_short(sitting: PlannedSitting, layer: Row[Any], rows: StudioRows, mixed: Mixed) -> BrokenSitting | None:
    """What a sitting takes, its mixing counted, where that is more than was planned for it; None where it is not.
    Nothing is mixed anew for it where another sitting of its day has the same before it."""
    assert rows.plan is not None
    has = sitting.mixing_min + round((sitting.end_at - sitting.start_at).total_seconds() / 60)
    takes = int(layer.sitting_min or SITTING_MIN)
    palette = rows.palette_of(layer)
    if palette is not None and mixed.get((palette, sitting.painter, sitting.on), sitting.start_at) >= sitting.start_at:
        takes += int(rows.plan.settings.get("mix_setup_min", MIXING_MIN))
    return BrokenSitting("short", takes_min=takes, has_min=has) if takes > has else None
