"""Lists of days as people write them: common practice, no source; the calendar is RFC 5545."""

from datetime import date

import pytest

from server.formats.date_list import NamedDay, NoDates, Order, read

CHRISTMAS = date(2026, 12, 25)


@pytest.mark.parametrize(
    ("line", "name"),
    [
        ("2026-12-25", ""),
        ("20261225", ""),
        ("2026-12-25 Christmas", "Christmas"),
        ("25 December 2026", ""),
        ("Friday 25 December 2026: Christmas Day", "Christmas Day"),
        ("Fri, 25 Dec. 2026 – Christmas", "Christmas"),
        ("25th of December 2026", ""),
        ("December 25, 2026\tChristmas", "Christmas"),
        ("Christmas Day, 25.12.2026", "Christmas Day"),
        ("25/12/2026", ""),
        ("  Christmas | 25-12-2026 ", "Christmas"),
    ],
)
def test_a_day_is_read_however_it_is_written(line: str, name: str) -> None:
    assert read(line, "dmy") == [NamedDay(CHRISTMAS, name)]


@pytest.mark.parametrize(
    ("order", "on"), [("dmy", date(2026, 4, 3)), ("mdy", date(2026, 3, 4)), ("ymd", date(2026, 4, 3))]
)
def test_numbers_are_read_in_the_studios_order(order: Order, on: date) -> None:
    assert read("3/4/2026", order) == [NamedDay(on)]
    assert read("3.4.2026", order) == [NamedDay(date(2026, 4, 3))]  # with full stops the day comes first everywhere


def test_a_list_is_put_in_order_and_each_day_stands_once() -> None:
    text = "1 January 2027 New Year\n\n25 December 2026 Christmas\n2026-12-25 again\n"
    assert read(text, "dmy") == [NamedDay(CHRISTMAS, "Christmas"), NamedDay(date(2027, 1, 1), "New Year")]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "at least one day"),
        ("  \n ", "at least one day"),
        ("2026-12-25\nBoxing Day", "Line 2: there is no date"),
        ("25 December", "Line 1: there is no date"),
        ("25/12/26", "Line 1: there is no date"),
        ("30 February 2027", "Line 1: .* no calendar has"),
        ("13/13/2026", "Line 1: .* no calendar has"),
        ("\n24 December 2026 to 26 December 2026", "Line 2: .* two dates"),
        ("\n".join(f"{1900 + n}-01-01" for n in range(401)), "Keep one list to 400 days"),
        ("BEGIN:VCALENDAR\nnonsense", "cannot be read"),
    ],
)
def test_what_cannot_be_read_is_told_by_its_line(text: str, says: str) -> None:
    with pytest.raises(NoDates, match=says):
        read(text, "dmy")


def test_a_calendar_gives_the_days_of_its_events() -> None:
    """RFC 5545, 3.6.1: the end of an event of whole days is the day after its last."""
    event = "BEGIN:VEVENT\r\nUID:{0}@invented.example\r\nDTSTAMP:20260101T000000Z\r\n{1}\r\nEND:VEVENT\r\n"
    events = [
        "DTSTART;VALUE=DATE:20261225\r\nSUMMARY:Christmas\\, first day",
        "DTSTART;VALUE=DATE:20261230\r\nDTEND;VALUE=DATE:20270101\r\nSUMMARY:Closed",
        "DTSTART:20270106T120000Z",
    ]
    body = "".join(event.format(n, one) for n, one in enumerate(events))
    text = f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//invented//EN\r\n{body}END:VCALENDAR\r\n"
    assert read(text, "dmy") == [
        NamedDay(CHRISTMAS, "Christmas, first day"),
        NamedDay(date(2026, 12, 30), "Closed"),
        NamedDay(date(2026, 12, 31), "Closed"),
        NamedDay(date(2027, 1, 6)),
    ]
