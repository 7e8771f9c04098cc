"""The plan in use while its panels change: what of them it does not hold is told, nothing of those that are gone."""

import re
from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from server.services import layers, records
from server.services import panels as panels_service
from server.store.db import Database
from server.store.tables import Layer, LayerMix, Mix, Panel, StudioPlan
from tests.services.conftest import NOW, Bench, make_bench
from tests.services.layer_acts import paint
from tests.web.test_plan import accepted, late_panel, planned, plans, words
from tests.web.test_plan_pins import newest

NOT_YET = "Not in the plan in use yet, with layers to come: {title}. Set it right to take them in."


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


def page(client: TestClient, address: str = "/plan") -> str:
    return words(client.get(address).text)


def dates(client: TestClient) -> str:
    return page(client).partition("When each panel can be delivered")[2]


def api_panels(client: TestClient, db: Database) -> dict[str, str | None]:
    [plan] = [one for one in plans(db) if one.accepted_at is not None]
    told = client.get(f"/api/v1/plans/{plan.uid}").json()
    return {one["title"]: one["finish_on"] for one in told["panels"]}


def db_version(db: Database, layer: Layer) -> int:
    with db.read() as session:
        return session.get_one(Layer, layer.id).version


def panel_of(db: Database, layer: Layer) -> str:
    with db.read() as session:
        return session.get_one(Panel, layer.panel_id).uid


def waiting(db: Database) -> StudioPlan:
    [found] = [one for one in plans(db) if one.accepted_at is None]
    return found


@pytest.mark.parametrize("due", [True, False])
def test_a_layer_that_came_since_is_told_and_taken_in(bare: Bench, client: TestClient, db: Database, due: bool) -> None:
    until = {"due_on": NOW.date() + timedelta(days=200)} if due else {}
    panel = bare.panel(title="Two pears", **until)
    bare.layer(panel, kind="block-in")
    accepted(client, db)
    assert "Two pears : can be delivered" in dates(client)
    glaze = bare.layer(panel, kind="glaze")
    for address in ("/plan", "/", "/plan/week"):
        assert NOT_YET.format(title="Two pears") in page(client, address).replace(" . Set", ". Set"), address
    assert "Two pears : can be delivered" not in dates(client)
    assert "a layer to come is not in the plan" in dates(client) and "Delivery likely" not in dates(client)
    assert api_panels(client, db) == {"Two pears": None}
    assert client.post("/plan/right").status_code == 303
    assert "New in the plan: Two pears, glaze" in page(client)
    client.post(f"/plan/{waiting(db).uid}/accept")
    assert "Not in the plan in use yet" not in page(client) and "Two pears : can be delivered" in dates(client)
    with bare.unit("Put away") as work:
        layers.archive(work.session, bare.actor, glaze.uid)
    assert "Not in the plan in use yet" not in page(client)


def test_a_layer_that_the_plan_found_no_place_for_is_not_told_as_new(
    bare: Bench, client: TestClient, db: Database
) -> None:
    panel = bare.panel(title="Two pears")
    bare.layer(panel, kind="block-in")
    bare.layer(panel, kind="long one", sitting_min=400)  # no morning has as much
    accepted(client, db)
    assert "Not in the plan in use yet" not in page(client)


def test_a_panel_that_was_put_away_is_not_told_among_the_dates(bare: Bench, client: TestClient, db: Database) -> None:
    panel = bare.panel(title="Two pears")
    bare.layer(panel, kind="block-in")
    bare.layer(bare.panel(title="Another"), kind="glaze")
    accepted(client, db)
    with bare.unit("Put away") as work:
        panels_service.archive(work.session, bare.actor, panel.uid)
    assert "Two pears" not in dates(client) and "Another : can be delivered" in dates(client)
    assert list(api_panels(client, db)) == ["Another"]
    with bare.unit("Brought back") as work:
        panels_service.restore(work.session, bare.actor, panel.uid)
    assert "Two pears : can be delivered" in dates(client)


def test_a_panel_with_its_last_layer_on_is_told_by_its_drying_and_not_by_the_plan(
    bare: Bench, client: TestClient, db: Database
) -> None:
    panel = bare.panel(title="Two pears", due_on=NOW.date() + timedelta(days=2))
    layer = bare.layer(panel, kind="block-in")
    bare.layer(bare.panel(title="Another"), kind="glaze")
    accepted(client, db)
    paint(bare, layer, version=db_version(db, layer))
    told = dates(client)
    assert "Two pears : can be delivered" not in told
    assert "No layer is left to plan here: what is left is drying, the finish and the way. At risk Two pears" in told
    assert list(api_panels(client, db)) == ["Another"]


