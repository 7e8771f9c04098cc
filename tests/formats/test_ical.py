"""The calendar writer, held to RFC 5545 and 7986, read back by two parsers that are not ours, and to zoneinfo."""

import re
from datetime import date, datetime, timedelta, timezone
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ical.calendar_stream import IcsCalendarStream

from server.formats.ical import CalendarFile, Entry, Stamp, etag_of, to_ical
from server.formats.ical_zone import time_zone_of

AT = datetime(2026, 11, 25, 9, 0, tzinfo=timezone.utc)
ZONES = ("Europe/Madrid", "America/New_York", "Australia/Lord_Howe")
UTC = timezone.utc


def event(start: date, end: date | None, **values: object) -> Entry:
    given_values = {
        "kind": "event",
        "uid": "u-1",
        "panel_uid": "p",
        "summary": "Two pears: glaze",
        "plain": "Two pears",
    }
    return Entry(**{**given_values, "start": start, "end": end, "status": "CONFIRMED", **values})  # type: ignore[arg-type]


def file_of(
    *entries: Entry, zone: str = "Europe/Madrid", source: str = "https://studio.example/f/x/calendar.ics"
) -> bytes:
    stamped = [(entry, Stamp(2, AT, AT + timedelta(days=1))) for entry in entries]
    return to_ical(CalendarFile("calendar-1", "Invented studio", ZoneInfo(zone), AT, stamped, source))


def parts_of(content: bytes, kind: str) -> list[Any]:
    return list(icalendar.Calendar.from_ical(content).walk(kind))


def unfolded(content: bytes) -> list[str]:
    """Content lines as RFC 5545, 3.1 joins them: a CRLF with one space after it is taken out."""
    return content.decode().replace("\r\n ", "").split("\r\n")


Onsets = list[tuple[datetime, timedelta]]


def onsets_of(content: bytes) -> Onsets:
    [zone] = parts_of(content, "VTIMEZONE")
    return [(part["DTSTART"].dt, part["TZOFFSETTO"].td) for part in zone.subcomponents]


def offset_at(local: datetime, onsets: Onsets) -> timedelta:
    """The offset of a local time, worked out by hand as RFC 5545, 3.6.5 tells: that of the observance with the latest
    onset which is not after it."""
    return max((onset for onset in onsets if onset[0] <= local), key=lambda onset: onset[0])[1]


def test_the_example_of_an_all_day_event_ends_on_the_day_after():
    """RFC 5545, 3.6.1: DTSTART;VALUE=DATE:20070628, DTEND;VALUE=DATE:20070709 is "up to, but not including" 9 July."""
    lines = unfolded(file_of(event(date(2007, 6, 28), date(2007, 7, 9))))
    assert "DTSTART;VALUE=DATE:20070628" in lines
    assert "DTEND;VALUE=DATE:20070709" in lines
    assert not [line for line in lines if line.startswith("BEGIN:VTIMEZONE")]  # no hour, no clock


def test_the_example_of_escaped_text():
    """RFC 5545, 3.3.11: "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared."; commas, semicolons and
    backslashes are escaped."""
    text = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    lines = unfolded(file_of(event(date(2026, 1, 1), date(2026, 1, 2), description=text, summary="a;b,c\\d")))
    assert r"DESCRIPTION:Project XYZ Final Review\nConference Room - 3B\nCome Prepared." in lines
    assert r"SUMMARY:a\;b\,c\\d" in lines


def test_the_name_of_a_calendar_is_text_too():
    """RFC 7986, 5.1: NAME is of type TEXT, so that what RFC 5545, 3.3.11 says of it holds."""
    content = to_ical(CalendarFile("c", r"Pears; quinces, C:\yard", ZoneInfo("UTC"), AT, [], ""))
    for name in ("NAME", "X-WR-CALNAME"):
        assert rf"{name}:Pears\; quinces\, C:\\yard" in unfolded(content)


ENDS = ("\r\n", "\n", "\r", "\x0b", "\x0c", "\x85", "\u2028", "\u2029")
LINES = ("END:VEVENT", "BEGIN:VEVENT", "ATTACH:http://elsewhere.example/x", "é" * 40, "a" * 74, "\u202e")
MARKS = ("\\", "\\n", ";", ",", ":", '"', " ", "\t")
HOSTILE = st.lists(st.sampled_from((*ENDS, *LINES, *MARKS)), max_size=8).map("".join)


