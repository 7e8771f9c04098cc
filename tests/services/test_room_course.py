"""A place through time: what was read, what fills the gaps, and the speed they mean."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from server.science.drying import climate as factors
from server.science.drying import drying_speed
from server.science.room_record import HOUR_S, Record
from server.services.climates import Climate
from server.services.room_course import BRIDGED, READ, TO_COME, USUAL, course_of
from tests.services.conftest import NOW

PRAGUE = ZoneInfo("Europe/Prague")
PLACE = Climate(1.0, False, False, 20.0, 50.0)
HOUR = int(NOW.timestamp() // HOUR_S)


def test_a_place_that_nobody_read_is_as_it_is_said_to_be():
    found = course_of(PLACE, NOW, PRAGUE)
    assert len(found.source) == 21 * 24
    assert found.now == 14 * 24
    assert set(found.source[: found.now].tolist()) == {USUAL}
    assert set(found.source[found.now :].tolist()) == {TO_COME}
    expected = float(drying_speed(factors(20.0, 50.0, 1.0)))
    assert found.week_speed == pytest.approx(expected)
    assert found.next_speed == pytest.approx(expected)
    assert (found.read_share, found.has_readings) == (0.0, False)


def test_a_cold_week_that_was_read_is_slower_and_slows_the_coming_one():
    hours = np.arange(HOUR - 10 * 24, HOUR)
    cold = Climate(1.0, False, False, 20.0, 50.0, record=Record.of(hours, np.full(240, 12.0), np.full(240, 55.0)))
    found, usual = course_of(cold, NOW, PRAGUE), course_of(PLACE, NOW, PRAGUE)
    assert found.read_share == 1.0
    assert found.week_speed == pytest.approx(float(drying_speed(factors(12.0, 55.0, 1.0))))
    assert found.week_speed < found.next_speed < usual.next_speed
    assert found.temperature_c[found.now - 1] == 12.0
    assert set(found.source[: 4 * 24].tolist()) == {USUAL}


def test_gaps_are_told_apart():
    hours = np.array([HOUR - 200, HOUR - 190, HOUR - 100, HOUR - 99])
    read = Climate(1.0, False, False, 20.0, 50.0, record=Record.of(hours, np.full(4, 16.0), np.full(4, 50.0)))
    found = course_of(read, NOW, PRAGUE)
    at = lambda hour: int(found.source[hour - HOUR + found.now])  # noqa: E731
    assert [at(HOUR - 200), at(HOUR - 195), at(HOUR - 150), at(HOUR - 99), at(HOUR - 50)] == [
        READ,
        BRIDGED,
        USUAL,
        READ,
        USUAL,
    ]
    assert found.at(found.now) == (NOW - timedelta(minutes=NOW.minute)).replace(second=0)
