"""Files of readings. What the clocks do in Prague in 2025 and 2026 is taken from the time zone database, by way of
zoneinfo; examples are our own inventions."""

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.formats.readings.table import Choices, Unreadable, look_at, read

PRAGUE = ZoneInfo("Europe/Prague")
LATEST = datetime(2026, 11, 25, 9, tzinfo=timezone.utc)


def read_as_seen(text: str, zone: ZoneInfo = PRAGUE):
    return read(text, look_at(text).choices, zone, LATEST)


def instants(found) -> list[str]:
    return [f"{datetime.fromtimestamp(s, timezone.utc):%Y-%m-%dT%H:%M}" for s in found.readings.at_s.tolist()]


@pytest.mark.parametrize(
    "text",
    [
        "when,temperature,humidity\n2026-11-02 10:00,18.5,61\n",
        "Time;Temp (°C);RH\n02.11.2026 10:00;18,5;61,0\n",
        "Date/Time\tHumidity (%)\tTemperature\n02/11/2026 10:00:00\t61 %\t18.5 °C\n",
        "stamp,temp °F,hum\n2026-11-02T10:00:00+01:00,65.3,61\n",
        "time (UTC),celsius,rh\n2026-11-02T09:00:00,18.5,0.61\n",
        "timestamp,temp,hum\n1793610000,18.5,61\n",
        "# logger in the cellar\n\nDate,Time,Temperature,Humidity\n2026-11-02,10:00,18.5,61\n",
        "2026-11-02 10:00,18.5,61\n2026-11-02 10:00,18.5,61\n",
        "time,temp,hum\n11/02/2026 10:00 AM,18.5,61\n11/13/2026 01:00 PM,18.5,61\n",
    ],
)
def test_tables_of_many_kinds_are_read_without_a_word(text: str):
    found = read_as_seen(text)
    assert found.faulty == 0
    assert instants(found)[0] == "2026-11-02T09:00"
    assert found.readings.temperature_c[0] == pytest.approx(18.5)
    assert found.readings.relative_humidity_pct[0] == pytest.approx(61)


def test_a_row_that_cannot_be_read_is_told_with_its_number():
    text = (
        "when,temp,hum\n2026-11-02 10:00,18.5,61\n2026-11-02 10:10,--,61\n2026-11-02 10:20,180,61\n"
        "2026-11-02 10:30,18,130\nyesterday,18,60\n2026-11-02 10:50,18\n2027-11-02 10:00,18,60\n"
        "2026-02-30 10:00,18,60\n2026-11-02 11:00,nan,60\n"
    )
    found = read_as_seen(text)
    assert len(found.readings) == 1
    assert [fault.row for fault in found.faults] == [3, 4, 5, 6, 7, 8, 9, 10]
    told = " ".join(fault.reason for fault in found.faults)
    for words in ("no temperature", "no room", "no humidity", "no time", "too few columns", "still to come"):
        assert words in told


def test_of_one_instant_the_first_row_stays():
    found = read_as_seen("when,temp,hum\n2026-11-02 10:00,18,61\n2026-11-02 10:00,19,61\n2026-11-02 09:00,17,61\n")
    assert found.readings.temperature_c.tolist() == [17, 18]
    assert found.twice == 1


def ten_minutes(first: datetime, count: int, zone: ZoneInfo) -> list[datetime]:
    return [(first + timedelta(minutes=10 * n)).astimezone(zone) for n in range(count)]


@pytest.mark.parametrize("newest_first", [False, True])
def test_the_hour_that_comes_twice_keeps_its_order(newest_first: bool):
    """25 October 2026: 3:00 summer time is 2:00 winter time again."""
    walls = ten_minutes(datetime(2026, 10, 24, 22, tzinfo=timezone.utc), 48, PRAGUE)
    rows = [f"{wall:%Y-%m-%d %H:%M},18,{50 + n / 10}" for n, wall in enumerate(walls)]
    found = read_as_seen("\n".join(["when,temp,hum", *(reversed(rows) if newest_first else rows)]))
    assert np.diff(found.readings.at_s).tolist() == [600] * 47
    assert found.readings.relative_humidity_pct[-1] > found.readings.relative_humidity_pct[0]
    [turn] = found.turns
    assert (turn.on, turn.missing, turn.first, turn.second) == ("25 October 2026", False, 6, 6)


