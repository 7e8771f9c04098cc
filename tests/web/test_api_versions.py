"""If-Match where it is not asked for: what a program says it saw is held to. Lists in slices: none is cut short."""

from typing import Any

import pytest
from starlette.testclient import TestClient

from server.web.api.record_examples import MIX_UID, PANEL_UID, PLACE_UID, STACK_UID
from tests.web.test_api_plans import API, Program, Studio, make_studio


@pytest.fixture
def studio(client: TestClient) -> Studio:
    made = make_studio(Program(client))
    made.program.done("/working-hours", made.program.example("WorkingHoursCreate"))
    return made


def held(ask: Program, path: str, version: int, body: Any = None, method: str = "POST") -> Any:
    """The answer of a change on the version that is there, after one on another version changed nothing (RFC 9110,
    13.1.1: what does not match must not be done)."""
    before = ask.get("/history?limit=1")["items"][0]["uid"]
    late = ask.send(path, body, method=method, version=version + 7)
    assert late.status_code == 412, (path, late.text)
    assert late.headers["ETag"] == f'"{version}"'
    assert ask.get("/history?limit=1")["items"][0]["uid"] == before
    odd = ask.client.request(method, API + path, json=body, headers={"If-Match": "the last"})
    assert odd.status_code == 400
    headers = {"If-Match": f'"{version}"'}
    answer = ask.client.request(method, API + path, json=body, headers=headers)
    assert answer.status_code in {200, 201}, answer.text
    return answer.json()


def test_a_plan_is_taken_held_and_left_as_it_was_seen(studio: Studio) -> None:
    ask = studio.program
    made = ask.done("/plans", ask.example("PlanMake"))
    taken = held(ask, f"/plans/{made['uid']}/accept", made["version"])
    body = {"layer_uid": studio.layers[0], "pinned": True}
    pinned = held(ask, f"/plans/{made['uid']}/pin", taken["version"], body)
    assert pinned["version"] > taken["version"]
    # Two who hold sittings at the same time: the second sees that the plan is another one by now.
    other = {"layer_uid": studio.layers[1], "pinned": True}
    assert ask.send(f"/plans/{made['uid']}/pin", other, version=taken["version"]).status_code == 412
    again = ask.done("/plans", ask.example("PlanMake"))
    assert held(ask, f"/plans/{again['uid']}/dismiss", again["version"])["state"] == "put_away"


def test_a_quote_and_a_link_are_held_to_what_was_seen(studio: Studio) -> None:
    ask = studio.program
    uids = {STACK_UID: studio.stack, PLACE_UID: studio.place, PANEL_UID: studio.panel, MIX_UID: studio.mix}
    quote = ask.done("/quotes", ask.example("PromiseAsk", **uids))
    held(ask, f"/quotes/{quote['uid']}/take", quote["version"])
    now = ask.get(f"/quotes/{quote['uid']}")
    held(ask, f"/quotes/{quote['uid']}/archive", now["version"])
    ask.done("/share-links", ask.example("ShareLinkCreate", **uids))
    [link] = ask.get("/share-links")["items"]
    revoked = held(ask, f"/share-links/{link['uid']}/revoke", link["version"])
    back = held(ask, f"/share-links/{link['uid']}/restore", revoked["version"])
    held(ask, f"/share-links/{link['uid']}/renew", back["version"])


def test_the_choice_about_learning_is_made_on_what_was_seen(studio: Studio) -> None:
    ask = studio.program
    assert ask.get("/learning")["version"] == 0
    first = held(ask, "/learning", 0, {"mode": "frozen"}, "PUT")
    assert (first["mode"], first["version"]) == ("frozen", 1)
    anew = held(ask, "/learning/anew", 1)
    assert held(ask, "/learning/all", anew["version"])["since_at"] is None
    assert ask.send("/learning", {"mode": "off"}, method="PUT", version=1).status_code == 412
    assert ask.get("/learning")["mode"] == "frozen"


def test_records_are_put_away_and_brought_back_as_they_were_seen(studio: Studio) -> None:
    ask = studio.program
    panel = ask.get(f"/panels/{studio.panel}")
    away = held(ask, f"/panels/{studio.panel}/archive", panel["version"])
    held(ask, f"/panels/{studio.panel}/restore", away["version"])
    any_version = ask.client.post(f"{API}/panels/{studio.panel}/archive", headers={"If-Match": "*"})
    assert any_version.status_code == 200


def walked(ask: Program, path: str, after: str = "after") -> list[Any]:
    """A list in slices of one, which must be the list as a whole."""
    found: list[Any] = []
    question = "?limit=1"
    while True:
        slice_ = ask.get(path + question)
        found += slice_["items"]
        onwards = slice_[f"next_{after}"]
        assert len(slice_["items"]) == 1 or not onwards
        if onwards is None:
            break
        question = f"?limit=1&{after}={onwards}"
    assert found == ask.get(f"{path}?limit=200")["items"]
    return found


