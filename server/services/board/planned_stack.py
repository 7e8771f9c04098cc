"""A stack of layers to come, walked from the bottom up: when each can go on, and what the rules say of it then.

The waits are those of ``server.planning.outlook``. Each layer is put to the rules over everything that will lie below
it, on the day by which it can go on at the studio's confidence; where a rule stops it on that day, it is held until the
first day on which none does.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from server.planning.outlook import Chain, DayRange, begin, finish_of, hold, lay, start_of
from server.science.results import LayerEstimate, Stage, StageRange
from server.science.soundness.rule import WEIGHT
from server.science.soundness.types import Severity, Verdict
from server.services.board.chains import NO_WAIT
from server.services.board.facts import Moment
from server.services.board.films import LayerOn, LayerToCome
from server.services.board.spans import instant, local_day
from server.services.board.to_come import coming, forecast_on, laid
from server.services.forecasts import NoForecast
from server.services.rule_limits import NO_EDITS, Edits
from server.services.verdicts import SECONDS_PER_DAY, VERDICTS, Ground, LaidLayer, Question

NOON = timedelta(hours=12)
HORIZON_D = 730.0
MOST_TURNS = 40
JUST_AFTER = timedelta(seconds=1)


@dataclass(frozen=True, slots=True)
class StackCase:
    """What is walked: the ground, what lies on it, and what is to come, lowest first.

    ``open_now``: the first layer to come may go on today. ``is_finished``: what lies there is called finished.
    """

    ground: Ground
    on: Sequence[LayerOn]
    to_come: Sequence[LayerToCome]
    open_now: bool
    confidence: float
    drops_per_ml: int = 20
    limits: Edits = NO_EDITS
    is_finished: bool = False


@dataclass(frozen=True, slots=True)
class StackStep:
    """One layer to come.

    ``start``: when it can go on, in days from the start of the day looked at; ``at`` the instant the rules were asked
    for, ``clear_at`` the first from then on without a caution, where that comes within `HORIZON_D`. ``question`` and
    ``verdict`` are None where it, or a layer below, has no forecast; ``no_forecast`` says why. ``held_by``: the rules
    that stopped it on the day its drying alone would allow.
    """

    layer: LayerToCome
    start: DayRange | None
    at: datetime | None
    question: Question | None
    verdict: Verdict | None
    estimate: LayerEstimate | None
    held_by: tuple[str, ...] = ()
    clear_at: datetime | None = None
    no_forecast: str | None = None


@dataclass(slots=True)
class _Walk:
    case: StackCase
    moment: Moment
    chain: Chain
    laid: list[LaidLayer]
    steps: list[StackStep] = field(default_factory=list)
    unknown: bool = False


@dataclass(frozen=True, slots=True)
class WalkedStack:
    """``finish``: when the last layer is touch-dry, days from the start of the day looked at; None without forecast."""

    steps: tuple[StackStep, ...]
    finish: DayRange | None


def walk(case: StackCase, moment: Moment) -> WalkedStack:
    """Walk the stack; nothing is kept but what forecasts and verdicts keep of themselves."""
    going = _Walk(case, moment, _beginning(case, moment), [layer.laid for layer in case.on])
    finish = None
    for place, layer in enumerate(case.to_come):
        step = _step(going, place, layer)
        going.steps.append(step)
        if going.unknown:
            continue
        recoat, touch = _waits(step.estimate)
        if place == len(case.to_come) - 1:
            finish = finish_of(going.chain, touch, case.confidence)[0]
        elif not case.to_come[place + 1].row.wet_in_wet:
            going.chain = lay(going.chain, recoat)
    return WalkedStack(tuple(going.steps), None if going.unknown else finish)


def _waits(estimate: LayerEstimate | None) -> tuple[StageRange, StageRange]:
    if estimate is None:
        return NO_WAIT, NO_WAIT
    return estimate.stages[Stage.DRY_TO_RECOAT], estimate.stages[Stage.DRY_TO_TOUCH]


def _beginning(case: StackCase, moment: Moment) -> Chain:
    top = case.on[-1] if case.on else None
    below = top.film.stages.get(Stage.DRY_TO_RECOAT) if top else None
    age_d = (moment.day_start - top.row.painted_at).total_seconds() / SECONDS_PER_DAY if top else 0.0
    return begin(below, age_d, open_now=case.open_now)


def _step(going: _Walk, place: int, layer: LayerToCome) -> StackStep:
    if going.unknown:
        return StackStep(layer, None, None, None, None, None, no_forecast="A layer below it has no forecast.")
    moment, confidence = going.moment, going.case.confidence
    going.chain = hold(going.chain, _planned_d(layer, moment))
    at = _noon(start_of(going.chain, confidence), place, moment)
    on = local_day(at, moment.zone)
    forecast = forecast_on(layer, on, moment.zone)
    estimate = forecast if isinstance(forecast, LayerEstimate) else None
    if estimate is None and layer.is_drying:
        going.unknown = True
        missing = forecast.message if isinstance(forecast, NoForecast) else "It names no mix."
        return StackStep(layer, start_of(going.chain, confidence), at, None, None, None, no_forecast=missing)
    upper = coming(layer, estimate, on)
    question = Question(
        going.case.ground,
        tuple(going.laid),
        upper,
        drops_per_ml=going.case.drops_per_ml,
        limits=going.case.limits,
        finished=going.case.is_finished and place == 0,
    )
    found = _until(question, at, Severity.CAUTION, moment)
    verdict = VERDICTS.of(question, at, local_day(at, moment.zone))
    held_by: tuple[str, ...] = ()
    if found is not None and verdict.verdict is Severity.STOP:
        held_by = tuple(each.rule for each in verdict.findings if each.severity is Severity.STOP)
        at, verdict = found
    clear = _until(question, at, Severity.NOTE, moment)
    going.chain = hold(going.chain, _whole_days(at, moment) if held_by else 0.0)
    going.laid.append(laid(layer, upper, at))
    return StackStep(
        layer,
        start_of(going.chain, confidence),
        at,
        question,
        verdict,
        estimate,
        held_by,
        clear[0] if clear else None,
    )


def _planned_d(layer: LayerToCome, moment: Moment) -> float:
    planned = layer.row.planned_on
    return 0.0 if planned is None else float((planned - moment.on).days)


def _noon(start: DayRange, place: int, moment: Moment) -> datetime:
    """Noon of the day by which it can go on, so that a layer of the same day is never older than the one below."""
    at = instant(moment.day_start, start.planned_d) + NOON + timedelta(minutes=place)
    return max(at, moment.at) if start.planned_d > 0.0 else moment.at + timedelta(minutes=place)


def _whole_days(at: datetime, moment: Moment) -> float:
    return (at - moment.day_start).total_seconds() / SECONDS_PER_DAY


def _until(question: Question, at: datetime, heaviest: Severity, moment: Moment) -> tuple[datetime, Verdict] | None:
    """The first instant from ``at`` at which the verdict is no heavier than that, with it; None where none comes."""
    later = at
    for _ in range(MOST_TURNS):
        verdict = VERDICTS.of(question, later, local_day(later, moment.zone))
        if WEIGHT[verdict.verdict] <= WEIGHT[heaviest]:
            return later, verdict
        if verdict.unchanged_for_d > HORIZON_D or (later - at).days > HORIZON_D:
            return None
        later += timedelta(days=verdict.unchanged_for_d) + JUST_AFTER
    return None
