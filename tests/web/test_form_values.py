"""Texts of a form to values and back."""

from datetime import date, datetime, timedelta, timezone
from enum import StrEnum
from typing import Literal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.web import form_values
from server.web.form_values import Unreadable, read, show

BERLIN = ZoneInfo("Europe/Berlin")


class Kind(StrEnum):
    OIL = "oil"


@pytest.mark.parametrize(
    ("text", "value"),
    [("2", 2.0), ("2.5", 2.5), ("2,5", 2.5), ("-0,25", -0.25), (".5", 0.5), ("+3", 3.0), ("\N{MINUS SIGN}4", -4.0)],
)
def test_a_number_takes_point_and_comma(text, value):
    assert read(text, float, timezone.utc) == value


@pytest.mark.parametrize(
    "text", ["", "two", "1e9", "nan", "inf", "1,000", "1,000.5", "1 000", "--1", "٣", "9" * 40, "0x10"]
)
def test_what_is_no_number_is_refused_in_words(text):
    with pytest.raises(Unreadable, match="Write"):
        read(text, float | None, timezone.utc)


@pytest.mark.parametrize("text", ["2.5", "a", "1" * 12, ""])
def test_what_is_no_whole_number_is_refused(text):
    with pytest.raises(Unreadable, match="whole number"):
        read(text, int, timezone.utc)


@pytest.mark.parametrize("text", ["2026-02-30", "26-1-1", "5", "2026-1-01", "tomorrow", "0001-01-01", "9999-12-31"])
def test_what_is_no_date_is_refused(text):
    with pytest.raises(Unreadable, match=r"date|year"):
        read(text, date | None, timezone.utc)


@pytest.mark.parametrize(
    "text", ["2026-02-01", "2026-02-01T25:00", "1700000000", "0001-01-01T00:00", "2026-02-01T10:00 x"]
)
def test_what_is_no_instant_is_refused(text):
    with pytest.raises(Unreadable, match=r"time|year"):
        read(text, datetime, timezone.utc)


def test_a_time_without_offset_is_the_studios():
    assert read("2026-07-01T10:00", datetime, BERLIN) == datetime(2026, 7, 1, 8, 0, tzinfo=timezone.utc)
    assert read("2026-12-01 10:00", datetime, BERLIN) == datetime(2026, 12, 1, 9, 0, tzinfo=timezone.utc)
    assert read("2026-12-01T10:00+00:00", datetime, BERLIN) == datetime(2026, 12, 1, 10, 0, tzinfo=timezone.utc)


def test_texts_and_choices_are_left_to_the_model():
    assert read("oil", Kind, timezone.utc) == "oil"
    assert read("oil", Literal["oil"] | float, timezone.utc) == "oil"
    assert read("on", bool, timezone.utc) == "on"
    assert read("3", int | float, timezone.utc) == 3.0


@given(st.floats(-1e9, 1e9).map(lambda value: float(f"{value:.6f}")))
def test_a_shown_number_reads_back(value):
    text = show(value, timezone.utc)
    if "e" not in text:
        assert read(text, float, timezone.utc) == pytest.approx(value, rel=1e-9)


@given(st.integers(-10_000_000, 90_000_000))
def test_a_shown_instant_reads_back_to_the_minute(minutes):
    instant = datetime(1970, 1, 1, tzinfo=timezone.utc) + timedelta(minutes=minutes)
    again = read(show(instant, BERLIN), datetime, BERLIN)
    # In the hour that a clock repeats in autumn the text cannot tell which one it was.
    assert abs((again - instant).total_seconds()) in {0.0, 3600.0}


@given(st.text())
def test_clean_text_hides_nothing_and_is_stable(text):
    cleaned = form_values.clean_text(text)
    assert form_values.clean_text(cleaned) == cleaned
    assert not any(character < " " and character not in "\n\t" for character in cleaned)


def test_marks_that_turn_the_writing_are_shown():
    assert form_values.clean_text("a\u202eb\x00c\r\nd") == "a\ufffdb\ufffdc\nd"