@given(HOSTILE, HOSTILE, HOSTILE)
def test_no_text_becomes_a_line_of_the_calendar(summary: str, description: str, name: str):
    """Whatever ends a line for a reader: CRLF (RFC 5545, 3.1), LF or CR alone, and what Python takes for one."""
    entry = event(date(2026, 1, 1), date(2026, 1, 2), description=description, summary=summary)
    content = to_ical(CalendarFile("c", name, ZoneInfo("UTC"), AT, [(entry, Stamp(0, AT, AT))], ""))
    assert b"\r" not in content.replace(b"\r\n", b"")
    assert b"\n" not in content.replace(b"\r\n", b"")
    known = {"BEGIN", "END", "PRODID", "VERSION", "CALSCALE", "UID", "LAST-MODIFIED", "NAME", "X-WR-CALNAME"}
    known |= {"X-WR-TIMEZONE", "REFRESH-INTERVAL", "SEQUENCE", "DTSTAMP", "CREATED", "SUMMARY", "DESCRIPTION", "STATUS"}
    known |= {"DTSTART", "DTEND", "TRANSP", "SOURCE"}
    lines = unfolded(content)
    names = [re.split("[;:]", line)[0] for line in lines if line]
    assert set(names) <= known
    assert names.count("BEGIN") == 2
    [read] = parts_of(content, "VEVENT")
    assert read.get("attach") is None


def test_the_example_of_the_time_zone_of_new_york():
    """RFC 5545, 3.6.5: both changes are told at T020000, from -0500 to -0400 and back; 11 March and 4 November 2007."""
    text = time_zone_of(ZoneInfo("America/New_York"), 2007, 2007).to_ical().decode()
    for part in (
        "BEGIN:DAYLIGHT\r\nDTSTART:20070311T020000\r\nTZNAME:EDT\r\nTZOFFSETFROM:-0500\r\nTZOFFSETTO:-0400",
        "BEGIN:STANDARD\r\nDTSTART:20071104T020000\r\nTZNAME:EST\r\nTZOFFSETFROM:-0400\r\nTZOFFSETTO:-0500",
    ):
        assert part in text


def test_what_rfc_7986_adds_names_its_value_types():
    """RFC 7986, 5.7 and 5.8: REFRESH-INTERVAL;VALUE=DURATION:P1W and SOURCE;VALUE=URI:https://..."""
    lines = unfolded(file_of(event(date(2026, 1, 1), date(2026, 1, 2))))
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT1H" in lines
    assert "SOURCE;VALUE=URI:https://studio.example/f/x/calendar.ics" in lines
    assert "NAME:Invented studio" in lines
    assert not [line for line in unfolded(file_of(source="")) if line.startswith(("SOURCE", "REFRESH"))]


def test_what_every_event_must_have():
    """RFC 5545, 3.6.1: UID and DTSTAMP; SEQUENCE, STATUS and TRANSP as they are set. DTSTAMP is the revision's."""
    start = datetime(2026, 12, 3, 8, 30, tzinfo=UTC)
    lines = unfolded(file_of(event(start, start + timedelta(hours=2), is_busy=True)))
    for line in (
        *("UID:u-1", "DTSTAMP:20261126T090000Z", "CREATED:20261125T090000Z", "LAST-MODIFIED:20261126T090000Z"),
        *("SEQUENCE:2", "STATUS:CONFIRMED", "TRANSP:OPAQUE"),
        "DTSTART;TZID=Europe/Madrid:20261203T093000",
        "DTEND;TZID=Europe/Madrid:20261203T113000",
    ):
        assert line in lines


