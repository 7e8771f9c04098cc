"""Forms: every typed value survives, every fault stands at its field, rows keep their numbers."""

from dataclasses import dataclass
from datetime import date, datetime, timezone
from typing import Literal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, model_validator
from starlette.datastructures import FormData

from server.web import plain_words
from server.web.forms import FormState, command_key, edited_rows, parse

BERLIN = ZoneInfo("Europe/Berlin")


class Part(BaseModel):
    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)
    kind: Literal["paint", "oil"] = "paint"
    label: str = Field(min_length=1, max_length=20)
    parts: float = Field(gt=0, le=1000)


class Month(BaseModel):
    month: int
    temperature_c: float


class Place(BaseModel):
    name: str = "here"


class Sample(BaseModel):
    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)
    title: str = Field(min_length=1, max_length=40)
    width_mm: int = Field(default=300, ge=10, le=5000)
    due_on: date | None = None
    painted_at: AwareDatetime | None = None
    measured: bool = False
    light: float | Literal["room", "dark"] = "room"
    sitting_min: int | None = 60
    notes: str = ""
    tags: list[str] = Field(default_factory=list)
    parts: list[Part] = Field(default_factory=list, max_length=5)
    months: list[Month] = Field(default_factory=list)
    place: Place = Field(default_factory=Place)

    @model_validator(mode="after")
    def due_after_painted(self) -> "Sample":
        if self.due_on and self.due_on.year == 1999:
            raise ValueError("That year is over.")
        return self


@dataclass
class Fault:
    field: str
    message: str


def form(*pairs: tuple[str, str]) -> FormData:
    return FormData(list(pairs))


def test_a_whole_form_becomes_the_command():
    command, state = parse(
        form(
            ("command_key", "abcdefgh1234"),
            ("version", "3"),
            ("title", " Two pears "),
            ("width_mm", "400"),
            ("due_on", "2026-12-01"),
            ("painted_at", "2026-11-02T10:00"),
            ("measured", "on"),
            ("light", "dark"),
            ("sitting_min", ""),
            ("tags", "a"),
            ("tags", "b"),
            ("place-name", "rack"),
            ("parts-0-label", "Grey"),
            ("parts-0-parts", "2,5"),
            ("parts-2-kind", "oil"),
            ("parts-2-label", "Linseed"),
            ("parts-2-parts", "1"),
        ),
        Sample,
        zone=BERLIN,
    )
    assert state.errors == {}
    assert command is not None
    assert command.title == "Two pears"
    assert (command.width_mm, command.due_on, command.measured) == (400, date(2026, 12, 1), True)
    assert command.painted_at == datetime(2026, 11, 2, 9, 0, tzinfo=timezone.utc)
    assert (command.light, command.sitting_min, command.tags, command.place.name) == ("dark", None, ["a", "b"], "rack")
    assert [(part.kind, part.label, part.parts) for part in command.parts] == [
        ("paint", "Grey", 2.5),
        ("oil", "Linseed", 1),
    ]
    assert state.command_key == "abcdefgh1234"
    assert state.value("version") == "3"


def test_what_the_form_does_not_hold_keeps_its_default():
    command, _ = parse(form(("title", "x")), Sample)
    assert command is not None
    assert (command.width_mm, command.sitting_min, command.measured) == (300, 60, False)


def test_faults_stand_at_their_fields_in_plain_words():
    command, state = parse(
        form(
            ("title", "  "),
            ("width_mm", "9000"),
            ("due_on", "soon"),
            ("light", "torch"),
            ("parts-1-label", "Grey"),
            ("parts-1-parts", "0"),
            ("parts-4-label", ""),
            ("parts-4-parts", "x"),
        ),
        Sample,
    )
    assert command is None
    assert state.errors == {
        "title": plain_words.FILL_IN,
        "width_mm": "This must be at most 5000.",
        "due_on": plain_words.DATE,
        "light": "Choose one of the list.",
        "parts-1-parts": "This must be more than 0.",
        "parts-4-parts": plain_words.NUMBER,
        "parts-4-label": plain_words.FILL_IN,
    }
    assert state.value("due_on") == "soon"
    assert state.value("parts-4-parts") == "x"


def test_a_rule_over_the_whole_form_is_told_above_it():
    command, state = parse(form(("title", "x"), ("due_on", "1999-01-01")), Sample)
    assert command is None
    assert state.error("") == "That year is over."


