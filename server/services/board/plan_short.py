"""Whether the plan in use leaves a sitting the time it takes by now: a layer may want longer, or another mix."""

from typing import Any

from sqlalchemy import Row

from server.services.board.rows import StudioRows
from server.services.plan_reading import BrokenSitting, PlannedSitting

SITTING_MIN = 90  # where a layer says nothing; an assumption
MIXING_MIN = 30  # of plans that do not say


def too_short(sitting: PlannedSitting, layer: Row[Any], rows: StudioRows) -> BrokenSitting | None:
    """What a sitting takes, its mixing counted, where that is more than was planned for it; None where it is not.
    Nothing is mixed anew for it where another sitting of its day has the same before it."""
    assert rows.plan is not None
    has = sitting.mixing_min + round((sitting.end_at - sitting.start_at).total_seconds() / 60)
    takes = int(layer.sitting_min or SITTING_MIN)
    mixing_min = int(rows.plan.settings.get("mix_setup_min", MIXING_MIN))
    if takes + mixing_min <= has:
        return None
    palette = rows.palette_of(layer)
    first_at = rows.plan.mixed.get((palette or "", sitting.painter, sitting.on), sitting.start_at)
    if palette is not None and first_at >= sitting.start_at:
        takes += mixing_min
    return BrokenSitting("short", takes_min=takes, has_min=has) if takes > has else None
