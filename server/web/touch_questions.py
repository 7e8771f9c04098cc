"""What is asked about a doubtful touch test, in words, and how the answers come back in its form."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from starlette.datastructures import FormData

from server.services.board.facts import LayerFact
from server.services.last_wet import ASKED_FOR
from server.services.touch_doubts import Doubt
from server.web import words
from server.web.form_values import show as as_text
from server.web.standing_words import STATE_WORDS

INSTEAD, MISTAKEN = "instead", "mistaken"
STAGES = {state.value: word for state, word in STATE_WORDS.items()}
SOFTEST_FIRST = tuple(STAGES[stage] for stage in ("wet", "tacky", "touch_dry", "firm"))


@dataclass(frozen=True, slots=True)
class Answer:
    """A button: the field it sends, with its value, and what it says."""

    name: str
    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Question:
    """``title`` asks, ``reason`` says why; the first of ``answers`` keeps the test as it stands."""

    title: str
    reason: str
    answers: tuple[Answer, ...]


LAST_SEEN = ((0.2, "A few hours before"), (1.0, "The day before"), (2.0, "Two days before"), (4.0, "Four days before"))
WHEN_PAINTED = (60.0, "Only when I painted it")  # days before; no earlier than the painting, whatever is said


@dataclass(frozen=True, slots=True)
class LastWet:
    """The question of one tap: when a layer whose first test found it dry was last seen wet. ``choices``: days before
    that test, and what the button says; ``leads_to`` is where an answer leads."""

    action: str
    choices: tuple[tuple[float, str], ...]
    leads_to: str


def last_wet_of(layer_uid: str, painted_at: datetime, first_at: datetime, leads_to: str) -> LastWet:
    """The question with the answers that lie after the painting."""
    age_d = (first_at - painted_at) / timedelta(days=1)
    possible = tuple(choice for choice in LAST_SEEN if choice[0] < age_d)
    return LastWet(f"/learning/seen-wet/{layer_uid}", (*possible, WHEN_PAINTED), leads_to)


def last_wet_on(top: LayerFact | None, now: datetime, leads_to: str) -> LastWet | None:
    """The same of the layer on top of a panel, while somebody may remember; None where there is nothing to ask."""
    if top is None or top.painted_at is None or top.first_dry_at is None or now - top.first_dry_at > ASKED_FOR:
        return None
    return last_wet_of(top.uid, top.painted_at, top.first_dry_at, leads_to)


def question_of(doubt: Doubt, found: str, today: date, zone: ZoneInfo) -> Question:
    """``found`` is the word of the test in question; ``today`` and ``zone`` are the studio's."""
    as_it_stands = Answer("is_sure", "1", "Yes, that is right")
    if doubt.kind == "date" and doubt.instead is not None:
        day = words.full_date(doubt.instead.astimezone(zone).date())
        other = Answer(INSTEAD, as_text(doubt.instead, zone), f"No, it was {day}")
        reason = f"On {day} {found} would have been far likelier. Were day and month turned round, or the year off?"
        return Question("Is that the right date?", reason, (as_it_stands, other))
    if doubt.kind == "softer" and doubt.other_at is not None:
        return _softer(doubt, found, words.moment_words(doubt.other_at.astimezone(zone), today))
    reason = f"By all that is known of this layer, {found} at that moment happens less than once in a hundred."
    return Question("That is unusual. Sure?", f"{reason} Another panel, another day?", (as_it_stands,))


def _softer(doubt: Doubt, found: str, then: str) -> Question:
    other = STAGES[doubt.other_stage]
    found = min(found, other, key=SOFTEST_FIRST.index)  # that of the later test, whichever of them is asked about
    return Question(
        "Which one is right?",
        f"The test of {then} found it {other}, and paint does not go back to {found}. If it was painted again in "
        "between, that is a layer of its own: record it, and test that one.",
        (
            Answer("is_sure", "1", "Both are right"),
            Answer(MISTAKEN, doubt.other_uid, f"This one; “{other}” was mistaken"),
        ),
    )


def answered(posted: FormData) -> tuple[FormData, str]:
    """The form with its answer put in, and the uid of another test that the painter called mistaken."""
    instead, mistaken = posted.get(INSTEAD), posted.get(MISTAKEN)
    fields = [(name, value) for name, value in posted.multi_items() if name not in (INSTEAD, MISTAKEN)]
    if isinstance(instead, str):
        fields = [*((name, value) for name, value in fields if name != "pressed_at"), ("pressed_at", instead)]
    if isinstance(mistaken, str):
        fields.append(("is_sure", "1"))
    return FormData(fields), mistaken if isinstance(mistaken, str) else ""