def test_rows_left_empty_do_not_count_but_stay_on_the_page():
    command, state = parse(
        form(
            ("title", "x"),
            ("parts-0-kind", "paint"),
            ("parts-0-label", ""),
            ("parts-3-label", "Grey"),
            ("parts-3-parts", "1"),
            ("months-0-month", "1"),
            ("months-0-temperature_c", ""),
            ("months-1-month", "2"),
            ("months-1-temperature_c", "18"),
        ),
        Sample,
        quiet=("month",),
    )
    assert command is not None
    assert len(command.parts) == 1
    assert [(m.month, m.temperature_c) for m in command.months] == [(2, 18.0)]
    assert state.rows("parts") == [0, 3]
    state.add_errors([Fault("parts.0.label", "No such paint."), Fault("title", "Taken."), Fault("", "Look again.")])
    assert state.errors == {"parts-3-label": "No such paint.", "title": "Taken.", "": "Look again."}


def test_too_many_rows_are_told():
    pairs = [pair for n in range(6) for pair in ((f"parts-{n}-label", "a"), (f"parts-{n}-parts", "1"))]
    command, state = parse(form(("title", "x"), *pairs), Sample)
    assert command is None
    assert state.error("parts") == "Keep to 5 lines at most."


def test_hidden_characters_are_refused_and_shown():
    command, state = parse(form(("title", "two\x00pears"), ("notes", "a\u202eb")), Sample)
    assert command is None
    assert state.errors == {"title": plain_words.HIDDEN_CHARACTERS, "notes": plain_words.HIDDEN_CHARACTERS}
    assert state.value("title") == "two\ufffdpears"


def test_a_field_that_no_form_has_is_told():
    command, state = parse(form(("title", "x"), ("titel", "y"), ("_focus", "z")), Sample)
    assert command is None
    assert "titel" in state.error("")


def test_rows_come_and_go_without_script():
    assert edited_rows(form(("title", "x"))) is None
    more = edited_rows(form(("title", "typed"), ("parts-0-label", "Grey"), ("_add", "parts")))
    assert more is not None
    assert more.rows("parts") == [0, 1]
    assert more.value("title") == "typed"
    less = edited_rows(
        form(("parts-0-label", "a"), ("parts-10-label", "b"), ("parts-1-label", "c"), ("_remove", "parts-1"))
    )
    assert less is not None
    assert less.rows("parts") == [0, 10]
    assert less.rows("parts", least=4) == [0, 10, 11, 12]


def test_a_conflict_keeps_both_and_lets_a_second_save_win():
    _, state = parse(form(("title", "Mine"), ("width_mm", "300"), ("version", "1")), Sample)
    state.add_conflict({"version": 2, "title": "Theirs", "width_mm": 300}, "Somebody changed this.")
    assert state.value("title") == "Mine"
    assert state.stored("title") == "Theirs"
    assert state.stored("width_mm") is None
    assert state.value("version") == "2"
    assert state.error("") == "Somebody changed this."


def test_a_form_filled_from_a_record_parses_to_the_same():
    command = Sample(
        title="Two pears",
        due_on=date(2026, 12, 1),
        painted_at=datetime(2026, 7, 1, 8, 0, tzinfo=timezone.utc),
        light=0.75,
        parts=[Part(label="Grey", parts=2.5)],
        measured=True,
    )
    state = FormState.of(command, BERLIN)
    assert state.value("painted_at") == "2026-07-01T10:00"
    again, state = parse(form(*state.values.items()), Sample, zone=BERLIN)
    assert state.errors == {}
    assert again == command


@pytest.mark.parametrize("key", ["", "short", "x" * 65, "with space inside", "semi;colon-key"])
def test_a_key_not_of_our_making_is_no_key(key):
    assert command_key(form(("command_key", key))) is None


NAMES = st.sampled_from(
    ["title", "width_mm", "due_on", "painted_at", "measured", "light", "notes", "tags", "place-name", "command_key"]
    + [f"parts-{n}-{name}" for n in (0, 1, 7) for name in ("kind", "label", "parts")]
    + ["parts", "parts-0", "parts-x-label", "parts--1-label", "months-0-month", "", "-", "version", "_add", "other"]
)


@given(st.lists(st.tuples(NAMES, st.text(max_size=30)), max_size=15))
def test_whatever_is_typed_survives_and_is_answered(pairs):
    command, state = parse(FormData(pairs), Sample)
    assert (command is None) == bool(state.errors)
    assert all(message and "{" not in message for message in state.errors.values())
    last_typed = dict(pairs)
    for name, text in last_typed.items():
        if name != "command_key" and not any(ord(c) < 32 or 0x7F <= ord(c) < 0xA0 or ord(c) > 0x2000 for c in text):
            assert state.value(name) == text


def test_every_message_is_a_sentence():
    for message in plain_words.MESSAGES.values():
        assert message[0].isupper()
        assert message.endswith(".")
    assert (
        plain_words.message_for({"type": "string_too_short", "ctx": {"min_length": 3}})
        == "Write at least 3 characters."
    )
    assert plain_words.message_for({"type": "too_short", "ctx": {"min_length": 1}}) == "Add at least 1 line."
    assert plain_words.message_for({"type": "of_another_version", "msg": "x"}) == "This is not understood here."