def test_a_plan_tells_panels_layers_and_mixes_by_their_names_of_now(
    bare: Bench, client: TestClient, db: Database
) -> None:
    panel = bare.panel(title="Two pears", due_on=NOW.date() + timedelta(days=200))
    layer = bare.layer(panel, kind="block-in")
    accepted(client, db)
    client.post("/plan/right")
    with bare.unit("Named otherwise") as work:
        work.session.get_one(Panel, panel.id).title = "Quinces"
        work.session.get_one(Layer, layer.id).kind = "first painting"
        work.session.get_one(Mix, bare.white.id).label = "Cold white"
    [used] = [one for one in plans(db) if one.accepted_at is not None]
    seen = [page(client), page(client, "/plan/week"), page(client, "/"), client.get("/api/v1/plan-week").text]
    for told in (*seen, client.get(f"/api/v1/plans/{used.uid}").text):
        assert "Quinces" in told and "first painting" in told and "Cold white" in told
        assert "Two pears" not in told.partition("What was changed")[0] and "block-in" not in told
    assert page(client).count("Quinces : can be delivered") == 2


def test_reasons_of_a_plan_tell_panels_and_layers_by_their_names_of_now(
    bare: Bench, client: TestClient, db: Database
) -> None:
    """Three sittings that fill a morning each, and a layer that finds no place with one that waits for it."""
    panels = [bare.panel(title=title) for title in ("Two pears", "Harbour", "Old boat")]
    for panel in panels:
        bare.layer(panel, kind="glaze", sitting_min=120)
    dropped = bare.layer(panels[0], kind="long one", sitting_min=400)  # no morning has as much
    bare.layer(panels[0], kind="last one")
    accepted(client, db)
    client.post("/plan/right")
    uids = [one.uid for one in plans(db)]
    addresses = ["/plan", "/plan/week", *(f"/api/v1/plans/{uid}" for uid in uids)]
    before = {address: page(client, address).partition("What was changed")[0] for address in addresses}
    assert all("of “" in told for told in before.values())
    assert all("“long one”, which has no place" in told for told in before.values() if "no place" in told)
    with bare.unit("Named otherwise") as work:
        for panel in panels:
            work.session.get_one(Panel, panel.id).title += " renamed"
        work.session.get_one(Layer, dropped.id).kind = "other one"
    for address in addresses:
        told = page(client, address).partition("What was changed")[0]
        assert not re.search(r"“(Two pears|Harbour|Old boat)”|long one", told), address
        assert told.count(" renamed”") == before[address].count("of “") > 0, address
        assert told.count("“other one”") == before[address].count("“long one”"), address


def test_what_would_help_a_late_panel_is_told_by_the_names_of_now(
    bare: Bench, client: TestClient, db: Database
) -> None:
    panel = bare.panel(title="Two pears", due_on=NOW.date() + timedelta(days=10))
    layers = [bare.layer(panel, kind=kind, wet_thickness_um=120) for kind in ("block-in", "glaze", "lights")]
    accepted(client, db)
    [used] = plans(db)
    addresses = ["/plan", f"/api/v1/plans/{used.uid}"]
    before = {address: page(client, address) for address in addresses}
    assert all(re.search(r"Lay “(block-in|glaze)” \d+ µm thick instead of", told) for told in before.values())
    with bare.unit("Named otherwise") as work:
        for layer in layers:
            row = work.session.get_one(Layer, layer.id)
            row.kind = f"{row.kind} renamed"
    for address, told in before.items():
        now = page(client, address)
        assert now.count(" renamed” ") >= told.count("Lay “") + told.count("Leave out “") > 0, address
        assert not re.search(r"“(block-in|glaze|lights)”", now), address
    options = (used.content_json or {})["panels"][0]["options"]
    key = next(one["key"] for one in options if one["key"].startswith("drop:"))
    done = client.post(f"/plan/{used.uid}/apply/{panel.uid}", data={"key": key})
    assert done.status_code == 303 and "renamed”" in page(client, "/history")


def without_a_place(bare: Bench, client: TestClient, db: Database, **values: Any) -> Layer:
    """A layer of the plan in use, with other ``values`` since, that finds no place in the plan that waits beside it."""
    layer = bare.layer(bare.panel(title="Two pears"), kind="block-in")
    bare.layer(bare.panel(title="Another"), kind="glaze")
    accepted(client, db)
    with bare.unit("Longer") as work:
        records.change(work.session.get_one(Layer, layer.id), {"sitting_min": 400, **values})
    client.post("/plan/right")
    return layer


def test_a_day_of_the_plan_before_goes_with_it_where_the_new_one_has_none(
    bare: Bench, client: TestClient, db: Database
) -> None:
    layer = without_a_place(bare, client, db)
    assert "Without a place in it: Two pears, block-in" in page(client)
    client.post(f"/plan/{waiting(db).uid}/accept")
    assert planned(db)[layer.uid] is None and sum(day is not None for day in planned(db).values()) == 1
    assert "Planned for" not in page(client, f"/panels/{panel_of(db, layer)}")
    client.post(f"/history/{newest(db).uid}/undo")
    assert planned(db)[layer.uid] is not None


