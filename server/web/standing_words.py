"""Where a panel stands, in the painter's words: one text a fact, the same on every screen.

Forecasts are told as ranges of days, never as one day alone. ``today`` is the studio's day that the words start from.
"""

from collections.abc import Callable
from datetime import date, datetime
from math import floor
from typing import Protocol
from zoneinfo import ZoneInfo

from server.formats.drawings_odds import odds_words
from server.science.results import FilmState, Stage
from server.science.soundness.types import Finding, Severity, Verdict
from server.services.board.due_step import DueFact, Misfit, StepHeld
from server.services.board.facts import ClosingFact, DaySpan, LayerFact, PanelFact, PressFact, Standing
from server.services.board.layer_stop import LayerStop
from server.services.board.spans import day_of_age
from server.services.plan_reading import PlanRisk
from server.web import words
from server.web.action_words import action_name

STANDING_WORDS = {
    Standing.READY: "Ready",
    Standing.TEST_FIRST: "Test first",
    Standing.RESTS: "Rests",
    Standing.STOPPED: "Stopped",
    Standing.UNPLANNED: "Nothing planned",
    Standing.FINISHED: "Finished",
}
STANDING_SHAPES = {standing: standing.value for standing in Standing} | {Standing.UNPLANNED: "planned"}
STATE_WORDS = {
    FilmState.NONE: "not known",
    FilmState.WET: "wet",
    FilmState.TACKY: "tacky",
    FilmState.TOUCH_DRY: "touch-dry",
    FilmState.FIRM: "firm",
}
VERDICT_WORDS = {
    Severity.SOUND: "Sound",
    Severity.NOTE: "A note",
    Severity.CAUTION: "Caution",
    Severity.STOP: "Stop",
}
TOUCH_GATE, WORK_LIGHTLY = "R03", "R05"
ON_COURSE = 0.95
FAR_D = 730


def span_words(span: DaySpan, today: date) -> str:
    """``likely Thursday to Saturday, 8 times in 10, most likely Friday``: how every forecast is told in a sentence.

    One day is named beside the run only where it stands out, and never where the run is told in weeks.
    """
    return _with_odds(span_days(span, today), span, today, lambda day: words.day_words(day, today))


def paper_span(span: DaySpan, today: date) -> str:
    """The same for what is printed today and read on another day: ``likely 3 to 5 December 2026, 8 times in 10``."""
    return _with_odds(words.paper_range_words(span.low, span.high, today), span, today, words.dated)


def _with_odds(told: str, span: DaySpan, today: date, dated: Callable[[date], str]) -> str:
    has_begun = span.low < today <= span.high
    chance = chance_words(span.until if has_begun else span.mass)
    told = f"{told}, {chance}" if chance else told
    if span.likeliest is None or span.likeliest < today or (span.high - today).days > words.WEEKS_BEYOND_D:
        return told
    day = dated(span.likeliest)
    return f"{told}, most likely {day}"


def span_days(span: DaySpan, today: date) -> str:
    """``likely Thursday to Saturday``: the same where the odds stand beside a whole table."""
    return words.range_words(span.low, span.high, today)


def chance_words(mass: float) -> str:
    """``8 times in 10``, never more than it is; "" where the days are as good as known."""
    if mass > 0.99:
        return ""
    return "19 times in 20" if mass >= 0.95 else f"{floor(10 * mass + 1e-6)} times in 10"


def over_from_words(panel: PanelFact, today: date) -> str:
    """``; paint over it from Sunday``: the day by which it is touch-dry nine times in ten."""
    ready_from = panel.rest.ready_from
    if ready_from is None or ready_from < today:
        return ""
    return f"; paint over it from {far_day_words(ready_from, today)}"


