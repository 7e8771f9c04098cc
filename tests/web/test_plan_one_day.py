"""Hours of one day over HTTP: beside those that the day has otherwise, or in their place."""

import re
from datetime import date
from html import unescape
from zoneinfo import ZoneInfo

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from server.planning.schedule.calendar import Zone, windows
from server.services import planning
from server.services.history import recent
from server.store.db import Database
from server.store.tables import WorkTime
from tests.services.conftest import Bench, make_bench
from tests.web.pages_of_records import form_to
from tests.web.test_plan_hours import AWAY, REPEAT, WEEK, words

MONDAY = date(2026, 11, 30)
EVENING = {"painter": "Ada", "on_date": "2026-11-30", "start": "19:00", "end": "21:00"}


@pytest.fixture
def bench(db: Database) -> Bench:
    return make_bench(db)


def hours(db: Database, on: date = MONDAY, painter: str = "Ada") -> list[str]:
    """What the planner finds for a painter on a day."""
    with db.read() as session:
        rows = list(session.exec(select(WorkTime).where(WorkTime.archived_at == None)))  # noqa: E711
        zone = Zone(ZoneInfo("UTC"), on)
        found = planning.painters(rows, on, 0)
    own = [w for w in windows(found, zone, 1) if found[w.painter].id == painter]
    return [f"{zone.instant(w.start_min):%H:%M}-{zone.instant(w.end_min):%H:%M}" for w in own]


def label(db: Database, bench: Bench) -> str:
    with db.read() as session:
        return recent(session, bench.actor, 1)[0].label


def test_an_evening_stands_beside_the_morning_unless_said_otherwise(
    bench: Bench, client: TestClient, db: Database
) -> None:
    client.post("/plan/hours/week", data=WEEK)
    assert "/plan/hours?add=day" in client.get("/plan/hours").text
    sent = form_to(client.get("/plan/hours?add=day"), "/plan/hours/day")
    assert sent.values["how"] == "beside" and sent.values["painter"] == "Ada"
    done = client.post("/plan/hours/day", data=sent.filled(**EVENING))
    assert (done.status_code, done.headers["location"]) == (303, "/plan/hours")
    assert hours(db) == ["09:00-12:30", "19:00-21:00"]
    told = words(client.get("/plan/hours").text)
    assert "Added hours of Ada on Monday 30 November 2026. " in told
    assert "Hours of that day now: 09:00 to 12:30 and 19:00 to 21:00" in told
    assert client.post("/plan/hours/day", data=EVENING | {"start": "17:00", "end": "18:00"}).status_code == 303
    assert hours(db) == ["09:00-12:30", "17:00-18:00", "19:00-21:00"]
    with db.read() as session:
        newest, before = recent(session, bench.actor, 2)
    for entry in (newest, before):
        assert client.post(f"/history/{entry.uid}/undo").status_code == 303
    assert hours(db) == ["09:00-12:30"]


