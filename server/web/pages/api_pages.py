"""The interfaces as a page to read: every operation of the OpenAPI document with its example, nothing fetched from
elsewhere."""

import json
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, FastAPI
from starlette.responses import Response

from server.web.api.families import FAMILIES
from server.web.deps import Page

router = APIRouter()
JSON = "application/json"
LONGEST = 4_000  # characters of an example; a longer one is told by its schema


@dataclass(frozen=True, slots=True)
class Operation:
    """``parameters``: name, where it goes, what it is; ``answers``: status and what it means."""

    id: str
    method: str
    path: str
    summary: str
    told: str
    parameters: tuple[tuple[str, str, str], ...]
    example: str
    answers: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Family:
    name: str
    told: str
    operations: tuple[Operation, ...]


def families(app: FastAPI) -> tuple[Family, ...]:
    """The operations by what they are about, in the order of the document."""
    found: dict[str, list[Operation]] = {}
    for path, methods in app.openapi()["paths"].items():
        for method, told in methods.items():
            found.setdefault(told["tags"][0], []).append(_operation(method.upper(), path, told))
    return tuple(Family(name.replace("-", " "), FAMILIES.get(name, ""), tuple(each)) for name, each in found.items())


def _operation(method: str, path: str, told: dict[str, Any]) -> Operation:
    parameters = tuple(
        (each["name"], each["in"], each.get("description", ""))
        for each in sorted(told.get("parameters", ()), key=lambda each: each["in"] != "path")
    )
    answers = tuple((status, each["description"]) for status, each in told["responses"].items())
    return Operation(
        told["operationId"],
        method,
        path,
        told["summary"],
        told.get("description", ""),
        parameters,
        _example(told),
        answers,
    )


def _example(told: dict[str, Any]) -> str:
    content = told.get("requestBody", {}).get("content", {}).get(JSON, {})
    given = content.get("example")
    if given is None and content.get("examples"):
        given = next(iter(content["examples"].values()))["value"]
    text = "" if given is None else json.dumps(given, indent=2, ensure_ascii=False)
    return text if len(text) <= LONGEST else ""


@router.get("/api")
def interfaces(page: Page) -> Response:
    return page.render("api/page.html", {"families": families(page.request.app)})