def test_a_day_that_was_given_by_hand_stays_where_a_plan_has_none(
    bare: Bench, client: TestClient, db: Database
) -> None:
    day = NOW.date() + timedelta(days=9)
    layer = without_a_place(bare, client, db, planned_on=day)
    client.post(f"/plan/{waiting(db).uid}/accept")
    assert planned(db)[layer.uid] == day


def test_later_once_more_goes_on_from_the_day_that_waits(bare: Bench, client: TestClient, db: Database) -> None:
    layer = bare.layer(bare.panel(title="Two pears"), kind="block-in")
    accepted(client, db)
    for way, days in (("later", 1), ("later", 2), ("later", 5), ("earlier", 2), ("earlier", 1)):
        assert client.post("/plan/right", data={"event": way, "layer_uid": layer.uid}).status_code == 303
        [sitting] = (waiting(db).content_json or {})["sittings"]
        assert sitting["start_at"][:10] == (NOW.date() + timedelta(days=days)).isoformat() and sitting["pinned"]
    client.post(f"/plan/{waiting(db).uid}/dismiss")
    client.post("/plan/right", data={"event": "later", "layer_uid": layer.uid})
    [sitting] = (waiting(db).content_json or {})["sittings"]
    assert sitting["start_at"][:10] == (NOW.date() + timedelta(days=1)).isoformat()


SLIPPED = "The plan does not hold any more for 1 panel. Two pears"


def test_a_sitting_that_takes_longer_than_it_was_planned_is_told_and_set_right(
    bare: Bench, client: TestClient, db: Database
) -> None:
    layer = bare.layer(bare.panel(title="Two pears"), kind="block-in", sitting_min=60)
    accepted(client, db)
    with bare.unit("Shorter") as work:
        work.session.get_one(Layer, layer.id).sitting_min = 45
    assert "Too short" not in page(client) and SLIPPED not in page(client, "/")
    with bare.unit("Longer") as work:
        work.session.get_one(Layer, layer.id).sitting_min = 120
    for address in ("/plan", "/plan/week"):
        assert "Too short With its mixing it takes 150 minutes by now; the plan has 90." in page(client, address)
    assert SLIPPED in page(client, "/") and SLIPPED in page(client)
    [day] = client.get("/api/v1/plan-week").json()["days"]
    assert day["painters"][0]["sittings"][0]["broken"]["takes_min"] == 150
    client.post("/plan/right")
    client.post(f"/plan/{waiting(db).uid}/accept")
    assert "Too short" not in page(client) and "10:30 to 12:30" in page(client)


def test_a_sitting_whose_mix_is_not_mixed_that_day_any_more_is_told(
    bare: Bench, client: TestClient, db: Database
) -> None:
    for title in ("One", "Two pears"):
        bare.layer(bare.panel(title=title), kind="block-in", sitting_min=60)
    _, second = accepted(client, db)
    assert "mixed already that day" in page(client)
    assert "Too short" not in page(client)
    with db.read() as session:
        uid = session.exec(select(Layer).where(Layer.uid == second["id"])).one().id
    assert bare.black.id is not None
    with bare.unit("Another mix") as work:
        work.session.exec(select(LayerMix).where(LayerMix.layer_id == uid)).one().mix_id = bare.black.id
    assert "Too short With its mixing it takes 90 minutes by now; the plan has 60." in page(client)


def test_a_mix_that_is_only_called_otherwise_is_still_mixed_once_in_a_plan_that_waits(
    bare: Bench, client: TestClient, db: Database
) -> None:
    for title in ("One", "Two pears"):
        bare.layer(bare.panel(title=title), kind="block-in", sitting_min=60)
    accepted(client, db)
    client.post("/plan/right")
    with bare.unit("Named otherwise") as work:
        work.session.get_one(Mix, bare.white.id).label = "Cold white"
    told = page(client)
    assert told.count("Cold white, mixed already that day") == 2
    assert "Too short" not in told and "Something changed since this plan was made" not in told


def test_an_option_for_a_late_panel_comes_to_its_day_though_its_sittings_stand(
    bare: Bench, client: TestClient, db: Database
) -> None:
    """Its own sittings move for it as the option was tried; those of others stay where they are."""
    uid = late_panel(bare, weight=0.2)
    bare.layer(bare.panel(title="Another"), kind="glaze")
    accepted(client, db)
    [used] = plans(db)
    stored = next(one for one in (used.content_json or {})["panels"] if one["id"] == uid)
    thin = [one for one in stored["options"] if one.get("key", "").startswith("thinner:")]
    assert thin
    for option in thin:
        client.post(f"/plan/{used.uid}/apply/{uid}", data={"key": option["key"]})
        content = waiting(db).content_json or {}
        assert next(one["finish_on"] for one in content["panels"] if one["id"] == uid) == option["finish_on"]
        told = page(client).partition("What it changes")[2].partition("Take this plan")[0]
        assert "Another, glaze" not in told
        client.post(f"/plan/{waiting(db).uid}/dismiss")
