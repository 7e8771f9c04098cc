"""A plan that waits while things go on: what of it would not hold any more is said before it is taken."""

import re
from datetime import timedelta

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.services import panels, planning_plans, touch_tests
from server.store.db import Database
from server.store.tables import Layer
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.test_plan import HOURS, MAKE, accepted, make, plans, the_plan, words

ROW = re.compile(r'<g role="img" aria-label="([^"]*)">')
GONE = "Something changed since this plan was made: it does not hold any more for"


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


def proposal(client: TestClient) -> str:
    told = words(client.get("/plan").text)
    return told.partition("A plan to look at")[2].partition("The plan in use")[0]


@pytest.mark.parametrize("is_first", [True, False])
def test_a_press_that_finds_it_soft_is_told_of_in_the_plan_that_waits(
    bare: Bench, client: TestClient, db: Database, is_first: bool
) -> None:
    panel = bare.panel(title="Quince and jug")
    lower = bare.painted(panel, 30, kind="first", thickness_preset="thin_opaque")
    bare.layer(panel, kind="second", thickness_preset="thin_opaque")
    bare.layer(bare.panel(title="Another"), kind="glaze")
    if is_first:
        make(client)
    else:
        accepted(client, db)
        client.post("/plan/right")
    assert "Quince and jug" in proposal(client) and GONE not in proposal(client)
    assert {why for _, why in broken(client, db)} == {None}
    with bare.unit("A note") as work:  # what changes nothing of it is not told
        work.session.get_one(Layer, lower.id).notes = "Grey of the jug"
    assert GONE not in proposal(client)
    with bare.unit("Pressed") as work:
        given = touch_tests.TouchTestCreate(stage="tacky", is_sure=True)
        touch_tests.log(work.session, bare.actor, lower.uid, given, NOW)
    told = proposal(client)
    assert f"Does not hold {GONE} 1 panel. Quince and jug" in told
    assert {title for title, why in broken(client, db) if why} == {"Quince and jug"}
    assert "Stopped by a rule" in told or "Not ready then" in told
    assert "Quince and jug : Does not hold its sittings do not hold any more; by the plan it could be" in told
    assert "Quince and jug : can be delivered" not in told and "Another : can be delivered" in told
    assert told.count("Work it out again") == 1
    assert client.post("/plan/right").status_code == 303
    assert GONE not in proposal(client)


@pytest.mark.parametrize("is_first", [True, False])
def test_beside_a_plan_that_waits_one_button_works_it_out_again_with_what_it_was_made_with(
    bare: Bench, client: TestClient, db: Database, is_first: bool
) -> None:
    for title in ("Quince and jug", "Harbour"):
        bare.layer(bare.panel(title=title), kind="glaze")
    if not is_first:
        accepted(client, db)
    assert "Make another plan" not in words(client.get("/plan").text)
    values = {"easels": "1", "rack_places": "7", "anew": "true"}
    if is_first:
        client.post("/plan/hours", data=HOURS)
    assert client.post("/plan/make", data=MAKE | values).status_code == 303
    page = client.get("/plan").text
    told = words(page)
    assert told.count("Work it out again") == 1 and "Set it right after a change" not in told
    assert "Set the plan right" not in told.partition("The plan in use")[2].partition("What was changed")[0]
    # From the beginning it can be planned still, where it is asked for; that takes its place.
    assert re.search(r"<details><summary>Make another plan in place of the one that waits</summary>", page)
    assert 'action="/plan/make"' in page and ("I could not paint today" in told) is not is_first
    assert client.post("/plan/right").status_code == 303
    [found] = [plan.content_json or {} for plan in plans(db) if plan.accepted_at is None and plan.archived_at is None]
    assert (found["settings"]["easels"], found["settings"]["rack_places"], found["anew"]) == (1, 7, True)
    assert "Worked out again the plan to look at" in words(client.get("/history").text)
    faulty = client.post("/plan/make", data={"easels": "many", "mix_setup_min": "30"})
    assert faulty.status_code == 422
    assert "<details open><summary>Make another plan in place of the one that waits" in faulty.text


def test_another_change_keeps_what_the_plan_that_waits_was_made_with(
    bare: Bench, client: TestClient, db: Database
) -> None:
    bare.layer(bare.panel(title="Harbour"), kind="glaze")
    accepted(client, db)
    assert client.post("/plan/make", data=MAKE | {"easels": "1"}).status_code == 303
    assert client.post("/plan/right", data={"event": "no_painting"}).status_code == 303
    [found] = [plan.content_json or {} for plan in plans(db) if plan.accepted_at is None and plan.archived_at is None]
    assert (found["settings"]["easels"], found["anew"]) == (1, False)


