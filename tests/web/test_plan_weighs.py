"""What a plan weighs, on its page: a mix by the studio's own days, of a plan shown by those it was made with."""

import re
from html import unescape

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from server.services.unit import unit
from server.store.db import Database
from server.store.tables import Studio, StudioPlan
from tests.services.board_studio import hang
from tests.services.conftest import Bench, make_bench

HOURS = {"painter": "Mornings", "weekdays": "12345", "on_date": "", "rule": "", "start": "09:00", "end": "12:30"}
MAKE = {"easels": "2", "rack_places": "12", "mix_setup_min": "30"}


@pytest.fixture
def bench(db: Database) -> Bench:
    made = make_bench(db)
    hang(made, 2)
    return made


def weighed(client: TestClient) -> str:
    page = client.get("/plan").text
    told = page.partition("What a plan weighs")[2].partition("</details>")[0]
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", "", told)))


def lets_wait(bench: Bench, days: float) -> None:
    with unit(bench.db, bench.actor, label="Changed the studio's settings") as work:
        work.session.get_one(Studio, bench.actor.studio_id).share_wait_d = days


def the_plan(db: Database) -> StudioPlan:
    with db.read() as session:
        return session.exec(select(StudioPlan)).one()


def test_a_mix_weighs_what_the_studio_says(bench: Bench, client: TestClient) -> None:
    client.post("/plan/hours", data=HOURS)
    told = weighed(client)
    assert "A palette mixed once more: 0.14 times as much." in told
    assert "waits at the most to share one: 7, as the studio has it" in told
    lets_wait(bench, 12.5)
    told = weighed(client)
    assert "once more: 0.25 times as much." in told and "to share one: 12.5, as" in told
    lets_wait(bench, 0)
    assert "once more: 0 times as much." in weighed(client)


def test_a_plan_tells_the_figures_it_was_made_with(bench: Bench, client: TestClient, db: Database) -> None:
    client.post("/plan/hours", data=HOURS)
    client.post("/plan/make", data=MAKE)
    assert "In the plan to look at" not in weighed(client)
    lets_wait(bench, 30)
    waits = "a palette mixed once more weighs 0.14 times as much; days that a panel waits at the most to share one: 7."
    assert f"In the plan to look at {waits}" in weighed(client)
    plan = the_plan(db)
    client.post(f"/plan/{plan.uid}/accept")
    told = weighed(client)
    assert f"In the plan in use {waits}" in told and "once more: 0.6 times as much" in told
    [stored] = client.get("/api/v1/plans").json()["items"]
    assert stored["settings"]["share_wait_d"] == 7


def test_a_plan_stored_before_studios_could_say_has_the_figures_of_then(
    bench: Bench, client: TestClient, db: Database
) -> None:
    client.post("/plan/hours", data=HOURS)
    client.post("/plan/make", data=MAKE)
    with unit(bench.db, bench.actor, label="As it was stored then") as work:
        row = work.session.exec(select(StudioPlan)).one()
        row.content_json = {k: v for k, v in (row.content_json or {}).items() if k != "share_wait_d"}
    client.post(f"/plan/{the_plan(db).uid}/accept")
    assert "once more weighs 1 times as much; days that a panel waits at the most to share one: 50." in weighed(client)
    [stored] = client.get("/api/v1/plans").json()["items"]
    assert stored["settings"]["share_wait_d"] == 50
    assert client.post("/plan/make", data=MAKE).status_code == 303
    assert sorted(each["settings"]["share_wait_d"] for each in client.get("/api/v1/plans").json()["items"]) == [7, 50]
