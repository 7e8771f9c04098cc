"""The finish in the painter's words: what is done, what is tested, from when."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

from server.services.board.facts import ClosingFact, DaySpan, GateFact, StepFact
from server.services.board.spans import not_before
from server.web import standing_words, words
from server.web.action_words import action_name

METHODS = {"swab": "Swab", "thumb": "Thumb", "nail": "Fingernail"}
RESULTS = {
    "clean": "clean",
    "colour": "colour on it",
    "dull": "a dull or soft spot",
    "no_mark": "no mark",
    "mark": "a mark",
    "no_dent": "no dent",
    "dent": "a dent",
}


def test_words(method: str, result: str) -> str:
    """``Swab: clean``."""
    return f"{METHODS[method]}: {RESULTS[result]}"


def first_words(gate: GateFact, today: date) -> str:
    """From when it may be tried, no day of it before the rules let it: ``likely in 14 to 20 weeks``."""
    return _first_words(_held(gate), today, _span)


def paper_first_words(gate: GateFact, today: date) -> str:
    """The same for what is printed today and read on another day: ``likely 3 March to 14 April 2027``."""
    return _first_words(_held(gate), today, _paper_span)


def _held(gate: GateFact) -> GateFact:
    if gate.first is None or gate.opens_on is None:
        return gate
    return replace(gate, first=not_before(gate.first, gate.opens_on))


def _first_words(gate: GateFact, today: date, told: Callable[[DaySpan, date], str]) -> str:
    if gate.no_forecast:
        return "no forecast of a layer: only a test can say"
    if gate.verdict is None:
        return "nothing is painted yet"
    if gate.first is None:
        return "no day would do"
    if gate.first.high <= today:
        return "the wait is over"
    return told(gate.first, today)


def wait_words(gate: GateFact, today: date) -> str:
    """Of the films alone, beside a verdict that names the rules' day: ``dry enough likely by Friday``."""
    first = gate.first
    spreads = first is not None and first.low != first.high and first.high > today and not gate.no_forecast
    told = _first_words(gate, today, _span)
    return f"dry enough {told}" if spreads and gate.verdict is not None else told


def opens_words(gate: GateFact, today: date) -> str:
    """The day that the rules name: ``Not before 14 April 2027, say the rules``."""
    return _opens_words(gate, today, standing_words.far_day_words)


def paper_opens_words(gate: GateFact, today: date) -> str:
    """The same for what is printed today and read on another day."""
    return _opens_words(gate, today, standing_words.paper_day)


def early_words(step: StepFact, today: date) -> str:
    """The same of a planned step whose day comes before that; "" for nothing."""
    return _not_before(step.opens_on, today, standing_words.far_day_words)


def _opens_words(gate: GateFact, today: date, told: Callable[[date, date], str]) -> str:
    return _not_before(gate.opens_on, today, told)


def _not_before(opens_on: date | None, today: date, told: Callable[[date, date], str]) -> str:
    if opens_on is None or opens_on <= today:
        return ""
    day = told(opens_on, today)
    return f"Not before {day}, say the rules"


def longer_words(gate: GateFact, today: date) -> str:
    """The same where it says more than the wait told before it: "" for a day before the wait begins to end."""
    is_passed = gate.opens_on is not None and gate.first is not None and gate.opens_on < gate.first.low
    return "" if is_passed else opens_words(gate, today)


def _paper_span(span: DaySpan, today: date) -> str:
    if span.low == span.high:
        return f"from {standing_words.paper_day(span.low, today)}"
    return standing_words.paper_span(span, today)


def _span(span: DaySpan, today: date) -> str:
    """``likely`` belongs to what spreads: a wait by custom alone ends on its day."""
    if span.low == span.high:
        return f"from {standing_words.far_day_words(span.low, today)}"
    return standing_words.span_words(span, today)


def next_words(closing: ClosingFact, today: date) -> str:
    """What comes next of the finish, for the card on Today; "" for nothing."""
    planned = closing.planned
    if planned:
        step = planned[0]
        when = f", {words.day_words(step.planned_on, today)}" if step.planned_on else ""
        named = f"{action_name(step.action)}{when}"
        if step.planned_on is not None and step.planned_on < today:
            return f"{named}: that day is past"
        if step.opens_on is None:
            return named
        return f"{named}: too early, not before {standing_words.far_day_words(step.opens_on, today)}, say the rules"
    if closing.varnished_at is None and closing.swabbed:
        return "Final varnish"
    if closing.swab_from is None:
        return ""
    if closing.swab_due:
        return "Swab test"
    return f"Swab test, from {standing_words.far_day_words(closing.swab_from, today)}"