def rest_words(panel: PanelFact, today: date) -> str:
    """Beside the standing: what may be done now, or until when the panel rests."""
    rest = panel.rest
    match panel.standing:
        case Standing.READY:
            return _ready_words(panel, today)
        case Standing.TEST_FIRST if rest.touch is not None:
            return f"touch-dry {span_words(rest.touch, today)}{over_from_words(panel, today)}"
        case Standing.TEST_FIRST:
            return "no forecast: press it before you paint"
        case Standing.RESTS if rest.touch is not None:
            return f"until it is touch-dry, {span_words(rest.touch, today)}{over_from_words(panel, today)}"
        case Standing.STOPPED if rest.allowed_from is not None and rest.allowed_from > today:
            return f"by a rule, until {far_day_words(rest.allowed_from, today)}"
        case Standing.STOPPED:
            return "by a rule, whatever the day: change the next layer"
        case Standing.UNPLANNED if rest.touch is not None and _is_soft(panel.top):
            return f"the last layer touch-dry {span_words(rest.touch, today)}"
        case Standing.FINISHED:
            return closing_words(panel.closing, today)
        case Standing.UNPLANNED if panel.closing is not None and panel.closing.is_behind:
            return closing_words(panel.closing, today)
    return ""


def closing_words(closing: ClosingFact | None, today: date) -> str:
    """Beside the word "finished": whether it left, and what is next until it is varnished, and when."""
    if closing is None:
        return ""
    told = _varnish_words(closing, today)
    if closing.sent_on is None:
        return told
    left = f"sent {words.day_words(closing.sent_on, today)}"
    return f"{left}; {told}" if told else left


def _varnish_words(closing: ClosingFact, today: date) -> str:
    if closing.varnished_at is not None:
        return "varnished"
    if closing.varnish is None:
        return ""
    if closing.swabbed:
        return "the swab stayed clean: ready for its final varnish"
    if closing.swab_due:
        return "the wait is over: a swab test says whether it may be varnished"
    return f"a final varnish {span_words(closing.varnish, today)}, after a swab test"


def _is_soft(top: LayerFact | None) -> bool:
    return top is not None and top.state in (FilmState.WET, FilmState.TACKY)


def _ready_words(panel: PanelFact, today: date) -> str:
    if panel.coming is None:
        return ""
    if panel.coming.wet_in_wet and panel.top is not None and panel.top.state is FilmState.WET:
        return f"{panel.coming.kind} goes into the wet paint"
    top = panel.top
    best = panel.rest.best_from
    if top is not None and best is not None and best > today and Stage.DRY_TO_RECOAT in top.stages:
        recoat = span_words(top.stages[Stage.DRY_TO_RECOAT], today)
        return f"{panel.coming.kind} may go on, best when it is dry to recoat, {recoat}"
    return f"{panel.coming.kind} may go on"


def film_words(top: LayerFact | None, today: date, zone: ZoneInfo) -> str:
    """What is on top, and what it most likely is: as the painter found it, or by the forecast."""
    if top is None or top.painted_at is None:
        return "Bare ground"
    painted = f"{top.kind}, painted {words.ago_words(top.painted_at.astimezone(zone).date(), today)}"
    if not top.tests:
        return painted
    last = top.tests[-1]
    pressed = f"{painted}, pressed {words.ago_words(last.pressed_at.astimezone(zone).date(), today)}"
    return pressed if last.state is top.state else f"{pressed} and found {STATE_WORDS[last.state]} then"


def state_words(top: LayerFact | None) -> str:
    """``most likely tacky`` by the forecast, ``tacky`` as found; nothing where only a fingertip knows."""
    if top is None or top.state is FilmState.NONE:
        return ""
    found = top.tests[-1].state if top.tests else None
    return STATE_WORDS[top.state] if found is top.state else f"most likely {STATE_WORDS[top.state]}"


def touch_odds_words(panel: PanelFact) -> str:
    """``touch-dry by now: about 7 in 20``."""
    if panel.rest.touch_odds is None or panel.standing not in (Standing.TEST_FIRST, Standing.RESTS):
        return ""
    return f"touch-dry by now: {odds_words(panel.rest.touch_odds)}"


def press_words(press: PressFact | None, today: date, zone: ZoneInfo) -> str:
    """``A press Friday evening tells most: even odds then``; nothing where none is asked for."""
    if press is None:
        return ""
    odds = "about even odds" if press.chance == 0.5 else f"about {round(20 * press.chance)} in 20 dry"
    if press.is_now:
        return f"A press now tells most: {odds}"
    at = press.at.astimezone(zone)
    part = words.part_of_day(at.hour)
    if (at.date() - today).days not in range(7):
        when = "at night" if part == "night" else f"in the {part}"
        return f"A press on {words.day_words(at.date(), today)} {when} tells most: {odds} then"
    day = "this" if at.date() == today else words.day_words(at.date(), today)
    return f"A press {day} {part} tells most: {odds} then"


