"""What was asked for in a plan that waits holds in the one that takes its place, or it is told that it cannot."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from sqlmodel import select
from starlette.testclient import TestClient

from server.services import planning
from server.services.planning import WorkTimeCreate
from server.store.db import Database
from server.store.tables import Panel
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.test_plan import accepted, late_panel, words
from tests.web.test_plan_pins import TODAY, in_use, pin, pinned, waiting

NO_LONGER = "no longer pinned Two pears , glaze: it cannot be painted any more where it was pinned."


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


def right(client: TestClient, **given: str) -> None:
    answer = client.post("/plan/right", data=given)
    assert answer.status_code == 303, words(answer.text)


def day_of(db: Database, uid: str) -> date:
    """On which day the plan that waits has a layer."""
    [found] = [one for one in content(db)["sittings"] if one["id"] == uid]
    return datetime.fromisoformat(found["start_at"]).date()


def content(db: Database) -> dict[str, Any]:
    return waiting(db).content_json or {}


@pytest.fixture
def moved(bare: Bench, client: TestClient, db: Database) -> str:
    """A sitting of today that a plan that waits has tomorrow, as it was asked for."""
    uid = bare.layer(bare.panel(title="Two pears"), kind="glaze", sitting_min=120).uid
    accepted(client, db)
    right(client, event="later", layer_uid=uid)
    assert day_of(db, uid) == TODAY + timedelta(days=1)
    return uid


@pytest.mark.parametrize("given", [{}, {"event": "no_painting", "on": (TODAY + timedelta(days=5)).isoformat()}])
def test_a_move_asked_for_before_holds_when_the_plan_is_worked_out_again(
    moved: str, client: TestClient, db: Database, given: dict[str, str]
) -> None:
    for _ in range(2):
        right(client, **given)
        assert day_of(db, moved) == TODAY + timedelta(days=1) and pinned(waiting(db)) == {moved}
    assert "no longer pinned" not in words(client.get("/plan").text)


def test_a_move_that_can_hold_no_more_is_told(moved: str, bare: Bench, client: TestClient, db: Database) -> None:
    with bare.unit("A day away") as work:
        planning.create(work.session, bare.actor, WorkTimeCreate(painter="", on_date=TODAY + timedelta(days=1)))
    right(client)
    assert day_of(db, moved) != TODAY + timedelta(days=1) and pinned(waiting(db)) == set()
    assert NO_LONGER in words(client.get("/plan").text)
    told = client.get(f"/api/v1/plans/{waiting(db).uid}").json()
    [sitting] = told["sittings"]
    assert told["let_go"] == [{"layer_uid": moved, **{n: sitting[n] for n in ("panel_uid", "title", "kind")}}]
    assert client.get(f"/api/v1/plans/{in_use(db).uid}").json()["let_go"] == told["held"] == []
    with bare.unit("Named otherwise") as work:
        work.session.exec(select(Panel)).one().title = "Quinces"
    assert NO_LONGER.replace("Two pears", "Quinces") in words(client.get("/plan").text)
    assert client.get(f"/api/v1/plans/{waiting(db).uid}").json()["let_go"][0]["title"] == "Quinces"


def test_a_move_to_a_day_that_is_over_is_told(moved: str, client: TestClient, app: FastAPI, db: Database) -> None:
    app.state.clock = lambda: NOW + timedelta(days=2)
    right(client)
    assert day_of(db, moved) >= TODAY + timedelta(days=2) and pinned(waiting(db)) == set()
    assert NO_LONGER in words(client.get("/plan").text)


def test_a_pin_made_by_hand_since_counts_before_a_move(moved: str, client: TestClient, db: Database) -> None:
    pin(client, db, moved)
    right(client)
    assert day_of(db, moved) == TODAY and pinned(waiting(db)) == {moved}


def test_a_pin_let_go_by_hand_since_is_no_move(bare: Bench, client: TestClient, db: Database) -> None:
    uid = bare.layer(bare.panel(title="Two pears"), kind="glaze", sitting_min=120).uid
    accepted(client, db)
    pin(client, db, uid)
    right(client)
    assert pinned(waiting(db)) == {uid}
    pin(client, db, uid, "no")
    right(client)
    assert pinned(waiting(db)) == set()


def test_an_option_and_a_move_asked_for_before_hold_together(bare: Bench, client: TestClient, db: Database) -> None:
    uid = late_panel(bare, weight=0.2)
    other = bare.layer(bare.panel(title="Another"), kind="wash", sitting_min=15).uid
    accepted(client, db)
    used = in_use(db)
    stored = next(one for one in (used.content_json or {})["panels"] if one["id"] == uid)
    option = next(one for one in stored["options"] if one.get("key", "").startswith("thinner:"))
    right(client, event="later", layer_uid=other)
    asked_for = day_of(db, other)
    client.post(f"/plan/{used.uid}/apply/{uid}", data={"key": option["key"]})
    assert day_of(db, other) == asked_for
    for _ in range(2):
        right(client)
        assert next(one["finish_on"] for one in content(db)["panels"] if one["id"] == uid) == option["finish_on"]
        assert day_of(db, other) == asked_for and other in pinned(waiting(db))
