"""Forecasts as days, and when a press is asked for."""

from datetime import date, datetime, timedelta, timezone
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from server.science.results import StageRange
from server.science.stages import age_reached, odds_reached
from server.services.board.facts import DaySpan, Moment
from server.services.board.pressing import awake, press_of
from server.services.board.spans import day_span, dot_days, later_of, not_before
from server.web import standing_words

ZONE = ZoneInfo("Europe/Berlin")
PAINTED = datetime(2026, 11, 23, 14, tzinfo=timezone.utc)  # a Monday, three in the afternoon
TODAY = date(2026, 11, 23)
DAY = timedelta(days=1)


def lasting(middle_d: float, sd: float) -> StageRange:
    return StageRange(*(float(middle_d * np.exp(z * sd)) for z in (-1.6449, -1.28155, 0.0, 1.28155, 1.6449)))


def at(days: float) -> Moment:
    now = PAINTED + timedelta(days=days)
    return Moment(now, now.astimezone(ZONE).date(), now, now.astimezone(ZONE).date(), ZONE)


def test_the_printed_example_of_a_range():
    """Printed with the method: book median five days, sd .33, painted on a Monday at three: Thursday to Monday."""
    span = day_span(PAINTED, lasting(5.0, 0.33), ZONE)
    assert (span.low, span.high) == (date(2026, 11, 26), date(2026, 11, 30))
    assert span.mass >= 0.8 and span.low <= span.central <= span.high
    assert span.sure == (PAINTED + timedelta(days=5.0 * float(np.exp(1.28155 * 0.33)))).astimezone(ZONE).date()
    assert standing_words.span_words(span, TODAY).startswith("likely 26 to 30 November, 8 times in 10")


@pytest.mark.parametrize(("middle", "sd"), [(0.4, 0.3), (5.0, 0.15), (9.0, 0.55), (60.0, 0.3), (300.0, 0.4)])
def test_a_run_holds_what_it_says_and_no_shorter_one_holds_four_fifths(middle, sd):
    found = lasting(middle, sd)
    span = day_span(PAINTED, found, ZONE)
    midnight = datetime(2026, 11, 23, tzinfo=ZONE).astimezone(timezone.utc)

    def below(day: date) -> float:
        return odds_reached(found, (midnight - PAINTED) / DAY + (day - TODAY).days)

    assert below(span.high + DAY) - below(span.low) == pytest.approx(span.mass, abs=2e-3)
    assert below(span.high + DAY) == pytest.approx(span.until, abs=2e-3)
    length = (span.high - span.low).days + 1
    step = max(1, length // 30)  # long ranges are told in blocks of days
    shorter = max(below(TODAY + DAY * (n + length - step)) - below(TODAY + DAY * n) for n in range(1500))
    assert shorter < 0.805


def test_the_likeliest_day_is_named_only_where_it_stands_out():
    told = standing_words.span_words
    run = DaySpan(date(2026, 11, 26), date(2026, 11, 27), date(2026, 11, 28), 0.84, 0.9, date(2026, 11, 27))
    assert told(run, TODAY) == "likely Thursday to Saturday, 8 times in 10, most likely Friday"
    assert told(run, TODAY + 4 * DAY) == "likely by tomorrow, 9 times in 10, most likely today"
    far = DaySpan(date(2027, 1, 4), date(2027, 1, 10), date(2027, 1, 20), 0.96, 0.98)
    assert told(far, TODAY) == "likely in 6 to 8 weeks, 19 times in 20"
    known = DaySpan(TODAY, TODAY, TODAY)
    assert told(known, TODAY) == "likely today"


def test_known_days_and_days_behind_others():
    known = day_span(PAINTED, lasting(3.0, 0.0), ZONE)
    assert known == DaySpan(date(2026, 11, 26), date(2026, 11, 26), date(2026, 11, 26), sure=date(2026, 11, 26))
    soon, late = day_span(PAINTED, lasting(5.0, 0.3), ZONE), day_span(PAINTED, lasting(9.0, 0.3), ZONE)
    assert later_of(late, soon) == late
    held = later_of(soon, late)
    assert (held.low, held.high) == (late.low, late.high)


def test_what_may_not_be_before_a_day_has_the_chance_of_all_that_came_before_it():
    span = day_span(PAINTED, lasting(9.0, 0.3), ZONE)
    assert not_before(span, span.low) == span
    held = not_before(span, span.low + 2 * DAY)
    assert (held.low, held.high, held.mass, held.until) == (span.low + 2 * DAY, span.high, span.until, span.until)
    gone = not_before(span, span.high + DAY)
    assert gone.low == gone.central == gone.high == span.high + DAY


def test_twenty_dots_are_twenty_equal_chances():
    found = lasting(5.0, 0.33)
    days = dot_days(PAINTED, found, ZONE)
    assert len(days) == 20 and list(days) == sorted(days)
    for share in (0.25, 0.5, 0.75):
        end = PAINTED + timedelta(days=age_reached(found, share))
        assert sum(day <= end.astimezone(ZONE).date() for day in days) == pytest.approx(20 * share, abs=4)
    assert dot_days(PAINTED, lasting(3.0, 0.0), ZONE) == ()


def test_a_press_is_asked_for_at_even_odds_and_once_more_at_three_in_four():
    found = lasting(5.0, 0.33)
    first = press_of(PAINTED, found, (), at(1))
    assert first is not None and first.chance == 0.5 and not first.is_now
    assert first.at == PAINTED + timedelta(days=5)  # three in the afternoon: a waking hour
    due = press_of(PAINTED, found, (), at(4.95))
    assert due is not None and due.is_now
    again = press_of(PAINTED, found, (), at(5.6))
    assert again is not None and again.chance == 0.75
    assert odds_reached(found, (again.at - PAINTED) / DAY) == pytest.approx(0.75, abs=0.06)  # but for the night
    assert press_of(PAINTED, found, (), at(8)) is None  # nobody is nagged
    pressed = [SimpleNamespace(pressed_at=PAINTED + timedelta(days=4.95))]
    later = press_of(PAINTED, found, pressed, at(5))
    assert later is not None and later.chance == 0.75
    assert press_of(PAINTED, lasting(3.0, 0.0), (), at(1)) is None


def test_nobody_is_asked_at_night():
    def local(day: int, hour: int) -> datetime:
        return datetime(2026, 11, day, hour, tzinfo=ZONE).astimezone(timezone.utc)

    assert awake(local(24, 14), ZONE) == local(24, 14)
    assert awake(local(24, 23), ZONE) == local(24, 21)
    assert awake(local(25, 2), ZONE) == local(24, 21)
    assert awake(local(25, 4), ZONE) == local(25, 8)
    said = standing_words.press_words(press_of(PAINTED, lasting(5.0, 0.33), (), at(1)), TODAY + DAY, ZONE)
    assert said == "A press Saturday afternoon tells most: about even odds then"