def test_tasks_are_open_done_or_due():
    """RFC 5545, 3.6.2: DUE after DTSTART and of its type; COMPLETED is in UTC."""
    done = event(date(2026, 11, 1), date(2026, 11, 2), kind="task", status="COMPLETED", completed_at=AT)
    open_ = event(date(2026, 11, 1), date(2026, 11, 2), kind="task", status="NEEDS-ACTION", uid="u-2")
    content = file_of(done, event(open_.start, None, kind="task", status="NEEDS-ACTION", uid="u-3"), open_)
    todos = {str(todo["UID"]): todo for todo in parts_of(content, "VTODO")}
    assert todos["u-1"]["COMPLETED"].dt == AT
    assert todos["u-2"]["DUE"].dt == date(2026, 11, 2)
    assert "DUE" not in todos["u-3"]
    assert len(IcsCalendarStream.calendar_from_ics(content.decode()).todos) == 3


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("year", [2026, 2027])
def test_instants_around_every_change_of_the_clock_come_back_exactly(zone: str, year: int):
    """The oracle is zoneinfo (the IANA database): every half hour of the days on which its offset changes."""
    clock = ZoneInfo(zone)
    begin = datetime(year, 1, 1, tzinfo=UTC)
    hours = [begin + timedelta(minutes=30 * n) for n in range(366 * 48)]
    span = timedelta(hours=3)
    near = [
        at for at in hours if (at + span).astimezone(clock).utcoffset() != (at - span).astimezone(clock).utcoffset()
    ]
    assert len(near) == 24
    entries = [event(at, at + timedelta(minutes=20), uid=f"u-{n}") for n, at in enumerate(near)]
    content = file_of(*entries, zone=zone)
    parsed = {str(found["UID"]): found for found in parts_of(content, "VEVENT")}
    independent = {found.uid: found for found in IcsCalendarStream.calendar_from_ics(content.decode()).events}
    for entry in entries:
        assert parsed[entry.uid]["DTSTART"].dt.astimezone(UTC) == entry.start
        assert parsed[entry.uid]["DTEND"].dt.astimezone(UTC) == entry.end
        assert independent[entry.uid].dtstart.astimezone(UTC) == entry.start  # type: ignore[union-attr]
    # And by the calendar's own VTIMEZONE, for clients that know no zone by its name.
    told = re.findall(r"DTSTART;TZID=[^:]+:(\d{8}T\d{6})", content.decode())
    assert told
    onsets = onsets_of(content)
    for text in told:
        local = datetime.strptime(text, "%Y%m%dT%H%M%S")  # noqa: DTZ007 - a local time, by the zone's own clock
        skipped = local.replace(tzinfo=clock).astimezone(UTC).astimezone(clock).replace(tzinfo=None) != local
        assert not skipped  # an hour that the clock leaves out is never written
        if local.replace(tzinfo=clock, fold=1).utcoffset() == local.replace(tzinfo=clock).utcoffset():
            assert offset_at(local, onsets) == local.replace(tzinfo=clock).utcoffset()


def test_lord_howe_moves_by_half_an_hour():
    """From the IANA database: +11 to +10:30 on 5 April 2026 at 02:00, back on 4 October 2026 at 02:00."""
    text = time_zone_of(ZoneInfo("Australia/Lord_Howe"), 2026, 2026).to_ical().decode()
    assert "DTSTART:20260405T020000\r\nTZNAME:+1030\r\nTZOFFSETFROM:+1100\r\nTZOFFSETTO:+1030" in text
    assert "DTSTART:20261004T020000\r\nTZNAME:+11\r\nTZOFFSETFROM:+1030\r\nTZOFFSETTO:+1100" in text


def test_a_studio_in_utc_needs_no_zone():
    start = datetime(2026, 12, 3, 8, 30, tzinfo=UTC)
    lines = unfolded(file_of(event(start, start + timedelta(hours=2)), zone="UTC"))
    assert "DTSTART:20261203T083000Z" in lines
    assert "BEGIN:VTIMEZONE" not in lines


TEXTS = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs", "M")), min_size=1, max_size=300)


@given(summary=TEXTS, lines=st.lists(TEXTS, max_size=3))
def test_any_text_comes_back_and_no_line_is_too_long(summary: str, lines: list[str]):
    """RFC 5545, 3.1: lines of at most 75 octets without their end, which is CRLF; a character is never torn apart."""
    description = "\n".join(lines)
    content = file_of(event(date(2026, 1, 1), date(2026, 1, 2), summary=summary, description=description))
    raw = content.split(b"\r\n")
    assert max(map(len, raw)) <= 75
    assert b"\n" not in b"".join(raw)
    for line in raw:
        line.decode()  # whole characters
    [found] = parts_of(content, "VEVENT")
    assert str(found["SUMMARY"]) == summary
    assert str(found.get("DESCRIPTION", "")) == description


@given(text=st.text(alphabet="\\;,:\"'\n é", max_size=120))
def test_what_is_escaped_is_read_the_same_by_an_independent_parser(text: str):
    """Without the letter n: that parser takes an escaped backslash before it for a line break."""
    given_text = f"x{text}x"
    content = file_of(event(date(2026, 1, 1), date(2026, 1, 2), description=given_text))
    [found] = IcsCalendarStream.calendar_from_ics(content.decode()).events
    assert found.description == given_text


def test_the_same_content_has_the_same_name():
    one, other = file_of(), file_of(event(date(2026, 1, 1), date(2026, 1, 2)))
    assert etag_of(one) == etag_of(file_of())
    assert etag_of(one) != etag_of(other)
    assert re.fullmatch(r'W/"[0-9a-f]{32}"', etag_of(one))
