"""Days off beside what stands: planned sittings and hours of one day are told where the days are entered."""

from datetime import date

import pytest
from starlette.testclient import TestClient

from server.store.db import Database
from tests.services.board_studio import hang
from tests.services.conftest import Bench, make_bench
from tests.web.pages_of_records import form_to
from tests.web.test_plan import accepted
from tests.web.test_plan_hours import WEEK, words
from tests.web.test_plan_one_day import EVENING, hours

SATURDAY = {"painter": "Ada", "on_date": "2026-12-05", "start": "10:00", "end": "12:00"}
AWAY = {"painter": "Ada", "from_on": "2026-12-04", "until_on": "2026-12-06", "label": ""}


@pytest.fixture
def bench(db: Database) -> Bench:
    return make_bench(db)


def page(client: TestClient, address: str = "/plan/hours") -> str:
    return words(client.get(address).text)


def test_a_closed_day_that_holds_a_sitting_is_told_where_it_is_closed(
    bench: Bench, client: TestClient, db: Database
) -> None:
    hang(bench, 1)
    on = accepted(client, db)[0]["start_at"][:10]
    assert "does not hold any more" not in page(client)
    client.post("/plan/hours/holidays", data={"painter": "", "dates": on})
    told = client.get("/plan/hours")
    assert "The plan does not hold any more for 1 panel." in words(told.text)
    assert client.post("/plan/right", data=form_to(told, "/plan/right").values).status_code == 303
    for address in ("/plan/hours", "/plan/week"):
        told = client.get(address)
        assert "A plan waits for your answer" in words(told.text) and 'action="/plan/right"' not in told.text


def test_days_away_tell_which_of_them_are_worked_all_the_same(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours/day", data=SATURDAY)
    client.post("/plan/hours/away", data=AWAY)
    assert "Noted days away of Ada. Hours of one day stay on Saturday 5 December 2026" in page(client)
    assert hours(db, date(2026, 12, 5)) == ["10:00-12:00"]
    client.post("/plan/hours/day", data=SATURDAY | {"on_date": "2026-12-06"})
    client.post("/plan/hours/day", data=EVENING | {"on_date": "2026-12-07", "painter": "Ben"})
    client.post("/plan/hours/away", data=AWAY | {"painter": ""})
    told = "Noted days away of everybody. Hours of one day stay on Saturday 5 December 2026 and Sunday 6 December 2026"
    assert told in page(client)
    client.post("/plan/hours/away", data=AWAY | {"painter": "", "until_on": "2026-12-08"})
    assert "Noted days away of everybody. Hours of one day stay on 3 of them" in page(client)
    client.post("/plan/hours/away", data=AWAY | {"from_on": "2026-12-10", "until_on": "2026-12-11"})
    assert "Noted days away of Ada Undo" in page(client)


def test_a_list_of_days_off_tells_which_of_them_are_worked(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours/week", data=WEEK)
    client.post("/plan/hours/day", data=SATURDAY)
    one = {"painter": "Ada", "dates": "5 December 2026 Fair"}
    answer = client.post("/plan/hours/holidays", data=one)
    assert answer.status_code == 409 and "stand there already" not in answer.text
    assert "These days have hours of their own. Take those away first." in words(answer.text)
    assert "5 December 2026 Fair" in answer.text and '<a href="#f-dates"' in answer.text
    client.post("/plan/hours/holidays", data=one | {"dates": "5 December 2026 Fair\n7 December 2026"})
    assert "Added a day off. Hours of one day stay on Saturday 5 December 2026" in page(client)
    assert hours(db, date(2026, 12, 5)) == ["10:00-12:00"] and hours(db, date(2026, 12, 7)) == []
    client.post("/plan/hours/holidays", data=one | {"painter": "", "dates": "2026-12-05\n2026-12-09"})
    assert "Added 2 days off. Hours of one day stay on Saturday 5 December 2026" in page(client)


def test_days_without_work_are_not_called_hours(bench: Bench, client: TestClient, db: Database) -> None:
    rule = {"painter": "", "weekdays": "", "rule": "FREQ=WEEKLY;BYDAY=SA", "on_date": "", "start": "", "end": ""}
    client.post("/plan/hours", data=rule)
    assert "Added days without work for everybody" in page(client)
    client.post("/plan/hours", data=rule | {"painter": "Ada"})
    assert "Added days without work of Ada" in page(client)
    client.post("/plan/hours/holidays", data={"painter": "", "dates": "2026-12-25 Christmas"})
    uids = [part.split("/archive")[0] for part in client.get("/plan/hours").text.split('action="/plan/hours/')[1:]]
    for uid in uids[::-1]:
        client.post(f"/plan/hours/{uid}/archive")
    told = page(client, "/history")
    assert "Took away days without work of everybody: On 25 December: Christmas" in told
    assert "Took away days without work of Ada: By the rule FREQ=WEEKLY;BYDAY=SA" in told