def test_every_list_comes_in_slices(studio: Studio) -> None:
    ask = studio.program
    for rags in ("spread", "none"):
        ask.done("/sittings", {"rags": rags})
    for minute in (10, 20, 30):
        reading = {"at": f"2026-11-24T09:{minute}:00Z", "temperature_c": 18, "relative_humidity_pct": 50}
        ask.done(f"/places/{studio.place}/typed-readings", reading)
    for title in ("One", "Two", "Three"):
        now = ask.get(f"/panels/{studio.panel}")
        known = {"width_cm", "height_cm", "support", "ground_kind", "ground_surface", "place_uid"}
        body = {name: now[name] for name in known} | {"title": title}
        ask.done(f"/panels/{studio.panel}", body, method="PUT", version=now["version"])
    for number in range(3):
        ask.done("/own-feeds", {"label": f"Telephone {number}", "painter": "First painter"})
        ask.done("/share-links", {"label": f"Link {number}"})
    for at in ("2026-11-01T10:00:00Z", "2026-11-20T10:00:00Z"):
        layer = ask.get(f"/layers/{studio.layers.pop(0)}")
        ask.done(f"/layers/{layer['uid']}/paint", {"painted_at": at}, version=layer["version"])
    assert len(walked(ask, "/sittings")) == 2
    assert walked(ask, f"/places/{studio.place}/reading-batches")
    assert len(walked(ask, f"/history/of/panel/{studio.panel}", "before")) == 4
    assert len(walked(ask, "/own-feeds")) == 3
    assert len(walked(ask, "/share-links")) == 3
    assert len(walked(ask, "/tubes")) > 3
    assert walked(ask, "/learning/presses")
    for path in ("/tubes", "/own-feeds", "/sittings", "/learning/doubtful", "/learning/presses"):
        assert ask.send(f"{path}?after=no-such-record-0", method="GET").status_code == 422


def test_the_history_of_another_studio_is_no_place_to_start_from(client: TestClient, studio: Studio) -> None:
    assert client.get(f"{API}/history?before=no-such-record-0").json()["items"] == []
    assert client.get(f"{API}/history/of/panel/{studio.panel}?before=no-such-record-0").json()["items"] == []


# What holds lists and comes whole, each with what bounds it (DEVELOPERS.md, "Lists for programs").
BOUNDED = {
    **{"/today": "open panels", "/calendar": "open panels", "/plan-week": "a week", "/places/{uid}/course": "weeks"},
    **{"/rules": "the rule book", "/limits": "the rule book", "/lists": "five", "/members/events": "thirty"},
    **{"/panels/{uid}/board": "one panel", "/panels/{uid}/stays": "one panel", "/panels/{uid}/record": "one panel"},
    **{"/panels/{uid}/finish": "one panel", "/learning": "effects that are modelled", "/layers/{uid}/book": "a layer"},
    "/members/{uid}/purge": "one person",
    "/quotes/{uid}/others": "those that are counted",
}


def test_a_list_that_comes_whole_is_one_of_those_that_are_bounded(client: TestClient) -> None:
    document = client.get("/api/v1/openapi.json").json()
    schemas = document["components"]["schemas"]
    whole = set()
    for path, methods in document["paths"].items():
        answer = methods.get("get", {}).get("responses", {}).get("200", {}).get("content", {}).get("application/json")
        if answer is None or path.endswith("/{uid}"):
            continue
        schema = schemas.get(answer["schema"].get("$ref", "").rpartition("/")[2], {})
        asked = {each["name"] for each in methods["get"].get("parameters", ())}
        lists = {name for name, told in schema.get("properties", {}).items() if told.get("type") == "array"}
        if lists and "limit" not in asked:
            whole.add(path.removeprefix(API))
    assert whole <= set(BOUNDED)
    assert {"/today", "/rules", "/members/events", "/panels/{uid}/stays"} <= whole


def test_the_settings_are_put_as_a_whole(studio: Studio) -> None:
    """RFC 9110, 9.3.4: what is sent takes the place of what was there. What was read, sent back, changes nothing; what
    is left out goes back to its default, and the description of the field says so."""
    ask = studio.program

    def put(values: dict[str, Any]) -> dict[str, Any]:
        answer = ask.send("/studio", values, method="PUT", version=ask.get("/studio")["version"])
        assert answer.status_code == 200, answer.text
        return {name: value for name, value in answer.json().items() if name != "version"}

    read = {name: value for name, value in ask.get("/studio").items() if name != "version"}
    chosen = put(read | {"share_wait_d": 12.5, "length_unit": "in", "clock": "12", "language": "nl"})
    assert put(chosen) == chosen and chosen["share_wait_d"] == 12.5
    described = ask.get("/openapi.json")["components"]["schemas"]["StudioChange"]
    optional = [name for name in described["properties"] if name not in described["required"]]
    left = put({name: value for name, value in chosen.items() if name not in optional})
    assert "share_wait_d" in optional and len(optional) == 10
    for name in optional:
        field = described["properties"][name]
        assert left[name] == field["default"]
        assert field["description"] == f"Left out, it goes back to its default, {field['default']}."
