"""Where each panel stands at a moment: the facts that Today, the calendar and the panel's page all show.

One function a fact. Whether a film may be painted on is decided by ``server.science.readiness`` alone; this module adds
what that function is not asked about: bare ground, films that do not dry like oil, and paint that goes into wet paint.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from server.planning.outlook import Outlook
from server.science.readiness import Readiness, readiness
from server.science.results import FilmState, LayerEstimate, Stage
from server.science.soundness.types import Action, Severity, Verdict
from server.science.stages import HARDNESS
from server.services.board.chain_rules import DRY, TOUCH_GATE
from server.services.board.chains import ChainCase, outlooks, span_of
from server.services.board.closing import closing_of
from server.services.board.due import due_fact
from server.services.board.due_step import DueFact
from server.services.board.facts import ClosingFact, DaySpan, Moment, PressFact, RestFact, Standing
from server.services.board.films import LayerOn, LayerToCome, PanelLayers
from server.services.board.layer_stop import LayerStop
from server.services.board.leaving import Leaving, leaving_of
from server.services.board.pressing import press_of
from server.services.board.rows import StudioRows
from server.services.board.rule_waits import lies_since, over_what_lies
from server.services.board.spans import day_of_age, instant, local_day
from server.services.board.to_come import coming
from server.services.forecasts import FORECASTS
from server.services.give_way import give_way
from server.services.verdicts import VERDICTS, Question


@dataclass(frozen=True, slots=True)
class PanelStanding:
    """One panel's facts before they are shown. ``ready`` is None for bare ground and films without a forecast."""

    layers: PanelLayers
    standing: Standing
    ready: Readiness | None
    next_estimate: LayerEstimate | None
    verdict: Verdict | None
    lightly: Verdict | None
    rest: RestFact
    outlook: Outlook | None
    due: DueFact | None
    closing: ClosingFact | None

    def allowed_from(self, moment: Moment) -> date | None:
        """The day from which no rule stops the next layer any more, but for the film being soft: that is drawn."""
        return allowed_from(self.verdict, lies_since(self.layers, moment.zone), moment, but_for=TOUCH_GATE)

    def finish(self, moment: Moment) -> DaySpan | None:
        """The days on which the last layer is touch-dry; None where nobody can say."""
        if self.outlook is None or self.outlook.stopped is not None:
            return None
        return span_of(self.outlook.finish, moment)

    @property
    def top(self) -> LayerOn | None:
        return self.layers.on[-1] if self.layers.on else None

    def stop(self, moment: Moment) -> LayerStop | None:
        """The first layer to come that a rule stops however long is waited, or longer than anybody waits."""
        if self.outlook is None or self.outlook.stopped is None:
            return None
        place, found = self.outlook.stopped
        ends_d = self.outlook.stop_ends_d
        until = None if ends_d is None else day_of_age(moment.day_start, ends_d, moment.zone)
        return LayerStop(self.layers.to_come[place].row.kind, found.rule, found.title, until)

    @property
    def next(self) -> LayerToCome | None:
        return self.layers.to_come[0] if self.layers.to_come else None


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is known of a panel before its outlook."""

    layers: PanelLayers
    over: Question
    estimate: LayerEstimate | None
    verdict: Verdict | None
    lightly: Verdict | None
    ready: Readiness | None
    standing: Standing


def standings(rows: StudioRows, panels: Sequence[PanelLayers], moment: Moment) -> list[PanelStanding]:
    """Where every panel stands, in the order given. Forecasts and outlooks of all are worked out together."""
    estimates = _next_estimates(panels, moment)
    asked = [_asked(layers, estimates[index], rows, moment) for index, layers in enumerate(panels)]
    cases = [_case(item, rows, moment) for item in asked]
    seen = outlooks(cases, moment)
    return [
        _standing(item, (case.leaving, outlook), rows, moment)
        for item, case, outlook in zip(asked, cases, seen, strict=True)
    ]


def _next_estimates(panels: Sequence[PanelLayers], moment: Moment) -> list[LayerEstimate | None]:
    questions = [layers.to_come[0].question(moment.on, moment.zone) if layers.to_come else None for layers in panels]
    answers = iter(FORECASTS.ask([question for question in questions if question is not None]))
    found = [None if question is None else next(answers) for question in questions]
    return [forecast if isinstance(forecast, LayerEstimate) else None for forecast in found]


def _asked(layers: PanelLayers, estimate: LayerEstimate | None, rows: StudioRows, moment: Moment) -> _Asked:
    give_way()
    verdict = lightly = None
    over = over_what_lies(layers, rows, moment.at)
    top = layers.on[-1] if layers.on else None
    if layers.to_come:
        question = None if _is_unknown(top) else replace(over, coming=coming(layers.to_come[0], estimate, moment.on))
        if question is not None and (estimate is not None or not layers.to_come[0].is_drying):
            verdict = VERDICTS.of(question, moment.at, moment.on)
            lightly = _lightly(question, verdict, moment)
    ready = _readiness(top, verdict, moment) if top else None
    return _Asked(layers, over, estimate, verdict, lightly, ready, _where(layers, ready, verdict))


def _is_unknown(top: LayerOn | None) -> bool:
    """Whether what lies on top is neither forecast nor tested: nothing can be put to the rules over it."""
    return top is not None and top.film.no_forecast is not None and top.laid.observed is None


def _lightly(question: Question, verdict: Verdict, moment: Moment) -> Verdict | None:
    """Working lightly into a tacky film, where the ordinary next layer is stopped because it is tacky."""
    if verdict.state is not FilmState.TACKY or not any(finding.rule == TOUCH_GATE for finding in verdict.findings):
        return None
    return VERDICTS.of(question.asking(Action.WORK_LIGHTLY), moment.at, moment.on)


def _readiness(top: LayerOn, verdict: Verdict | None, moment: Moment) -> Readiness | None:
    if top.film.estimate is None:
        return None
    laid = top.laid
    severity = Severity.SOUND if verdict is None else verdict.verdict
    return readiness(laid.stages, laid.age_d(moment.at), laid.observed, laid.observed_age_d, severity)


def _where(layers: PanelLayers, ready: Readiness | None, verdict: Verdict | None) -> Standing:
    """The standing of a panel, for every screen."""
    if layers.panel.finished_on is not None:
        return Standing.FINISHED
    if not layers.to_come:
        return Standing.UNPLANNED
    stopped = verdict is not None and verdict.verdict is Severity.STOP
    if _goes_into_wet(layers, verdict) or not layers.on:
        return Standing.STOPPED if stopped else Standing.READY
    if ready is not None:
        return Standing(ready.status.value)
    top = layers.on[-1]
    found_dry = top.laid.observed is not None and HARDNESS[top.laid.observed] >= DRY
    # Acrylic and varnish have no forecast of ours and want none; oil without a recipe wants a fingertip.
    if found_dry or (top.film.no_forecast is None and top.laid.observed is None):
        return Standing.STOPPED if stopped else Standing.READY
    return Standing.TEST_FIRST


def _goes_into_wet(layers: PanelLayers, verdict: Verdict | None) -> bool:
    """Whether the next layer is meant to go into the one below while that is wet, and still can."""
    into_wet = bool(layers.to_come and layers.to_come[0].row.wet_in_wet and layers.on)
    return into_wet and verdict is not None and verdict.state is FilmState.WET


def _case(item: _Asked, rows: StudioRows, moment: Moment) -> ChainCase:
    layers, since = item.layers, lies_since(item.layers, moment.zone)
    top = layers.on[-1] if layers.on else None
    if layers.to_come:
        open_now = item.standing is Standing.READY
    else:
        open_now = top is not None and top.laid.observed is not None and HARDNESS[top.laid.observed] >= DRY
    to_come = () if item.standing is Standing.FINISHED else layers.to_come
    return ChainCase(
        top=top,
        since=since,
        to_come=to_come,
        open_now=open_now,
        # The drying of the top layer is drawn by the chain itself; the touch gate's date would count it twice.
        not_before=allowed_from(item.verdict, since, moment, but_for=TOUCH_GATE),
        due_on=layers.panel.due_on,
        confidence=rows.studio.confidence_pct / 100,
        leaving=leaving_of(layers, to_come, rows, moment),
        over=item.over,
    )


def allowed_from(
    verdict: Verdict | None, since: datetime | None, moment: Moment, but_for: str | None = None
) -> date | None:
    """The day from which no rule stops the next layer any more, when the stopping rules name one.

    ``since``: when what it goes over was laid. ``but_for`` leaves one rule out.
    """
    if verdict is None or since is None or verdict.verdict is not Severity.STOP:
        return None
    stops = [found for found in verdict.findings if found.severity is Severity.STOP and found.rule != but_for]
    days = [finding.remedy.not_before_d if finding.remedy else None for finding in stops]
    named = [d for d in days if d is not None]
    if not named or len(named) < len(stops):
        return None
    return day_of_age(since, max(named), moment.zone)


def _standing(item: _Asked, ahead: tuple[Leaving, Outlook | None], rows: StudioRows, moment: Moment) -> PanelStanding:
    leaving, outlook = ahead
    layers = item.layers
    return PanelStanding(
        layers=layers,
        standing=item.standing,
        ready=item.ready,
        next_estimate=item.estimate,
        verdict=item.verdict,
        lightly=item.lightly,
        rest=_rest(item, moment),
        outlook=outlook,
        due=due_fact(layers.panel, leaving, outlook, moment),
        closing=closing_of(layers, rows, moment),
    )


def _press(top: LayerOn, moment: Moment) -> PressFact | None:
    """The next press to ask for; none of what a fingertip found dry, however early the odds call that."""
    if top.laid.observed in (FilmState.TOUCH_DRY, FilmState.FIRM):
        return None
    return press_of(top.row.painted_at, top.film.stages[Stage.DRY_TO_TOUCH], top.tests, moment)


def _rest(item: _Asked, moment: Moment) -> RestFact:
    top, ready = item.layers.on[-1] if item.layers.on else None, item.ready
    allowed = allowed_from(item.verdict, lies_since(item.layers, moment.zone), moment)
    if top is None or ready is None:
        return RestFact(None, None, None, None, None, allowed)

    def day(days: float) -> date:
        return local_day(instant(top.row.painted_at, days), moment.zone)

    odds = ready.odds[FilmState.TOUCH_DRY] + ready.odds[FilmState.FIRM]
    return RestFact(
        touch=top.film.days[Stage.DRY_TO_TOUCH],
        test_from=day(ready.test_from_d),
        ready_from=day(ready.ready_from_d),
        best_from=day(ready.best_from_d),
        touch_odds=odds,
        allowed_from=allowed,
        press=_press(top, moment),
    )
