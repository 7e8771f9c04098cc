"""Records for programs: add, read, change, archive; versions, keys of a sending, slices, and what is refused."""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from server.web.api import ROUTERS, readings
from server.web.api.record_examples import EXAMPLES, MIX_UID, PAINT_UID, PANEL_UID, PLACE_UID
from tests.web import test_api_pages, test_api_plans
from tests.web.conftest import NOW

API = "/api/v1"
ROUTES = [
    (method, API + route.path)
    for router in ROUTERS
    if router is not readings.router  # asked with a token of its own, in test_readings.py
    for route in router.routes
    if isinstance(route, APIRoute)
    for method in sorted(route.methods or ())
]
CHANGES = [(method, path) for method, path in ROUTES if method != "GET"]


def panel(client: TestClient, **values: Any) -> dict[str, Any]:
    place = client.get(f"{API}/places").json()["items"][0]["uid"]
    return {
        "title": "Quince",
        "width_cm": 30,
        "height_cm": 24,
        "support": "hardboard",
        "ground_kind": "acrylic",
        "ground_surface": "matte",
        "place_uid": place,
        **values,
    }


@pytest.fixture
def made(client: TestClient) -> dict[str, Any]:
    answer = client.post(f"{API}/panels", json=panel(client))
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    assert answer.headers["location"] == f"{API}/panels/{found['uid']}"
    assert answer.headers["etag"] == '"1"'
    return found


def test_what_was_added_is_read_and_stands_on_the_pages(client: TestClient, made: dict[str, Any]) -> None:
    assert client.get(f"{API}/panels/{made['uid']}").json() == made
    assert "Quince" in client.get(f"/panels/{made['uid']}").text
    assert "Added the panel “Quince”" in client.get("/history").text


def test_a_change_wants_the_version_that_was_read(client: TestClient, made: dict[str, Any]) -> None:
    at = f"{API}/panels/{made['uid']}"
    body = panel(client, title="Two quinces")
    assert client.put(at, json=body).status_code == 428
    assert client.put(at, json=body, headers={"If-Match": "the last"}).status_code == 400
    changed = client.put(at, json=body, headers={"If-Match": '"1"'})
    assert (changed.status_code, changed.json()["version"], changed.headers["etag"]) == (200, 2, '"2"')
    # The very same change once more is no conflict; another one on the old version is.
    assert client.put(at, json=body, headers={"If-Match": '"1"'}).status_code == 200
    late = client.put(at, json=panel(client, title="Three"), headers={"If-Match": '"1"'})
    assert late.status_code == 412
    assert late.json()["current"]["title"] == "Two quinces"
    assert client.get(at).json()["title"] == "Two quinces"