def due_words(due: DueFact, today: date) -> str:
    """``Due 12 December for the winter show``."""
    day = words.day_words(due.on, today)
    return f"Due {day} for {due.due_for}" if due.due_for else f"Due {day}"


def due_odds_words(panel: PanelFact, today: date) -> str:
    """How likely the date is kept: by the plan in use, else painting as soon as each layer may go on."""
    due = panel.due
    if due is None:
        return ""
    if due.is_late:
        return "that day is past"
    if due.sent_on is not None:
        return _sent_words(due, due.sent_on, today)
    if due.odds is None:
        if panel.stop is not None:
            return stop_words(panel.stop, today)
        return "no forecast: a planned layer names no mix" if panel.coming else ""
    by_plan = " by the plan" if due.plan is not None else ""
    return (
        f"on course{by_plan}" if due.odds >= ON_COURSE else f"chance of keeping it{by_plan}: {_chance_words(due.odds)}"
    )


def _sent_words(due: DueFact, sent_on: date, today: date) -> str:
    """``sent today, in time``: by the days that it is on the way."""
    left = words.day_words(sent_on, today)
    if due.odds is None:
        return f"sent {left}"
    return f"sent {left}, in time" if due.odds >= ON_COURSE else f"sent {left}, too late for that day"


def stop_words(stop: LayerStop, today: date) -> str:
    """Why nothing is said of a panel's date: which layer to come a rule stops for good, or until when, and which
    rule."""
    if not stop.rule:
        return f"no odds while “{stop.kind}” is being thought over"
    if stop.until is not None:
        until = far_day_words(stop.until, today)
        return (
            f"no odds: a rule stops “{stop.kind}” until {until}, longer than a plan waits: {stop.title} ({stop.rule})"
        )
    return f"no odds while a rule stops “{stop.kind}”: {stop.title} ({stop.rule})"


def due_risk_words(panel: PanelFact, today: date) -> str:
    """The same, with what the date waits for: when it can be delivered by the plan and what holds it up most, or when
    the last layer is touch-dry and what follows; and the step of the finish that does not fit it."""
    due, told = panel.due, due_odds_words(panel, today)
    if due is None or due.is_late or due.sent_on is not None:
        return told
    waits = told if due.odds is None else _waits_words(panel, due, told, today)
    step = "" if due.step is None else step_words(due.step, today)
    return f"{waits}; {step}" if waits and step else waits or step


def _waits_words(panel: PanelFact, due: DueFact, told: str, today: date) -> str:
    if due.plan is not None:
        return f"{told}; {plan_risk_words(due.plan, today)}"
    handling = handling_words(due)
    if panel.finish is None or panel.finish.high <= today:  # the last layer is touch-dry
        return f"{told}; still to come: {handling}" if handling and due.at_risk else told
    finish = f"the last layer touch-dry {span_words(panel.finish, today)}"
    finish = f"{finish}, then {handling}" if handling else finish
    return f"{told}: {finish}" if due.odds is not None and due.odds >= ON_COURSE else f"{told}; {finish}"


def handling_words(due: DueFact) -> str:
    """``1 day for packing and 3 days on the way``."""
    packing = f"{words.count_words(due.packing_d, 'day')} for packing" if due.packing_d else ""
    transit = f"{words.count_words(due.transit_d, 'day')} on the way" if due.transit_d else ""
    return f"{packing} and {transit}" if packing and transit else packing or transit


def step_words(step: StepHeld, today: date) -> str:
    """``Final varnish is planned for 3 April, too early: not before 3 May, say the rules``."""
    name = action_name(step.action)
    planned = "" if step.planned_on is None else far_day_words(step.planned_on, today)
    opens = "" if step.opens_on is None else far_day_words(step.opens_on, today)
    opens = f"not before {opens}, say the rules" if step.by_rule else f"likely not before {opens}"
    match step.misfit:
        case Misfit.EARLY:
            return f"“{name}” is planned for {planned}, too early: {opens}"
        case Misfit.OPENS:
            return f"“{name}” {opens}"
        case Misfit.PLANNED:
            return f"“{name}” is planned for {planned}, too late for this date"
        case Misfit.BEYOND:
            return f"“{name}” is planned for {planned}, after this date"


