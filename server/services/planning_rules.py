"""Planned panels put before the rules of soundness, every sitting on its day: what they say, and for how long."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

from server.planning.schedule.problem import FLOW_PRICE, TARDINESS_PRICE
from server.planning.schedule.repair import REPAIR_PRICE
from server.science.results import LayerEstimate
from server.science.soundness.types import Finding, Severity, Verdict
from server.services.board.facts import Moment
from server.services.board.films import LayerToCome
from server.services.board.rows import StudioRows
from server.services.board.rule_waits import found_in, over_what_lies
from server.services.board.spans import local_day
from server.services.board.standing import PanelStanding
from server.services.board.to_come import coming, forecast_on, forecasts_on, laid
from server.services.forecasts import Forecast
from server.services.plan_reading import Rest
from server.services.verdicts import VERDICTS, Question

# A caution in the unit of the planner's objective: more than the longest wait that may spare it. A panel that would be
# later for it does not wait. Both are choices of ours.
CAUTION_PRICE = 220.0
LONGEST_WAIT_D = 60.0
# In days that a panel of weight 1 is late, but for the days on which it could have left sooner: so many weigh one. What
# a mix more weighs is the studio's to say: as much as the days that a panel may wait to share it.
WEIGHS = {
    "caution": CAUTION_PRICE / TARDINESS_PRICE,
    "moved": REPAIR_PRICE / TARDINESS_PRICE,
    "sooner": TARDINESS_PRICE / FLOW_PRICE,
    "longest": LONGEST_WAIT_D,
}
MOST_TURNS = 40
JUST_AFTER = timedelta(seconds=1)
A_DAY = timedelta(days=1)
HEAVY = (Severity.STOP, Severity.CAUTION)
SOONER, LATER = 0.8, 1.05  # of a wait, at which it is looked at whether it still spares anything


@dataclass(frozen=True, slots=True)
class Answer:
    """What the rules say of the ``n``-th layer to come at ``at``, over one that is laid at ``below_at``."""

    n: int
    layer: LayerToCome
    question: Question
    at: datetime
    verdict: Verdict
    below_at: datetime | None

    @property
    def stops(self) -> list[Finding]:
        return found_in(self.verdict, Severity.STOP)

    @property
    def cautions(self) -> list[Finding]:
        return found_in(self.verdict, Severity.CAUTION)


def answers_of(
    found: Sequence[PanelStanding], rows: StudioRows, moment: Moment, starts: Mapping[str, datetime]
) -> Iterator[tuple[PanelStanding, Iterator[Answer]]]:
    """`answers` of each panel, with the forecasts of all worked out together."""
    layers = [layer for standing in found for layer in standing.layers.to_come if layer.row.uid in starts]
    forecasts = forecasts_on([(one, local_day(starts[one.row.uid], moment.zone)) for one in layers], moment.zone)
    for standing in found:
        yield standing, answers(standing, rows, moment, starts, forecasts)


def answers(
    standing: PanelStanding,
    rows: StudioRows,
    moment: Moment,
    starts: Mapping[str, datetime],
    forecasts: Mapping[str, Forecast] | None = None,
) -> Iterator[Answer]:
    """What the rules say of each layer to come on its day, lowest first.

    ``starts``: when each sitting is; layers from the first without one on are not asked about. ``forecasts``: of the
    layers on their days, where they are known.
    """
    over = over_what_lies(standing.layers, rows, moment.at)
    stack = over.stack
    for n, layer in enumerate(standing.layers.to_come):
        uid = layer.row.uid
        at = starts.get(uid)
        if at is None:
            return
        on = local_day(at, moment.zone)
        forecast = forecast_on(layer, on, moment.zone) if forecasts is None else forecasts.get(uid)
        upper = coming(layer, forecast if isinstance(forecast, LayerEstimate) else None, on)
        asked = replace(over, stack=stack, coming=upper)
        below_at = stack[-1].painted_at if stack else None
        yield Answer(n, layer, asked, at, VERDICTS.of(asked, at, on), below_at)
        stack = (*stack, laid(layer, upper, at))


def first_stop(
    standing: PanelStanding, rows: StudioRows, moment: Moment, starts: Mapping[str, datetime]
) -> tuple[int, list[Finding]] | None:
    """The lowest layer to come that a rule stops on its day, by its place among them, with what stops it."""
    for answer in answers(standing, rows, moment, starts):
        if answer.stops:
            return answer.n, answer.stops
    return None


def sparing(answer: Answer, moment: Moment) -> Rest | None:
    """How long the layer below has to lie so that a caution of this answer passes, where that is worth the wait and
    brings no other with it. None where no wait is."""
    cautions = answer.cautions
    if not cautions or answer.below_at is None or answer.layer.row.wet_in_wet:
        return None
    best, rest, at = 0.0, None, answer.at
    for _ in range(MOST_TURNS):
        verdict = VERDICTS.of(answer.question, at, local_day(at, moment.zone))
        left = found_in(verdict, Severity.CAUTION)
        gain = CAUTION_PRICE * (len(cautions) - len(left)) - FLOW_PRICE * ((at - answer.at) / A_DAY)
        if gain > best and verdict.verdict is not Severity.STOP:
            stay = {still.rule for still in left}
            passed = next((one for one in cautions if one.rule not in stay), cautions[0])
            best, rest = gain, Rest((at - answer.below_at) / A_DAY, passed.rule, passed.title)
        if (at - answer.at) / A_DAY + verdict.unchanged_for_d > LONGEST_WAIT_D:
            break
        at += timedelta(days=verdict.unchanged_for_d) + JUST_AFTER
    return rest


class Slips:
    """Whether a sitting may begin later than planned while the layer above it keeps its day: not where the rules would
    then have more against that one."""

    def __init__(self, said: Sequence[Answer], moment: Moment) -> None:
        pairs = ((below, above) for below, above in pairwise(said) if above.n == below.n + 1)
        self._above = {below.layer.row.uid: above for below, above in pairs}
        self._moment = moment

    def __call__(self, uid: str, at: datetime) -> bool:
        above = self._above.get(uid)
        if above is None:
            return True
        stack = above.question.stack
        question = replace(above.question, stack=(*stack[:-1], replace(stack[-1], painted_at=at)))
        verdict = VERDICTS.of(question, above.at, local_day(above.at, self._moment.zone))
        return all(len(found_in(verdict, one)) <= len(found_in(above.verdict, one)) for one in HEAVY)


def still_needed(rest: Rest, answer: Answer, moment: Moment) -> bool:
    """Whether a wait of a plan in use still has its reason: sooner there would be a stop, or more cautions. Waits are
    days of a season, and with the day on which the layer below is painted they change a little."""
    if answer.below_at is None:
        return False
    severity = Severity.STOP if rest.is_stop else Severity.CAUTION
    counts = []
    for share in (SOONER, LATER):
        at = answer.below_at + share * rest.days * A_DAY
        counts.append(len(found_in(VERDICTS.of(answer.question, at, local_day(at, moment.zone)), severity)))
    return counts[0] > counts[1]
