"""How long a picture waits after its last layer, by what is done to it before it leaves.

Touch-dry is enough where nothing is said. Otherwise the rules R35 and R36 answer, asked of the stack as it will stand:
every layer to come laid as soon as the one below takes it. Where their answer is a wait by the calendar rather than a
film's drying, it is days like any other, in whatever climate.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta

from server.planning.finish import first_day
from server.planning.schedule.problem import Spread
from server.science.results import LayerEstimate, Stage, StageRange
from server.science.soundness.types import Action
from server.services.board.closing import ground_facts
from server.services.board.facts import Moment
from server.services.board.films import LayerToCome
from server.services.board.rows import StudioRows
from server.services.board.spans import instant, local_day
from server.services.board.standing import PanelStanding
from server.services.board.to_come import coming, forecast_on, laid
from server.services.rule_limits import thresholds_of
from server.services.verdicts import AfterPaint, LaidLayer, Question, situation

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
    panel = standing.layers.panel
    if not panel.finish:
        touch = last[Stage.DRY_TO_TOUCH] if last else None
        return FinalWait(Spread(touch.p50_d, max(touch.p50_d, touch.p90_d)) if touch else NO_WAIT)
    stack, top_at = _stack(standing.layers.to_come, [layer.laid for layer in standing.layers.on], moment)
    after = AfterPaint(area_cm2=panel.width_mm * panel.height_mm / 100)
    question = Question(
        ground_facts(panel),
        tuple(stack),
        None,
        Action(panel.finish),
        drops_per_ml=rows.studio.drops_per_ml,
        limits=rows.limits,
        after=after,
    )
    at = instant(moment.at, top_at)
    found = first_day(situation(question, at, local_day(at, moment.zone)), thresholds_of(rows.limits))
    if found is None:
        return FinalWait(NO_WAIT)
    central, high = min(found.central_d, LONGEST_D), min(found.high_d, LONGEST_D)
    if high - central < 1e-6:
        return FinalWait(NO_WAIT, central)
    return FinalWait(Spread(max(central, 0.01), max(central, high, 0.01)))


def _stack(to_come: Sequence[LayerToCome], below: list[LaidLayer], moment: Moment) -> tuple[list[LaidLayer], float]:
    """The stack as it will stand, and after how many days its last layer goes on."""
    stack, waited_d = list(below), 0.0
    for number, layer in enumerate(to_come):
        at = instant(moment.at, waited_d) + timedelta(minutes=number)
        on = local_day(at, moment.zone)
        forecast = forecast_on(layer, on, moment.zone)
        estimate = forecast if isinstance(forecast, LayerEstimate) else None
        stack.append(laid(layer, coming(layer, estimate, on), at))
        if estimate is not None and number < len(to_come) - 1:
            waited_d += estimate.stages[Stage.DRY_TO_RECOAT].p50_d
    return stack, waited_d
