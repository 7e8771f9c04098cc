"""The week's sheet with what is planned of the finish: varnish, frame, wrapping, sending, on their days."""

from datetime import date, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from server.store.tables import FinishStep, Panel
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.test_plan import words

TODAY = NOW.date()  # a Wednesday


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


def plan_step(bench: Bench, panel: Panel, action: str, on: date | None, **values: Any) -> FinishStep:
    assert panel.id is not None
    step = FinishStep(studio_id=bench.actor.studio_id, panel_id=panel.id, action=action, planned_on=on, **values)
    with bench.unit("A step") as work:
        work.session.add(step)
    return step


def sheet(client: TestClient, query: str = "") -> str:
    return words(client.get(f"/plan/week{query}").text).partition("Made to be printed")[2]


def test_steps_of_the_finish_stand_on_their_days_for_everybody(bare: Bench, client: TestClient) -> None:
    panel = bare.panel(title="Two pears")
    bare.painted(panel, 700)
    friday = TODAY + timedelta(days=2)
    step = plan_step(bare, panel, "final_varnish", friday)
    plan_step(bare, panel, "ship", friday)
    plan_step(bare, panel, "wrap", friday + timedelta(days=7))
    plan_step(bare, panel, "stack", None)
    plan_step(bare, panel, "frame", friday, done_at=NOW)
    for query in ("", "?painter=Mornings"):
        told = sheet(client, query)
        assert "27 November 2026 Final varnish Two pears : as planned Send Two pears : as planned" in told
        assert not any(word in told for word in ("Wrap", "Stack", "Frame", "Nothing is planned", "Too early"))
    assert "Wrap Two pears : as planned" in sheet(client, f"?start={friday + timedelta(days=7)}")
    assert f'href="/panels/{panel.uid}/finish#step-{step.uid}"' in client.get("/plan/week").text
    [day] = client.get("/api/v1/plan-week").json()["days"]
    assert [(one["action"], one["title"], one["opens_on"]) for one in day["steps"]] == [
        ("final_varnish", "Two pears", None),
        ("ship", "Two pears", None),
    ]


def test_a_step_that_a_rule_stops_on_its_day_or_whose_day_is_past_says_so(
    bare: Bench, client: TestClient, app: FastAPI
) -> None:
    panel = bare.panel(title="Two pears")
    bare.painted(panel, 20)
    plan_step(bare, panel, "final_varnish", TODAY)
    assert "Final varnish Two pears : as planned Too early Not before" in sheet(client)
    app.state.clock = lambda: NOW + timedelta(days=1)
    assert "Final varnish Two pears : as planned That day is past" in sheet(client)
