"""What the interfaces answer, as examples for the document: recorded by the tests (``tests/web/record_answers.py``),
all of it invented. An operation without a record of its own shows that of another with the same schema."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("answers.json")
JSON = "application/json"
Content = dict[str, Any]


def add_answers(document: dict[str, Any]) -> None:
    """Give each answer in JSON that has a schema of its own an example."""
    recorded: dict[str, Any] = json.loads(FILE.read_text(encoding="utf-8"))
    schemas: dict[str, Any] = document["components"]["schemas"]
    by_schema: dict[str, Any] = {}
    bare: list[tuple[str, Content]] = []
    for key, content in _answers(document):
        name = _name(content.get("schema", {}))
        if key in recorded:
            content["example"] = recorded[key]
            by_schema.setdefault(name, recorded[key])
        elif name:
            bare.append((name, content))
    for name, content in bare:
        found = by_schema.get(name) or _listed(schemas.get(name, {}), by_schema)
        if found is not None:
            content["example"] = found


def _answers(document: dict[str, Any]) -> Iterator[tuple[str, Content]]:
    for path, methods in document["paths"].items():
        for method, told in methods.items():
            for status, answer in told["responses"].items():
                if str(status).startswith("2") and JSON in answer.get("content", {}):
                    yield f"{method.upper()} {path}", answer["content"][JSON]


def _name(schema: dict[str, Any]) -> str:
    """The schema's name where it is one by name; "" for any other."""
    return str(schema.get("$ref", "")).rpartition("/")[2]


def _listed(schema: dict[str, Any], by_schema: dict[str, Any]) -> Any:
    """A list of one, where the schema is a list of something that is known."""
    fields = schema.get("properties", {})
    one = by_schema.get(_name(fields.get("items", {}).get("items", {})))
    if one is None:
        return None
    return {"items": [one], **({"next_after": None} if "next_after" in fields else {})}
