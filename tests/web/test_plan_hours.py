"""Working hours over HTTP: every week, away, every second Wednesday, holidays; what a plan makes of them."""

import re
from datetime import date, datetime, timedelta
from html import unescape
from zoneinfo import ZoneInfo

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from server.planning.schedule.calendar import Zone, windows
from server.services import planning
from server.store.db import Database
from server.store.tables import StudioPlan, WorkTime
from tests.services.board_studio import hang
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.pages_of_records import form_to

WEEK = {"painter": "Ada", "weekdays": ["1", "3"], "start": "09:00", "end": "12:30"}
AWAY = {"painter": "", "from_on": "2026-12-01", "until_on": "2026-12-09", "label": "Travelling"}
REPEAT = {
    "painter": "Ada",
    "rhythm": "2",
    "weekdays": ["3"],
    "from_on": "2026-11-25",
    "until_on": "",
    "start": "",
    "end": "",
}
TODAY = NOW.date()  # a Wednesday


@pytest.fixture
def bench(db: Database) -> Bench:
    made = make_bench(db)
    hang(made, 2)
    return made


def words(text: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", text)))


def open_days(db: Database, painter: str = "Ada", days: int = 60) -> set[date]:
    """The days on which the planner finds time for a painter."""
    with db.read() as session:
        rows = list(session.exec(select(WorkTime).where(WorkTime.archived_at == None)))  # noqa: E711
    found = planning.painters(rows, TODAY, 0)
    zone = Zone(ZoneInfo("UTC"), TODAY)
    names = [one.id for one in found]
    return {TODAY + timedelta(days=w.day) for w in windows(found, zone, days) if names[w.painter] == painter}


def weekdays(found: set[date], *numbers: int) -> set[date]:
    return {on for on in found if on.isoweekday() in numbers}


def test_hours_of_every_week_may_have_a_break(bench: Bench, client: TestClient, db: Database) -> None:
    both = WEEK | {"again_start": "13:30", "again_end": "17:00"}
    assert client.post("/plan/hours/week", data=both).headers["location"].startswith("/plan/hours")
    told = words(client.get("/plan/hours").text)
    assert "Mondays and Wednesdays, 09:00 to 12:30" in told and "Mondays and Wednesdays, 13:30 to 17:00" in told
    assert open_days(db) == weekdays({TODAY + timedelta(days=n) for n in range(60)}, 1, 3)


def test_days_away_are_closed_for_everybody_from_the_first_to_the_last(
    bench: Bench, client: TestClient, db: Database
) -> None:
    client.post("/plan/hours/week", data=WEEK)
    client.post("/plan/hours/week", data=WEEK | {"painter": "Ben"})
    before = open_days(db)
    assert client.post("/plan/hours/away", data=AWAY).status_code == 303
    away = {date(2026, 12, 1) + timedelta(days=n) for n in range(9)}
    assert open_days(db) == before - away and open_days(db, "Ben") == before - away
    told = words(client.get("/plan/hours").text)
    assert "Everybody 1 December to 9 December: Travelling, no work" in told
    client.post("/plan/hours/away", data=AWAY | {"painter": "Ben", "from_on": "2026-12-14", "until_on": "2026-12-14"})
    assert date(2026, 12, 14) in open_days(db) and date(2026, 12, 14) not in open_days(db, "Ben")


def test_a_day_with_hours_of_its_own_is_worked_though_all_are_away(
    bench: Bench, client: TestClient, db: Database
) -> None:
    client.post("/plan/hours/week", data=WEEK)
    client.post("/plan/hours/away", data=AWAY)
    day = {"painter": "Ada", "weekdays": "", "on_date": "2026-12-05", "rule": "", "start": "10:00", "end": "12:00"}
    assert client.post("/plan/hours", data=day).status_code == 303
    assert date(2026, 12, 5) in open_days(db) and date(2026, 12, 2) not in open_days(db)


def test_every_second_wednesday_is_counted_from_its_day(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours/week", data=WEEK)
    before = open_days(db)
    assert client.post("/plan/hours/repeat", data=REPEAT).status_code == 303
    closed = {date(2026, 11, 25) + timedelta(days=14 * n) for n in range(5)}
    assert before - open_days(db) == closed & before
    assert "Every second Wednesday, from 25 November, no work" in words(client.get("/plan/hours").text)


def test_the_first_saturday_of_each_month_is_worked_until_a_day(bench: Bench, client: TestClient, db: Database) -> None:
    rule = {"rhythm": "first", "weekdays": ["6"], "until_on": "2026-12-31", "start": "09:00", "end": "13:00"}
    assert client.post("/plan/hours/repeat", data=REPEAT | rule).status_code == 303
    assert open_days(db) == {date(2026, 12, 5)}
    told = words(client.get("/plan/hours").text)
    assert "The first Saturday of each month until 31 December, from 25 November, 09:00 to 13:00" in told


def test_a_pasted_list_of_holidays_is_closed_for_everybody(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours/week", data=WEEK | {"weekdays": list("1234567")})
    before = open_days(db)
    dates = "25 December 2026 Christmas\n2027-01-01 New Year"
    assert client.post("/plan/hours/holidays", data={"painter": "", "dates": dates}).status_code == 303
    assert before - open_days(db) == {date(2026, 12, 25), date(2027, 1, 1)}
    assert "On 25 December: Christmas, no work" in words(client.get("/plan/hours").text)
    again = client.post("/plan/hours/holidays", data={"painter": "", "dates": dates})
    assert again.status_code == 409 and "stand there already" in again.text and dates in unescape(again.text)
    more = client.post("/plan/hours/holidays", data={"painter": "", "dates": f"{dates}\n2027-01-06"})
    assert more.status_code == 303 and date(2027, 1, 6) not in open_days(db)


@pytest.mark.parametrize(
    ("kind", "given", "fault_at", "says"),
    [
        ("week", WEEK | {"weekdays": []}, "weekdays", "Tick at least one day"),
        ("week", WEEK | {"painter": ""}, "painter", ""),
        ("week", WEEK | {"end": "08:00"}, "end", "later than the beginning"),
        ("week", WEEK | {"end": ""}, "end", "From when until when"),
        ("week", WEEK | {"again_start": "12:00", "again_end": "15:00"}, "again_end", "before the first has ended"),
        ("week", WEEK | {"again_start": "14:00"}, "again_end", "Give both times"),
        ("week", WEEK | {"start": "nine"}, "start", "Write a time like 09:30"),
        ("away", AWAY | {"until_on": "2026-11-30"}, "until_on", "before the first"),
        ("away", AWAY | {"from_on": ""}, "from_on", ""),
        ("away", AWAY | {"until_on": "2030-01-01"}, "until_on", "400 days"),
        ("repeat", REPEAT | {"weekdays": []}, "weekdays", "Tick at least one day"),
        ("repeat", REPEAT | {"start": "09:00"}, "end", "Give both times"),
        ("repeat", REPEAT | {"painter": "", "start": "09:00", "end": "10:00"}, "end", "Say above who works"),
        ("repeat", REPEAT | {"until_on": "2026-01-01"}, "until_on", "before the first"),
        ("holidays", {"painter": "", "dates": "Christmas"}, "dates", "Line 1: there is no date"),
        ("holidays", {"painter": "", "dates": ""}, "dates", "at least one day"),
    ],
)
def test_a_fault_stands_at_its_field_and_nothing_typed_is_lost(
    client: TestClient, kind: str, given: dict[str, object], fault_at: str, says: str
) -> None:
    answer = client.post(f"/plan/hours/{kind}", data=given)
    assert answer.status_code == 422
    fault = re.search(rf'id="e-{fault_at}">(.*?)</p>', answer.text, re.DOTALL)
    assert fault is not None and says in words(fault[1])
    for value in given.values():
        if isinstance(value, str) and value:
            assert value in unescape(answer.text)
    assert "Nobody has working hours yet" in answer.text


def test_a_form_sent_twice_adds_its_hours_once(client: TestClient, db: Database) -> None:
    for _ in range(2):
        assert client.post("/plan/hours/away", data=AWAY | {"command_key": "k" * 22}).status_code == 303
    with db.read() as session:
        assert len(session.exec(select(WorkTime)).all()) == 1


def test_with_days_off_alone_nobody_has_hours(bench: Bench, client: TestClient) -> None:
    client.post("/plan/hours/away", data=AWAY)
    assert "Nobody has working hours yet" in client.get("/plan").text
    refused = client.post("/plan/make", data={"mix_setup_min": "30"})
    assert refused.status_code == 409 and "Say first when you paint" in refused.text


def test_no_sitting_is_planned_while_all_are_away(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours/week", data=WEEK | {"weekdays": list("12345")})
    client.post("/plan/hours/away", data=AWAY | {"from_on": TODAY.isoformat(), "until_on": "2026-12-20"})
    assert client.post("/plan/make", data={"mix_setup_min": "30"}).status_code == 303
    with db.read() as session:
        content = session.exec(select(StudioPlan)).one().content_json or {}
    starts = [datetime.fromisoformat(one["start_at"]).date() for one in content["sittings"]]
    assert starts and min(starts) >= date(2026, 12, 21)


def test_days_that_are_over_are_out_of_the_way(client: TestClient) -> None:
    client.post("/plan/hours/away", data=AWAY | {"from_on": "2026-10-01", "until_on": "2026-10-05"})
    text = client.get("/plan/hours").text
    assert text.index("Days that are over") < text.index("1 October")


def test_a_painter_is_called_otherwise(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours/week", data=WEEK)
    client.post("/plan/hours/week", data=WEEK | {"painter": "Ben"})
    page = client.get("/plan/hours")
    assert 'href="/plan/hours?rename=Ada"' in page.text
    asked = client.get("/plan/hours?rename=Ada")
    sent = form_to(asked, "/plan/hours/rename")
    taken = client.post("/plan/hours/rename", data=sent.filled(name="Ben"))
    assert taken.status_code == 422
    assert "There are hours of this name already" in taken.text and 'value="Ben"' in taken.text
    assert client.post("/plan/hours/rename", data=sent.filled(name="")).status_code == 422
    done = client.post("/plan/hours/rename", data=sent.filled(name="Adela & Co"))
    assert (done.status_code, done.headers["location"]) == (303, "/plan/hours")
    assert open_days(db, "Adela & Co") and not open_days(db, "Ada")
    told = words(client.get("/plan/hours").text)
    assert "Adela & Co" in told and "The painter Ada is called Adela & Co now" in told
    assert client.get("/plan/hours?rename=Nobody").status_code == 200
    assert client.post("/plan/hours/rename").status_code == 422
    gone = client.post("/plan/hours/rename", data={"painter": "Nobody", "name": "Somebody"})
    assert gone.status_code == 404


def test_hours_that_overlap_are_told_at_the_field_they_came_from(bench: Bench, client: TestClient) -> None:
    hours = WEEK | {"weekdays": ["1"]}
    client.post("/plan/hours/week", data=hours)
    client.post("/plan/hours/away", data={"painter": "", "from_on": "2026-12-01", "until_on": "2026-12-09"})
    within = {"start": "10:00", "end": "11:00"}
    after = {"start": "07:00", "end": "08:00", "again_start": "10:00", "again_end": "11:00"}
    line = {"painter": "Ada", "weekdays": "1", "on_date": "", "rule": ""}
    for path, sent, field in (
        ("/week", hours | within, "start"),
        ("/week", hours | after, "again_start"),
        ("", line | within, "start"),
        ("/away", {"painter": "", "from_on": "2026-12-01", "until_on": "2026-12-09"}, "from_on"),
    ):
        answer = client.post(f"/plan/hours{path}", data=sent)
        assert answer.status_code == 409, path
        [box] = re.findall(rf'<input id="f-{field}"[^>]*>', answer.text)
        assert 'aria-invalid="true"' in box and f'value="{sent[field]}"' in box
        assert f'<a href="#f-{field}"' in answer.text and "This overlaps with hours of" in answer.text
