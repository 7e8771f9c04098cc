"""POST /api/v1/estimate and /soundness over HTTP, and the OpenAPI document that describes them (OpenAPI 3.1)."""

import json
from typing import Any

import jsonschema
import pytest
from starlette.testclient import TestClient

from server.formats.calls import NAMES

JSON_HEADERS = {"content-type": "application/json"}


def document(client: TestClient) -> Any:
    return client.get("/api/v1/openapi.json").json()


def operation(client: TestClient, name: str) -> Any:
    return document(client)["paths"][f"/api/v1/{name}"]["post"]


def no_constant(word: str) -> Any:
    raise AssertionError(f"{word} is no JSON")


def validate(instance: Any, schema: Any, whole: Any) -> None:
    jsonschema.Draft202012Validator({**schema, "components": whole["components"]}).validate(instance)


@pytest.mark.parametrize("name", NAMES)
def test_every_example_of_the_document_is_answered_on_its_schema(client: TestClient, name: str) -> None:
    whole = document(client)
    described = whole["paths"][f"/api/v1/{name}"]["post"]
    body = described["requestBody"]["content"]["application/json"]
    answered = described["responses"]["200"]["content"]["application/json"]["schema"]
    assert body["examples"]
    for example in body["examples"].values():
        validate(example["value"], body["schema"], whole)
        reply = client.post(f"/api/v1/{name}", json=example["value"])
        assert reply.status_code == 200
        validate(json.loads(reply.text, parse_constant=no_constant), answered, whole)


@pytest.mark.parametrize("name", NAMES)
def test_a_list_is_answered_by_a_list(client: TestClient, name: str) -> None:
    examples = operation(client, name)["requestBody"]["content"]["application/json"]["examples"]
    request = next(iter(examples.values()))["value"]
    one = client.post(f"/api/v1/{name}", json=request).json()
    assert client.post(f"/api/v1/{name}", json=[request, request]).json() == [one, one]


@pytest.mark.parametrize(
    ("content", "headers", "status"),
    [
        (b"{", JSON_HEADERS, 400),
        (b'{"layer": 1, "layer": 2}', JSON_HEADERS, 400),
        (b"[" * 100_000, JSON_HEADERS, 400),
        (b"\xff\xfe", JSON_HEADERS, 400),
        (b'{"layer": {"wet_thickness_um": 1e400}}', JSON_HEADERS, 422),
        (b'{"layer": {"wet_thickness_um": NaN}}', JSON_HEADERS, 422),
        (b"null", JSON_HEADERS, 422),
        (b"7", JSON_HEADERS, 422),
        (b"{}", {"content-type": "text/plain"}, 415),
        (b"{}", {}, 415),
        (b" " * 1_100_000, JSON_HEADERS, 413),
    ],
)
def test_what_cannot_be_answered_is_a_problem(
    client: TestClient, content: bytes, headers: dict[str, str], status: int
) -> None:
    for name in NAMES:
        reply = client.post(f"/api/v1/{name}", content=content, headers=headers)
        assert reply.status_code == status, reply.text
        assert reply.headers["content-type"] == "application/problem+json"
        whole = document(client)
        validate(reply.json(), whole["components"]["schemas"]["Problem"], whole)


def test_faults_are_named_by_path_as_the_command_names_them(client: TestClient) -> None:
    reply = client.post("/api/v1/estimate", json={"layer": {"ground": "sand", "mixes": []}, "room": {}, "colour": 1})
    assert reply.status_code == 422
    paths = {error["path"] for error in reply.json()["errors"]}
    assert paths == {"layer.wet_thickness_um", "layer.ground", "layer.mixes", "colour"}


def test_needs_no_studio_rows(client: TestClient, queries: Any) -> None:
    examples = operation(client, "estimate")["requestBody"]["content"]["application/json"]["examples"]
    request = next(iter(examples.values()))["value"]
    queries()
    client.post("/api/v1/estimate", json=request)
    assert queries() == 0


@pytest.mark.parametrize("name", ["estimate", "soundness", "learn", "plan"])
def test_an_empty_list_is_answered_by_one(client: TestClient, name: str):
    reply = client.post(f"/api/v1/{name}", json=[])
    assert (reply.status_code, reply.json()) == (200, [])