def test_hours_may_take_the_place_of_all_that_the_day_has(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours/week", data=WEEK | {"again_start": "13:30", "again_end": "17:00"})
    assert client.post("/plan/hours/day", data=EVENING | {"how": "instead"}).status_code == 303
    assert hours(db) == ["19:00-21:00"]
    assert label(db, bench).endswith("Hours of that day now: 19:00 to 21:00")
    client.post("/plan/hours/day", data=EVENING | {"how": "instead", "start": "06:00", "end": "07:00"})
    assert hours(db) == ["06:00-07:00"] and hours(db, date(2026, 12, 7)) == ["09:00-12:30", "13:30-17:00"]


def test_of_days_by_a_rule_the_rules_hours_stay(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours/week", data=WEEK)
    client.post("/plan/hours/repeat", data=REPEAT | {"start": "14:00", "end": "16:00"})  # every second Wednesday
    client.post("/plan/hours/day", data=EVENING | {"on_date": "2026-12-09"})
    assert hours(db, date(2026, 12, 9)) == ["14:00-16:00", "19:00-21:00"]
    assert hours(db, date(2026, 12, 2)) == ["09:00-12:30"]


def test_on_a_day_without_work_there_are_no_other_hours(bench: Bench, client: TestClient, db: Database) -> None:
    """While all are away, and on a day that the painter had closed."""
    client.post("/plan/hours/week", data=WEEK)
    client.post("/plan/hours/away", data=AWAY)
    client.post("/plan/hours/day", data=EVENING | {"on_date": "2026-12-07"})
    assert hours(db, date(2026, 12, 7)) == ["19:00-21:00"]
    client.post("/plan/hours/away", data=AWAY | {"painter": "Ada", "from_on": "2026-11-30", "until_on": "2026-11-30"})
    assert hours(db) == []
    assert client.post("/plan/hours/day", data=EVENING).status_code == 303
    assert hours(db) == ["19:00-21:00"]


def test_hours_of_others_stay(bench: Bench, client: TestClient, db: Database) -> None:
    for painter in ("Ada", "Ben"):
        client.post("/plan/hours/week", data=WEEK | {"painter": painter})
    client.post("/plan/hours/day", data=EVENING | {"painter": "Ben", "how": "instead"})
    assert hours(db) == ["09:00-12:30"] and hours(db, painter="Ben") == ["19:00-21:00"]
    client.post("/plan/hours/day", data=EVENING | {"painter": "Cleo"})
    assert hours(db, painter="Cleo") == ["19:00-21:00"]


FAULTS = [
    ({"painter": ""}, "painter", ""),
    ({"on_date": ""}, "on_date", ""),
    ({"start": "", "end": ""}, "end", "From when until when"),
    ({"end": "18:00"}, "end", "later than the beginning"),
    ({"how": "somehow"}, "how", ""),
    ({"start": "12:00", "end": "14:00"}, "start", "This overlaps with hours of Ada"),
]


@pytest.mark.parametrize(("given", "fault_at", "says"), FAULTS)
def test_a_fault_stands_at_its_field_and_nothing_is_lost(
    bench: Bench, client: TestClient, given: dict[str, str], fault_at: str, says: str
) -> None:
    client.post("/plan/hours/week", data=WEEK)
    answer = client.post("/plan/hours/day", data=EVENING | given)
    assert answer.status_code == (409 if fault_at == "start" else 422)
    fault = re.search(rf'id="e-{fault_at}">(.*?)</p>', answer.text, re.DOTALL)
    assert fault is not None and says in words(fault[1])
    for value in (EVENING | given).values():
        assert not value or value == "somehow" or f'value="{value}"' in unescape(answer.text)
    assert hours(bench.db) == ["09:00-12:30"]


def test_a_line_as_it_is_stored_means_what_it_meant(bench: Bench, client: TestClient, db: Database) -> None:
    """A single day in the table takes the place of the week's hours, as it did in earlier releases."""
    client.post("/plan/hours/week", data=WEEK)
    line = EVENING | {"weekdays": "", "rule": ""}
    assert client.post("/plan/hours", data=line).status_code == 303
    assert hours(db) == ["19:00-21:00"]


def test_the_form_of_a_rule_takes_no_single_day(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours/week", data=WEEK)
    sent = form_to(client.get("/plan/hours?add=rule"), "/plan/hours")
    answer = client.post("/plan/hours", data=sent.filled(**EVENING, weekdays="", rule=""))
    assert answer.status_code == 422 and "choose “One day”" in unescape(answer.text)
    assert 'value="2026-11-30"' in answer.text and hours(db) == ["09:00-12:30"]
    counted = sent.filled(**EVENING, weekdays="", rule="FREQ=WEEKLY;INTERVAL=2;BYDAY=SU")
    answer = client.post("/plan/hours", data=counted)
    assert answer.status_code == 303, words(answer.text)
    assert hours(db, date(2026, 12, 6)) == ["19:00-21:00"]
