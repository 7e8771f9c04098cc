"""The end of a sitting as it is offered: what is ticked beforehand."""

from datetime import datetime, timedelta

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.pages_of_records import form_to
from tests.web.test_plan import accepted, the_plan
from tests.web.test_plan_shown import by_hand, put


@pytest.fixture
def bench(db: Database) -> Bench:
    return make_bench(db)


def is_ticked(client: TestClient) -> bool:
    form = form_to(client.get("/sittings/end"), "/sittings/end")
    assert form.values["layers-0-layer_uid"]
    return form.values.get("layers-0-is_painted") == "true"


def test_a_layer_is_ticked_once_its_planned_hour_has_come(
    bench: Bench, client: TestClient, app: FastAPI, db: Database
) -> None:
    """Until then it is offered, so that a sitting begun sooner can be logged all the same."""
    layer = bench.layer(bench.panel(title="Only one"), kind="block-in")
    accepted(client, db)
    put(bench, layer, NOW.date())
    [sitting] = (the_plan(db).content_json or {})["sittings"]
    start = datetime.fromisoformat(sitting["start_at"])
    for at, ticked in ((start - timedelta(minutes=1), False), (start, True), (start + timedelta(hours=9), True)):
        app.state.clock = lambda at=at: at
        assert is_ticked(client) is ticked, at
    assert "what is planned for later today is not ticked" in client.get("/sittings/end").text


def test_a_day_chosen_by_hand_has_no_hour_to_wait_for(bench: Bench, client: TestClient, db: Database) -> None:
    layer = bench.layer(bench.panel(title="Only one"), kind="block-in")
    accepted(client, db)
    put(bench, layer, NOW.date() + timedelta(days=1))
    by_hand(bench, layer, NOW.date())
    assert is_ticked(client)