def test_a_plan_that_waited_over_its_first_day_says_what_was_missed(
    bare: Bench, client: TestClient, app: FastAPI
) -> None:
    bare.layer(bare.panel(title="One"), kind="glaze")
    make(client)
    assert GONE not in proposal(client)
    app.state.clock = lambda: NOW + timedelta(days=1)
    assert f"{GONE} 1 panel. One" in proposal(client) and "Missed" in proposal(client)


def test_the_plan_that_waits_is_drawn_with_what_it_moves(bare: Bench, client: TestClient, db: Database) -> None:
    """A first plan shows every panel; beside a plan in use, those of which something changes."""
    one = bare.layer(bare.panel(title="One"), kind="glaze", sitting_min=15).uid
    bare.layer(bare.panel(title="Two"), kind="block-in", sitting_min=15)
    make(client)
    first = client.get("/plan").text
    assert 'aria-label="The plan, a row a panel' in first and "A sitting" in words(first)
    assert sorted(ROW.findall(first)) == ["“One”: “glaze”: today.", "“Two”: “block-in”: today."]
    client.post(f"/plan/{waiting_uid(db)}/accept")
    assert 'role="group" aria-label="The plan' not in client.get("/plan").text
    assert client.post("/plan/right", data={"event": "later", "layer_uid": one}).status_code == 303
    moved = client.get("/plan").text
    assert 'aria-label="What changes, a row a panel' in moved
    assert ROW.findall(moved) == ["“One”: “glaze”: from today to tomorrow."]
    assert "1 other panel keeps its days." in words(moved)


def broken(client: TestClient, db: Database) -> list[tuple[str, str | None]]:
    """Of the sittings of the plan that waits, why a program is told that they hold no more."""
    told = client.get(f"/api/v1/plans/{waiting_uid(db)}").json()["sittings"]
    assert {one["fate"] for one in told} == {None}
    return [(one["title"], one["broken"] and one["broken"]["why"]) for one in told]


WAITS = "A plan waits for your answer"


def test_today_says_that_a_plan_waits_until_it_is_answered(bare: Bench, client: TestClient, db: Database) -> None:
    assert WAITS not in client.get("/").text
    panel = bare.panel(title="One")
    bare.layer(panel, kind="glaze")
    make(client)
    [line] = re.findall(r"<p[^>]*>((?:(?!</p>).)*" + WAITS + r".*?)</p>", client.get("/").text, re.DOTALL)
    assert re.findall(r'<a [^>]*href="([^"]*)"', line) == ["/plan#proposal"] and "<svg" in line
    assert WAITS not in client.get(f"/?on={NOW.date() + timedelta(days=1)}").text
    client.post(f"/plan/{waiting_uid(db)}/accept")
    assert WAITS not in client.get("/").text
    client.post("/plan/right")
    assert WAITS in client.get("/").text
    with bare.unit("Put away") as work:
        panels.archive(work.session, bare.actor, panel.uid)
    empty = client.get("/").text
    assert "The wall is bare" in empty and WAITS in empty
    client.post(f"/plan/{waiting_uid(db)}/dismiss")
    assert WAITS not in client.get("/").text


def waiting_uid(db: Database) -> str:
    return next(plan.uid for plan in plans(db) if plan.accepted_at is None and plan.archived_at is None)


def test_a_plan_whose_place_another_took_meanwhile_leads_to_that_one(
    bare: Bench, client: TestClient, db: Database
) -> None:
    """As one does that was found in the background while somebody read the first."""
    bare.layer(bare.panel(title="Two pears"), kind="block-in")
    make(client)
    read = the_plan(db)
    with bare.unit("Found a better plan in the background") as work:
        better = planning_plans.propose(work.session, bare.actor, {**(read.content_json or {}), "gain_pct": 3.0})
    refused = client.post(f"/plan/{read.uid}/accept")
    assert refused.status_code == 409
    assert "Another plan has taken this one's place meanwhile" in words(refused.text)
    assert f"/plan/{better.uid}/accept" in refused.text
    assert client.post(f"/plan/{better.uid}/accept").status_code == 303
    assert "taken or put away already" in words(client.post(f"/plan/{better.uid}/accept").text)