def test_one_key_is_one_panel_however_often_it_is_sent(client: TestClient) -> None:
    body, key = panel(client), {"Idempotency-Key": "morning 1"}
    first, again = (client.post(f"{API}/panels", json=body, headers=key) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert len(client.get(f"{API}/panels").json()["items"]) == 1
    other = client.post(f"{API}/panels", json=body | {"title": "Pear"}, headers=key)
    assert other.status_code == 422
    assert other.json()["errors"][0]["path"] == "Idempotency-Key"
    assert len(client.get(f"{API}/panels").json()["items"]) == 1


def test_one_key_is_one_change_of_one_version(client: TestClient, made: dict[str, Any]) -> None:
    """The same words on another version are another request: they may mean to take back what came in between."""
    at = f"{API}/panels/{made['uid']}"

    def put(title: str, version: int, key: str) -> Any:
        headers = {"If-Match": f'"{version}"', "Idempotency-Key": key}
        return client.put(at, json=panel(client, title=title), headers=headers)

    assert [put("Two quinces", 1, "k").json()["version"] for _ in range(2)] == [2, 2]
    assert put("Three", 2, "l").json()["version"] == 3
    other = put("Two quinces", 3, "k")
    assert (other.status_code, other.json()["errors"][0]["path"]) == (422, "Idempotency-Key")
    assert client.get(at).json()["title"] == "Three"


def test_a_key_that_changed_nothing_answers_the_record_again(client: TestClient, made: dict[str, Any]) -> None:
    at = f"{API}/panels/{made['uid']}/restore"
    answers = [client.post(at, headers={"Idempotency-Key": "k"}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [200, 200]
    assert answers[1].json() == made


def test_every_fault_stands_at_its_field(client: TestClient) -> None:
    answer = client.post(f"{API}/panels", json=panel(client, width_cm="30", height_cm=-1, colour="red"))
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    told = {error["path"]: error["message"] for error in answer.json()["errors"]}
    assert told.keys() == {"width_cm", "height_cm", "colour"}
    assert told["width_cm"] == "Write a number, such as 2.5."
    nowhere = client.post(f"{API}/panels", json=panel(client, place_uid="nowhere"))
    assert [error["path"] for error in nowhere.json()["errors"]] == ["place_uid"]


@pytest.mark.parametrize(
    ("content", "kind", "status"),
    [
        (b"{", "application/json", 400),
        (b'{"title": "a", "title": "b"}', "application/json", 400),
        (b"[]", "application/json", 422),
        (b"title=a", "application/x-www-form-urlencoded", 415),
        (b"{" * 100_000, "application/json", 400),
    ],
)
def test_what_is_no_json_is_told(client: TestClient, content: bytes, kind: str, status: int) -> None:
    answer = client.post(f"{API}/panels", content=content, headers={"Content-Type": kind})
    assert answer.status_code == status
    assert answer.json()["status"] == status


def test_a_layer_is_planned_painted_pressed_and_taken_back(client: TestClient, made: dict[str, Any]) -> None:
    client.post("/shelf/starter")
    paint = next(p for p in client.get(f"{API}/paints").json()["items"] if "PW6" in str(p["pigments"]))
    mix = client.post(
        f"{API}/mixes", json={"label": "White", "parts": [{"item": f"paint:{paint['uid']}", "parts": 1}]}
    ).json()
    body = {"kind": "underpainting", "thickness_preset": "thin_opaque", "mixes": [{"mix_uid": mix["uid"]}]}
    layer = client.post(f"{API}/panels/{made['uid']}/layers", json=body).json()
    assert (layer["panel_uid"], layer["painted_at"]) == (made["uid"], None)
    at = f"{API}/layers/{layer['uid']}"
    painted = client.post(f"{at}/paint", json={"painted_at": "2026-11-24T10:00:00Z"}, headers={"If-Match": '"1"'})
    assert painted.status_code == 200, painted.text
    assert painted.json()["painted_at"].startswith("2026-11-24T10:00:00")
    pressed = client.post(f"{at}/touch-tests", json={"stage": "wet"})
    assert pressed.status_code == 201
    assert pressed.json()["pressed_at"].startswith(NOW.isoformat()[:16])
    board = client.get(f"{API}/panels/{made['uid']}/board").json()
    assert board["layers"][0]["state"] == "wet"
    assert board["layers"][0]["stages"]["dry_to_touch"]["low"] >= "2026-11-25"
    today = client.get(f"{API}/today").json()
    assert [(each["uid"], each["standing"]) for each in today["panels"]] == [(made["uid"], "unplanned")]
    assert client.get(f"{API}/calendar").json()["rows"][0]["layers"][0]["uid"] == layer["uid"]
    entry = client.get(f"{API}/history").json()["items"][0]
    assert entry["label"] == "Added the touch test"
    assert client.post(f"{API}/history/{entry['uid']}/undo").json()["is_undone"] is True
    assert client.get(f"{at}/touch-tests").json()["items"] == []
    assert client.post(f"{API}/history/{entry['uid']}/redo").json()["is_undone"] is False
    assert len(client.get(f"{at}/touch-tests").json()["items"]) == 1
    refused = client.post(f"{at}/unpaint")
    assert refused.status_code == 409
    assert refused.json()["detail"]


def test_slices_go_through_all_and_tell_their_end(client: TestClient) -> None:
    for number in range(5):
        client.post(f"{API}/thinners", json={"label": f"Jar {number}", "solvent": "odourless_mineral_spirits"})
    seen: list[str] = []
    after = ""
    for _ in range(3):
        answer = client.get(f"{API}/thinners?limit=2{after}").json()
        seen += [each["label"] for each in answer["items"]]
        after = f"&after={answer['next_after']}"
    assert seen == [f"Jar {number}" for number in range(5)]
    assert answer["next_after"] is None
    assert client.get(f"{API}/thinners?limit=0").status_code == 422
    assert client.get(f"{API}/thinners?after=nobody").status_code == 422


def test_what_was_put_away_is_in_its_own_list(client: TestClient, made: dict[str, Any]) -> None:
    away = client.post(f"{API}/panels/{made['uid']}/archive").json()
    assert away["archived_at"]
    assert client.get(f"{API}/panels").json()["items"] == []
    assert client.get(f"{API}/panels?archived=true").json()["items"] == [away]
    refused = client.put(f"{API}/panels/{made['uid']}", json=panel(client), headers={"If-Match": '"2"'})
    assert refused.status_code == 409
    assert client.post(f"{API}/panels/{made['uid']}/restore").json()["archived_at"] is None


@pytest.mark.parametrize(("method", "path"), [route for route in ROUTES if "{uid}" in route[1]])
@pytest.mark.parametrize("uid", ["no-such-record-0", "%F0%9F%8E%A8", "a" * 200, "%00"])
def test_a_bad_id_is_not_found(client: TestClient, method: str, path: str, uid: str) -> None:
    is_plain = path.rpartition("/")[2] in ONLY_DEEDS or path.endswith("/quotes/{uid}/take")
    body = None if method == "GET" or is_plain else {"x": 1}
    answer = client.request(method, path.replace("{uid}", uid), json=body, headers={"If-Match": '"1"'})
    # A body that holds nothing of the record is told first.
    assert answer.status_code == (404 if body is None else 422)
    assert answer.headers["content-type"] == "application/problem+json"


SENT_ELSEWHERE = test_api_plans.SENDS | {
    *("ShareLinkCreate", "ShareLinkChange"),  # test_share_changed.py
    *("InvitationCreate", "RoleUpdate", "PersonPurge"),  # people/test_api_people.py
    "OwnFeedCreate",  # test_own_feeds.py
    *test_api_pages.SENDS,
}
ONLY_DEEDS = (
    *("archive", "restore", "finish", "unpaint", "undone", "undo", "redo"),
    *("sure", "accept", "dismiss", "renew", "revoke", "remove", "set-aside"),
)


@pytest.mark.parametrize(("method", "path"), CHANGES)
def test_another_site_changes_nothing(client: TestClient, method: str, path: str) -> None:
    answer = client.request(method, path.replace("{uid}", "x"), json={}, headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 403


def test_a_wrong_method_is_told(client: TestClient) -> None:
    for path in sorted({path for _, path in ROUTES}):
        answer = client.delete(path.replace("{uid}", "x"))
        assert answer.status_code == 405
        assert answer.headers["allow"]


def test_the_document_names_each_operation_once(app: FastAPI) -> None:
    operations = [
        each["operationId"]
        for path in app.openapi()["paths"].values()
        for each in path.values()
        if "operationId" in each
    ]
    assert len(operations) == len(set(operations)) >= len(ROUTES)


def bodies(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Method, path and example of every operation on records that has a body."""
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
            name = content.get("schema", {}).get("$ref", "").rpartition("/")[2]
            if name in EXAMPLES and name not in SENT_ELSEWHERE:
                yield method.upper(), path, content["example"]


def test_every_example_of_the_document_works_when_it_is_sent(client: TestClient, app: FastAPI) -> None:
    """In the order of a picture's life: shelf and place, panel, layer, press, finish."""
    examples = {(method, path): body for method, path, body in bodies(app.openapi())}
    assert len(examples) == len(set(EXAMPLES) - SENT_ELSEWHERE)
    uids: dict[str, str] = {}
    names = {"places": PLACE_UID, "paints": PAINT_UID, "mixes": MIX_UID}

    def send(method: str, path: str, of: str = "") -> dict[str, Any]:
        body = json.dumps(examples.pop((method, f"{API}/{path}")))
        for kind, name in names.items():
            body = body.replace(name, uids.get(kind, name))
        address = f"{API}/{path.replace('{uid}', uids.get(of, ''))}"
        headers = {"Content-Type": "application/json"}
        if of or method == "PUT":
            now = client.get(f"{API}/{of}/{uids[of]}" if of else address).json()
            headers["If-Match"] = f'"{now["version"]}"'
        answer = client.request(method, address, content=body, headers=headers)
        assert answer.status_code in {200, 201}, (address, answer.text)
        found: dict[str, Any] = answer.json()
        return found

    for kind in ("places", "paints", "mediums", "thinners", "mixes", "stacks", "panels"):
        uids[kind] = send("POST", kind)["uid"]
        send("PUT", f"{kind}/{{uid}}", kind)
    other = client.post(f"{API}/panels", json=panel(client, title="Pear")).json()
    uids["working-hours"] = send("POST", "working-hours")["uid"]
    send("POST", "working-hours/rename")
    hung_in, uids["places"] = uids["places"], client.get(f"{API}/places").json()["items"][0]["uid"]
    uids["moves"] = send("POST", "panels/{uid}/moves", "panels")["uid"]
    send("PUT", "moves/{uid}", "moves")
    uids["places"] = hung_in
    uids["layers"] = send("POST", "panels/{uid}/layers", "panels")["uid"]
    send("PUT", "layers/{uid}", "layers")
    send("POST", "layers/{uid}/paint", "layers")
    for kind, parent in (("touch-tests", "layers"), ("finish-steps", "panels"), ("finish-tests", "panels")):
        uids[kind] = send("POST", f"{parent}/{{uid}}/{kind}", parent)["uid"]
        send("PUT", f"{kind}/{{uid}}", kind)
    send("POST", "finish-steps/{uid}/do", "finish-steps")
    assert send("POST", "sittings")["mixes"] == [{"label": "White as it is", "left_ml": 4.0, "kept_in": "sealed"}]
    uids["panels"] = other["uid"]
    names["panels"] = PANEL_UID
    applied = send("POST", "stacks/{uid}/apply", "stacks")
    assert [client.get(f"{API}/layers/{uid}").json()["kind"] for uid in applied["layer_uids"]] == [
        "underpainting",
        "second painting",
    ]
    uids["layers"] = applied["layer_uids"][0]
    assert send("POST", "layers/{uid}/move", "layers")["uid"] == applied["layer_uids"][0]
    changed = send("PUT", "studio")
    assert (changed["drops_per_ml"], changed["share_wait_d"]) == (22, 10)
    body = examples.pop(("PUT", f"{API}/limits/{{name}}"))
    limits = client.get(f"{API}/limits").json()["items"]
    # One that stands beside another may be refused; the first that takes it will do.
    name, default = next(
        (each["name"], each["default"])
        for each in limits
        if each["low"] <= body["value"] <= each["high"]
        and each["default"] != body["value"]
        and client.put(f"{API}/limits/{each['name']}", json=body).status_code == 200
    )

    def now() -> float:
        told = client.get(f"{API}/limits").json()["items"]
        return next(float(each["value"]) for each in told if each["name"] == name)

    assert now() == body["value"] != default
    assert client.post(f"{API}/limits/{name}/reset").status_code == 200
    assert now() == default
    assert not examples
