"""How days, ranges and quantities are told. The wording is our own; there is no outside source."""

from datetime import date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.web import words

WEDNESDAY = date(2026, 11, 25)
DAYS = st.dates(date(2000, 1, 1), date(2100, 1, 1))


def after(days: int) -> date:
    return WEDNESDAY + timedelta(days)


@pytest.mark.parametrize(
    ("away", "told"),
    [
        (-1, "yesterday"),
        (0, "today"),
        (1, "tomorrow"),
        (2, "Friday"),
        (6, "Tuesday"),
        (7, "2 December"),
        (-2, "23 November"),
        (50, "14 January 2027"),
    ],
)
def test_a_day_is_told_by_its_nearness(away, told):
    assert words.day_words(after(away), WEDNESDAY) == told


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (0, 0, "likely today"),
        (0, 1, "likely today or tomorrow"),
        (1, 3, "likely tomorrow to Saturday"),
        (2, 4, "likely Friday to Sunday"),
        (5, 6, "likely Monday or Tuesday"),
        (6, 7, "likely 1 to 2 December"),
        (4, 8, "likely 29 November to 3 December"),
        (8, 14, "likely 3 to 9 December"),
        (20, 48, "likely in 3 to 7 weeks"),
        (22, 40, "likely in 3 to 6 weeks"),
        (18, 40, "likely in 3 to 6 weeks"),
        (18, 39, "likely 13 December 2026 to 3 January 2027"),
        (3, 40, "likely 28 November 2026 to 4 January 2027"),
        (28, 30, "likely in 4 weeks"),
        (190, 200, "likely June 2027"),
        (190, 260, "likely June to August 2027"),
        (365, 430, "likely November 2027 to January 2028"),
        (-3, 2, "likely by Friday"),
        (-3, 0, "likely by today"),
        (-3, 400, "likely by December 2027"),
        (-9, -5, "likely 16 to 20 November"),
        (3, 1, "likely tomorrow to Saturday"),
    ],
)
def test_a_range_is_told_in_words(low, high, told):
    assert words.range_words(after(low), after(high), WEDNESDAY) == told


@given(DAYS, DAYS, DAYS)
def test_a_range_never_sounds_certain(low, high, today):
    text = words.range_words(low, high, today)
    assert text.startswith("likely ")
    assert "  " not in text


@given(DAYS, st.integers(2, 6))
def test_a_weekday_names_one_day_only(today, away):
    told = words.day_words(today + timedelta(away), today)
    assert [told == words.day_words(today + timedelta(other), today) for other in range(-30, 30)].count(True) == 1


def test_a_moment_has_its_clock_time():
    instant = datetime(2026, 11, 26, 9, 5, tzinfo=timezone.utc)
    assert words.moment_words(instant, WEDNESDAY) == "tomorrow at 09:05"
    assert words.full_date(instant.date()) == "Thursday 26 November 2026"


@pytest.mark.parametrize(
    ("away", "told"),
    [(0, "today"), (-1, "yesterday"), (1, "tomorrow"), (-5, "5 days ago"), (-40, "6 weeks ago"), (30, "in 4 weeks")],
)
def test_how_long_ago(away, told):
    assert words.ago_words(after(away), WEDNESDAY) == told


@pytest.mark.parametrize(
    ("days", "told"),
    [(0.01, "1 hour"), (0.5, "12 hours"), (3.4, "3 days"), (21, "21 days"), (30, "4 weeks"), (365, "12 months")],
)
def test_a_length_of_time(days, told):
    assert words.days_words(days) == told


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (3.1, 5.2, "3 to 5 days"),
        (0.2, 0.9, "5 to 22 hours"),
        (0.2, 2.9, "under 3 days"),
        (4.0, 4.2, "about 4 days"),
        (20, 50, "3 to 7 weeks"),
        (150, 400, "5 to 13 months"),
    ],
)
def test_a_range_of_lengths(low, high, told):
    assert words.days_range_words(low, high) == told


@pytest.mark.parametrize(
    ("value", "digits", "told"),
    [
        (0, 2, "0"),
        (0.0412, 2, "0.041"),
        (2.456, 2, "2.5"),
        (9.96, 2, "10"),
        (1234.5, 2, "1200"),
        (100.0, 3, "100"),
        (-3.14, 2, "\N{MINUS SIGN}3.1"),
        (float("inf"), 2, "\N{EM DASH}"),
        (float("nan"), 2, "\N{EM DASH}"),
    ],
)
def test_a_figure_has_the_precision_it_is_given(value, digits, told):
    assert words.figure(value, digits) == told


@given(st.floats(-1e9, 1e9), st.integers(1, 6))
def test_a_figure_reads_back_within_its_precision(value, digits):
    told = words.figure(value, digits).replace("\N{MINUS SIGN}", "-")
    assert "e" not in told
    assert abs(float(told) - value) <= abs(value) * 10 ** (1 - digits) + 1e-300


def test_counts_and_lists():
    assert words.count_words(0, "panel") == "no panels"
    assert words.count_words(1, "panel") == "1 panel"
    assert words.count_words(2, "day's wait", "days' wait") == "2 days' wait"
    assert words.join_words([]) == ""
    assert words.join_words(["a"]) == "a"
    assert words.join_words(["a", "b", "c"]) == "a, b and c"
    assert words.ml_words(0.412) == "0.41\N{NO-BREAK SPACE}ml"
    assert words.pct_words(0.1249) == "12\N{NO-BREAK SPACE}%"
