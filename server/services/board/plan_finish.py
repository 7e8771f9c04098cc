"""How long a picture waits after its last layer, by what is done to it before it leaves, as a plan counts it.

Touch-dry is enough where nothing is to be done. Otherwise the rules R35 and R36 answer (``leaving``). Where their
answer is a wait by the calendar rather than a film's drying, it is days like any other, in whatever climate.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from server.planning.schedule.problem import Spread
from server.science.results import Stage, StageRange
from server.services.board.facts import Moment
from server.services.board.leaving import waits_of
from server.services.board.rows import StudioRows
from server.services.board.standing import PanelStanding

LONGEST_D = 3650.0
NO_WAIT = Spread(0.0, 0.0)


@dataclass(frozen=True, slots=True)
class FinalWait:
    """``drying`` in days of today's climate, then ``calendar_d`` days whatever the climate."""

    drying: Spread
    calendar_d: float = 0.0


def final_wait(
    standing: PanelStanding, rows: StudioRows, moment: Moment, last: Mapping[Stage, StageRange] | None
) -> FinalWait:
    """The wait after the last layer to come, whose ranges are ``last`` (None: it does not dry as oil)."""
    waits = [wait.after for wait in waits_of(standing.layers, standing.layers.to_come, rows, moment) or ()]
    touch = last[Stage.DRY_TO_TOUCH] if last else None
    if not waits:
        return FinalWait(Spread(touch.p50_d, max(touch.p50_d, touch.p90_d)) if touch else NO_WAIT)
    found = [*waits, touch] if touch else waits
    central, high = (min(max(days), LONGEST_D) for days in zip(*((w.p50_d, w.p90_d) for w in found), strict=True))
    if high - central < 1e-6:
        return FinalWait(NO_WAIT, central)
    return FinalWait(Spread(max(central, 0.01), max(central, high, 0.01)))
