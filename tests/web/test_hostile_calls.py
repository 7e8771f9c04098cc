"""The stateless calls with JSON that nobody should send: problem details that name the field, never a fault of ours."""

import json
import time
from copy import deepcopy
from typing import Any

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from server.formats.calls.estimate import EstimateRequest
from server.formats.calls.problems import path_text
from server.web.api.stateless import EXAMPLES_DIR

VALUES: tuple[Any, ...] = (
    None,
    True,
    -1,
    0,
    5e-324,
    1e308,
    10**400,
    "1",
    "",
    "\ud800",
    "\x00",
    [],
    {},
    "9999-12-31T23:59:59Z",
)
RAW = ("1e400", "NaN", "9" * 5000, "[" * 100_000, '{"\\ud800":1}', '{"a":1,"a":2}')
OURS = ("Traceback", "pydantic", "Input should", "input_value", "literal[")


def example(stem: str) -> Any:
    return json.loads((EXAMPLES_DIR / f"{stem}.json").read_text(encoding="utf-8"))["request"]


def send(client: TestClient, call: str, body: str | bytes) -> Response:
    answer = client.post(f"/api/v1/{call}", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code in {200, 400, 422}, body[:200]
    if answer.status_code != 200:
        assert answer.headers["Content-Type"] == "application/problem+json"
        assert answer.json()["errors"]
        assert not any(word in answer.text for word in OURS), answer.text[:300]
    return answer


def places(value: Any, path: tuple[int | str, ...] = ()) -> list[tuple[int | str, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(deeper for key, each in inner for deeper in places(each, (*path, key)))]


def put(request: Any, path: tuple[int | str, ...], value: Any) -> Any:
    if not path:
        return value
    changed = deepcopy(request)
    at = changed
    for step in path[:-1]:
        at = at[step]
    at[path[-1]] = value
    return changed


@pytest.mark.parametrize(
    ("call", "stem"),
    [("estimate", "estimate_light_grey"), ("soundness", "soundness_tacky"), ("learn", "learn_between")],
)
def test_anything_anywhere_is_answered(client: TestClient, call: str, stem: str):
    request = example(stem)
    for number, path in enumerate(places(request)):
        for value in VALUES[number % 2 :: 2]:
            send(client, call, json.dumps(put(request, path, value)))
        raw = RAW[number % len(RAW)]
        send(client, call, json.dumps(put(request, path, "@@")).replace('"@@"', raw))


def test_a_film_without_solids_is_answered_in_json(client: TestClient):
    answer = send(client, "estimate", json.dumps(example("estimate_clear_linseed")))
    assert answer.json()["composition"][0]["richness"] is None


def test_parts_that_vanish_are_told_at_their_field(client: TestClient):
    path = ("layer", "mixes", 1, "paints", 0, "parts")
    answer = send(client, "estimate", json.dumps(put(example("estimate_light_grey"), path, 5e-324)))
    assert answer.json()["errors"] == [{"path": path_text(path), "message": "must be at least 0.000001"}]


def test_where_a_word_or_a_number_will_do_one_fault_says_both(client: TestClient):
    answer = send(client, "estimate", json.dumps(put(example("estimate_light_grey"), ("room", "light"), "candle")))
    [fault] = answer.json()["errors"]
    assert fault["path"] == "room.light"
    assert fault["message"].endswith("'sun_glass', or must be a number")
    assert "light" in EstimateRequest.model_json_schema()["$defs"]["RoomIn"]["properties"]


def test_the_year_one_is_told(client: TestClient):
    answer = send(client, "soundness", json.dumps(put(example("soundness_tacky"), ("now",), "0001-01-01T00:00:00Z")))
    assert answer.json()["errors"] == [{"path": "now", "message": "must not be before the year 1500"}]


def test_a_field_given_twice_among_many_is_found_at_once(client: TestClient):
    """Comparing every name with every other took minutes."""
    names = ",".join(f'"k{number}":0' for number in range(60_000))
    started = time.process_time()
    answer = send(client, "estimate", f'{{{names},"k59999":0}}')
    assert "k59999" in answer.text
    assert time.process_time() - started < 5
