"""A long search over HTTP: begun, told of, stopped, its best plan kept; one at a time, and nobody else's business."""

import time
from collections.abc import Iterator

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from server.services.planning_long import LONG
from server.store.db import Database
from server.store.tables import StudioPlan
from tests.services.board_studio import hang
from tests.services.conftest import Bench, make_bench

HOURS = {"painter": "Mornings", "weekdays": "12345", "on_date": "", "rule": "", "start": "09:00", "end": "12:30"}


@pytest.fixture
def bench(db: Database) -> Iterator[Bench]:
    made = make_bench(db)
    hang(made, 3)
    yield made
    search = LONG.of(made.actor.studio_id)
    if search is not None:
        search.is_stopped.set()
        search.is_over.wait(30)
    LONG.forget(made.actor.studio_id)


def plans(db: Database) -> list[StudioPlan]:
    with db.read() as session:
        return [p for p in session.exec(select(StudioPlan)) if p.archived_at is None]


def test_a_search_is_told_of_stopped_and_its_best_plan_kept(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours", data=HOURS)
    begun = time.monotonic()
    assert client.post("/plan/search", data={"seconds": "600"}).headers["location"] == "/plan/search"
    shown = client.get("/plan/search").text
    assert "Searching" in shown and 'hx-trigger="every' in shown and "Stop, and look at its best plan" in shown
    assert client.post("/plan/search", data={"seconds": "30"}).status_code == 409  # one at a time
    assert plans(db) == []
    done = client.post("/plan/search/end", data={"command_key": "stop"})
    assert done.status_code == 303 and time.monotonic() - begun < 60
    [plan] = plans(db)
    assert plan.accepted_at is None and (plan.content_json or {})["sittings"]
    assert client.post("/plan/search/end", data={"command_key": "stop"}).status_code in (303, 409)
    assert len(plans(db)) == 1
    assert "No search is running" in client.get("/plan/search").text


def test_another_studio_neither_sees_nor_stops_it(bench: Bench, client: TestClient) -> None:
    client.post("/plan/hours", data=HOURS)
    client.post("/plan/search", data={"seconds": "600"})
    assert LONG.of(bench.actor.studio_id + 1) is None
    LONG.forget(bench.actor.studio_id + 1)
    search = LONG.of(bench.actor.studio_id)
    assert search is not None and search.state == "running"


@pytest.mark.parametrize("seconds", ["", "7", "many", "-30"])
def test_a_length_that_is_none_is_told(bench: Bench, client: TestClient, seconds: str) -> None:
    client.post("/plan/hours", data=HOURS)
    assert client.post("/plan/search", data={"seconds": seconds}).status_code in (303, 422)
    assert (LONG.of(bench.actor.studio_id) is None) == (seconds != "")


def test_without_hours_no_search_begins(bench: Bench, client: TestClient) -> None:
    assert "Say first when you paint" in client.post("/plan/search", data={"seconds": "30"}).text
    assert LONG.of(bench.actor.studio_id) is None