def test_a_file_that_has_that_hour_once_is_told_so():
    found = read_as_seen("when,temp,hum\n2026-10-25 01:30,18,60\n2026-10-25 02:30,18,60\n2026-10-25 03:30,18,60\n")
    assert instants(found) == ["2026-10-24T23:30", "2026-10-25T00:30", "2026-10-25T02:30"]
    assert [(turn.first, turn.second) for turn in found.turns] == [(1, 0)]


def test_the_hour_that_is_missing_is_taken_as_winter_time_and_told():
    """29 March 2026: after 1:59 comes 3:00."""
    found = read_as_seen("when,temp,hum\n2026-03-29 01:30,18,60\n2026-03-29 02:30,18,60\n2026-03-29 04:00,18,60\n")
    assert instants(found) == ["2026-03-29T00:30", "2026-03-29T01:30", "2026-03-29T02:00"]
    [turn] = found.turns
    assert (turn.on, turn.missing, turn.first) == ("29 March 2026", True, 1)


def test_times_with_an_offset_go_by_it_whatever_the_zone():
    text = "when,temp,hum\n2026-10-25T02:30:00+02:00,18,60\n2026-10-25T02:30:00+01:00,18,60\n"
    assert instants(read_as_seen(text)) == instants(read_as_seen(text, ZoneInfo("Asia/Tokyo")))
    assert read_as_seen(text).turns == ()


@pytest.mark.parametrize("text", ["", "\n\n", "one,two\n1,2\n", "just words"])
def test_what_is_no_table_of_readings_says_so(text: str):
    with pytest.raises(Unreadable):
        look_at(text)


def test_columns_can_be_chosen_otherwise():
    text = "a,b,c,d\n60,2026-11-02 10:00,99,18\n"
    chosen = Choices(at_column=1, temperature_column=3, humidity_column=0)
    found = read(text, chosen, PRAGUE, LATEST)
    assert found.readings.temperature_c.tolist() == [18]
    assert found.readings.relative_humidity_pct.tolist() == [60]


def test_a_cell_without_an_end_is_told_by_its_row():
    text = 'time,temp,hum\n2026-11-02 10:00,18.5,61\n"' + "2026-11-02 10:00,18.5,61\n" * 9_000
    with pytest.raises(Unreadable, match="Row 3 cannot be read"):
        read_as_seen(text)


@pytest.mark.parametrize("ends", ["\r", "\r\n", "\n"])
def test_lines_end_as_they_do_anywhere(ends: str):
    text = ends.join(["time,temp,hum", "2026-11-02 10:00,18.5,61", "2026-11-02 11:00,18.5,61", ""])
    assert len(read_as_seen(text).readings) == 2


CELLS = ("2026-11-02 10:00", "10:00", "18,5", "18.5", "61", "1e400", "nan", "-", "°F", "9" * 400, "²", "٣", "24:00")
MARKS = (",", ";", "\t", "\n", "\r", "\r\n", '"', "\u2028", "\x85", "")
DAYS = (
    "31.02.2026",
    "0001-01-01",
    "9999-12-31T23:59",
    "2026-11-02T10:00:00+02:00",
    "99999999999999",
    "time",
    "humidity",
)


@given(st.lists(st.sampled_from((*CELLS, *MARKS, *MARKS, *DAYS)), max_size=40).map("".join), st.booleans())
def test_anything_is_a_table_or_told_to_be_none(text: str, has_head: bool):
    text = f"time,temperature,humidity\n{text}" if has_head else text
    try:
        seen = look_at(text)
        for order in ("year", "day", "month", "seconds"):
            read(text, replace(seen.choices, date_order=order, at_column=1), PRAGUE, LATEST)
    except Unreadable:
        pass