def plan_risk_words(risk: PlanRisk, today: date) -> str:
    """``delivery likely 3 to 9 December; the weakest link is the drying of “underpainting”``."""
    is_known = risk.low_on == risk.high_on
    span = DaySpan(risk.low_on, risk.central_on, risk.high_on, mass=1.0 if is_known else 0.8, until=0.9)
    weakest = {
        "drying": f"the drying of “{risk.weakest}”",
        "release": f"“{risk.weakest}”, which is drying now",
        "final": "the wait after the last layer",
    }.get(risk.wait)
    told = f"delivery {span_words(span, today)}"
    return f"{told}; the weakest link is {weakest}" if weakest else told


def _chance_words(odds: float) -> str:
    # Two thousand draws cannot tell never from seldom.
    return odds_words(min(max(odds, 0.01), 0.99))


def layer_words(layer: LayerFact) -> str:
    """``second painting, 50 µm wet``, with its thinner."""
    thinned = f", {words.figure(layer.solvent_pct)} % thinner" if layer.solvent_pct else ""
    return f"{layer.kind}, {words.quantity(layer.wet_thickness_um, 'µm', 3)} wet{thinned}"


def verdict_title(verdict: Verdict) -> str:
    """The worst finding's title, with its rule; a sound verdict says over what."""
    if not verdict.findings:
        return "nothing speaks against it"
    worst = verdict.findings[0]
    return f"{worst.title} ({worst.rule})"


class WhenPainted(Protocol):
    """The layer below, as far as a remedy's day asks for it."""

    @property
    def painted_at(self) -> datetime | None: ...


def finding_day(finding: Finding, top: WhenPainted | None, zone: ZoneInfo) -> date | None:
    """The day that a finding's remedy waits for, when it names an age of the layer below."""
    if finding.remedy is None or finding.remedy.not_before_d is None or top is None or top.painted_at is None:
        return None
    return day_of_age(top.painted_at, finding.remedy.not_before_d, zone)


def remedy_words(finding: Finding, top: WhenPainted | None, today: date, zone: ZoneInfo) -> str:
    """What helps: the remedy as the rules word it, and the day that an age in it comes to."""
    if finding.remedy is None:
        return ""
    day = finding_day(finding, top, zone)
    if day is None:
        return finding.remedy.text
    that_is = f"That is {far_day_words(day, today)}."
    before, age, after = finding.remedy.text.partition(" old.")  # other ways may follow; the day belongs to the wait
    return f"{before}{age} {that_is}{after}" if age else f"{finding.remedy.text} {that_is}"


def even_then_words(finding: Finding, verdict: Verdict) -> str:
    """What waiting for a finding's day does not help: the layer is stopped for longer, and by which rule; "" else."""
    reason = next((one for one in verdict.findings if one.severity is Severity.STOP), finding)
    if reason.holds_d <= finding.holds_d:
        return ""
    return f"Even then it is stopped: {reason.title} ({reason.rule})."


def is_far(day: date, today: date) -> bool:
    """Whether a forecast of the day knows no more than its month."""
    return (day - today).days >= FAR_D


def far_day_words(day: date, today: date) -> str:
    """A day; beyond two years only its month."""
    return f"about {day:%B %Y}" if is_far(day, today) else words.day_words(day, today)


def paper_day(day: date, today: date) -> str:
    """The same as ``far_day_words`` for what is printed today and read on another day."""
    return far_day_words(day, today) if is_far(day, today) else words.dated(day)


def paper_date(day: date, today: date) -> str:
    """The same for what is printed today and read on another day: the whole date, "" where only its month is known."""
    return "" if is_far(day, today) else words.full_date(day)


def touch_gate_words(finding: Finding, top: LayerFact | None, today: date, zone: ZoneInfo) -> str:
    """Until when an ordinary next layer is stopped while the film below is not touch-dry."""
    day = finding_day(finding, top, zone)
    until = "it is touch-dry" if day is None else f"{words.day_words(day, today)}, or until you find it touch-dry"
    return f"An ordinary next layer waits until {until}."


def lightly_words(finding: Finding) -> tuple[str, str]:
    """What rule R05 lets pass, and how: the first sentence of its reason, the last of its remedy."""
    may = f"{finding.reason.split('. ')[0].rstrip('.')} ({finding.rule})"
    how = finding.remedy.text.split(". ")[-1] if finding.remedy else ""
    return may, how
