"""Days that repeat otherwise: several stretches of them, and which day they are counted from."""

from datetime import date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI
from sqlmodel import select
from starlette.testclient import TestClient

from server.planning.schedule.check_hours import stretches
from server.planning.schedule.problem import Problem
from server.services import planning
from server.store.db import Database
from server.store.tables import Studio, WorkTime
from tests.services.conftest import Bench, make_bench
from tests.web.test_plan_hours import REPEAT, WEEK, words
from tests.web.test_plan_one_day import hours

WEDNESDAY, NEXT = date(2026, 12, 9), date(2026, 12, 16)
MORNING = REPEAT | {"start": "09:00", "end": "12:00"}
AFTERNOON = REPEAT | {"start": "14:00", "end": "18:00"}


@pytest.fixture
def bench(db: Database) -> Bench:
    return make_bench(db)


def checked(db: Database, on: date) -> list[str]:
    """The hours of Ada on a day as the checker of plans reads them."""
    with db.read() as session:
        rows = list(session.exec(select(WorkTime).where(WorkTime.archived_at == None)))  # noqa: E711
    zone = ZoneInfo("UTC")
    painters = planning.painters(rows, on - timedelta(days=1), 0)
    problem = Problem(today=on, zone=zone, painters=painters, panels=())
    found = stretches(problem, painters[0], datetime.combine(on, time(12), zone))
    return sorted(f"{one.start:%H:%M}-{one.end:%H:%M}" for one in found)


def test_days_that_repeat_otherwise_may_have_a_break(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours/week", data=WEEK)
    for given in (AFTERNOON, MORNING):
        assert client.post("/plan/hours/repeat", data=given).status_code == 303
    assert hours(db, WEDNESDAY) == checked(db, WEDNESDAY) == ["09:00-12:00", "14:00-18:00"]
    assert hours(db, NEXT) == checked(db, NEXT) == ["09:00-12:30"]
    evening = {"painter": "Ada", "on_date": str(WEDNESDAY), "start": "19:00", "end": "21:00"}
    client.post("/plan/hours/day", data=evening)
    assert hours(db, WEDNESDAY) == ["09:00-12:00", "14:00-18:00", "19:00-21:00"]


def test_stretches_of_the_same_repeating_days_may_not_overlap(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours/repeat", data=MORNING)
    for given in (MORNING | {"end": "10:00"}, REPEAT):
        answer = client.post("/plan/hours/repeat", data=given)
        assert answer.status_code == 409 and "overlaps with hours of Ada" in words(answer.text)
    assert hours(db, WEDNESDAY) == ["09:00-12:00"]


def test_of_several_rules_that_name_a_day_the_last_has_it(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours/repeat", data=MORNING)
    client.post("/plan/hours/repeat", data=REPEAT | {"rhythm": "second", "start": "20:00", "end": "22:00"})
    assert hours(db, WEDNESDAY) == checked(db, WEDNESDAY) == ["20:00-22:00"]
    client.post("/plan/hours/repeat", data=AFTERNOON)
    assert hours(db, WEDNESDAY) == checked(db, WEDNESDAY) == ["09:00-12:00", "14:00-18:00"]


@pytest.mark.parametrize(("zone", "first"), [("Europe/Prague", "25 November"), ("Pacific/Kiritimati", "26 November")])
def test_a_rule_without_a_first_day_is_counted_from_the_studios_today_and_says_so(
    bench: Bench, client: TestClient, app: FastAPI, zone: str, first: str
) -> None:
    app.state.clock = lambda: datetime(2026, 11, 25, 12, 0, tzinfo=timezone.utc)
    with bench.unit("Another zone") as work:
        work.session.get_one(Studio, bench.actor.studio_id).time_zone = zone
    rule = {"painter": "Ada", "weekdays": "", "rule": "FREQ=WEEKLY;INTERVAL=2;BYDAY=SA", "on_date": ""}
    assert client.post("/plan/hours", data=rule | {"start": "10:00", "end": "12:00"}).status_code == 303
    assert f"Every second Saturday, from {first}, 10:00 to 12:00" in words(client.get("/plan/hours").text)
    assert hours(bench.db, date(2026, 11, 28)) == ["10:00-12:00"] and hours(bench.db, date(2026, 12, 5)) == []
