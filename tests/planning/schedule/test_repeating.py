"""Repeating rules: what a studio may write, what is refused in words, and that no rule keeps the planner for ever."""

import time
from datetime import date, datetime, timedelta

import pytest
from dateutil.rrule import rrulestr
from hypothesis import example, given
from hypothesis import strategies as st

from server.planning.schedule.repeating import check_rule, rule_days

TODAY = date(2026, 11, 25)
DAYS = 500
HOSTILE = (
    "FREQ=WEEKLY;INTERVAL=0;BYDAY=MO",
    "FREQ=DAILY;INTERVAL=-1",
    "FREQ=DAILY;INTERVAL=99999999999",
    "FREQ=DAILY;INTERVAL=²",
    "FREQ=DAILY;INTERVAL=1,2",
    "FREQ=SECONDLY",
    "FREQ=DAILY;FREQ=SECONDLY",
    "FREQ=DAILY;FREQ=WEEKLY",
    "FREQ=DAILY;COUNT=1000000000",
    "FREQ=DAILY;COUNT=3;UNTIL=20271224",
    "FREQ=MONTHLY;BYDAY=+99MO",
    "FREQ=DAILY;BYDAY=1MO",
    "FREQ=DAILY;BYDAY=",
    "FREQ=DAILY;BYMONTH=13",
    "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30",
    "FREQ=DAILY;BYEASTER=0",
    "FREQ=DAILY;BYHOUR=9",
    "FREQ=DAILY;UNTIL=20260230",
    "FREQ=DAILY;UNTIL=soon",
    "FREQ=DAILY;WKST=XX",
    "FREQ=WEEKLY;BYSETPOS=366",
    "FREQ=DAILY;",
    "FREQ=DAILY;=",
    "DTSTART:20200101\nRRULE:FREQ=DAILY",
    "sometimes",
    "",
)


@pytest.mark.parametrize("rule", HOSTILE)
def test_what_is_no_rule_of_days_is_refused_at_once_in_a_sentence(rule: str) -> None:
    begin = time.process_time()
    with pytest.raises(ValueError, match=r"^[A-Z“].*\.$") as fault:
        check_rule(rule)
    assert "rrule" not in str(fault.value).lower() and "index" not in str(fault.value)
    assert time.process_time() - begin < 5.0


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=WEEKLY;INTERVAL=2;BYDAY=TU",
        "FREQ=WEEKLY;INTERVAL=2;BYDAY=SU,MO;WKST=SU",
        "FREQ=MONTHLY;BYDAY=-1FR",
        "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1",
        "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO",
        "FREQ=YEARLY;BYDAY=20MO",
        "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=29",
        "FREQ=DAILY;INTERVAL=3;COUNT=40",
        "FREQ=DAILY;UNTIL=20270110",
        "FREQ=YEARLY",
        "FREQ=MONTHLY",
    ],
)
@pytest.mark.parametrize("first_on", [date(2026, 1, 31), TODAY, date(2027, 2, 1)])
def test_days_are_those_of_the_library_that_counts_them_out_in_their_own_year(rule: str, first_on: date) -> None:
    """Source: dateutil 2.9 asked without the shift of years."""
    begin = datetime.combine(TODAY, datetime.min.time())
    own = rrulestr(rule, dtstart=datetime.combine(first_on, datetime.min.time()))
    end = begin + timedelta(days=DAYS - 1)
    assert list(rule_days(rule, first_on, TODAY, DAYS)) == [
        (at - begin).days for at in own.between(begin, end, inc=True)
    ]


def test_a_day_to_end_on_may_come_with_an_hour_and_a_zone() -> None:
    """RFC 5545, section 3.3.10: UNTIL is a date, or a date with time in UTC."""
    for until in ("20261127", "20261127T235959", "20261127T120000Z"):
        assert rule_days(f"FREQ=DAILY;UNTIL={until}", TODAY, TODAY, DAYS) == (0, 1, 2)
    assert rule_days("FREQ=DAILY;UNTIL=99991231T235959Z", TODAY, TODAY, DAYS) == tuple(range(DAYS))
    assert rule_days("FREQ=DAILY;UNTIL=00010101", TODAY, TODAY, DAYS) == ()


def test_a_rule_that_never_meets_its_weekday_comes_to_an_end() -> None:
    """Every seventh day from a Wednesday is no Monday."""
    begin = time.process_time()
    assert rule_days("FREQ=DAILY;INTERVAL=7;BYDAY=MO", TODAY, TODAY, DAYS) == ()
    assert time.process_time() - begin < 5.0


def fault_of(rule: str) -> str:
    try:
        check_rule(rule)
    except ValueError as fault:
        return str(fault)
    return ""


PARTS = st.sampled_from(
    [
        "INTERVAL",
        "COUNT",
        "UNTIL",
        "WKST",
        "BYDAY",
        "BYMONTH",
        "BYMONTHDAY",
        "BYYEARDAY",
        "BYWEEKNO",
        "BYSETPOS",
        "X",
        "",
    ]
)
WRITTEN = st.sampled_from(
    ["0", "1", "-1", "5", "366", "99999", "MO", "-5SU", "53TU", "1,2,31", "20261224", "", "²", "a"]
)


@given(st.sampled_from(["DAILY", "WEEKLY", "MONTHLY", "YEARLY"]), st.lists(st.tuples(PARTS, WRITTEN), max_size=3))
@example("YEARLY", [("BYDAY", "53TU"), ("BYMONTH", "5")])
def test_any_rule_is_refused_or_counted_out(frequency: str, parts: list[tuple[str, str]]) -> None:
    rule = ";".join([f"FREQ={frequency}", *(f"{name}={value}" for name, value in parts)])
    if fault := fault_of(rule):
        assert fault.endswith(".")
        return
    found = rule_days(rule, TODAY, TODAY, DAYS)
    assert list(found) == sorted(set(found)) and all(0 <= day < DAYS for day in found)
