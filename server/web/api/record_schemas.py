"""What the OpenAPI document says of the records: schemas from their commands, and every operation with its answers."""

from copy import deepcopy
from dataclasses import dataclass
from typing import Any

from fastapi.openapi.constants import REF_TEMPLATE
from pydantic.json_schema import models_json_schema

from server.web.api.record_examples import EXAMPLES
from server.web.api.resources import RESOURCES, Deed, Resource
from server.web.api.sent import JSON

PROBLEM_JSON = "application/problem+json"
INSTANT = {"type": "string", "format": "date-time"}
OF_EVERY_RECORD: dict[str, Any] = {
    "uid": {"type": "string", "pattern": "^[A-Za-z0-9_-]{1,32}$"},
    "version": {"type": "integer", "minimum": 1, "description": "Send it in If-Match to change the record"},
    "created_at": INSTANT,
    "updated_at": INSTANT,
    "archived_at": {"anyOf": [INSTANT, {"type": "null"}], "description": "When it was put away"},
}
ETAG = {"ETag": {"description": "The record's version", "schema": {"type": "string"}}}
KEY = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": False,
    "description": "One key a sending: the same request with the same key is done once, however often it comes",
    "schema": {"type": "string", "minLength": 1, "maxLength": 200},
}
PROBLEM_TEXTS = {
    400: "What was sent cannot be read",
    401: "A token is wanted",
    403: "This may not be done with this token",
    404: "There is no such record",
    409: "It cannot be done as things stand",
    412: "Somebody changed the record since; the answer has it as it is now",
    413: "The body is too large",
    415: "The body is not application/json",
    422: "Fields need a change",
    428: "If-Match is wanted",
    503: "Too many of these are being made; try again in a minute",
}


def problems(*statuses: int) -> dict[int | str, Any]:
    """The answers that go wrong, for an operation."""
    content = {PROBLEM_JSON: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return {status: {"description": PROBLEM_TEXTS[status], "content": content} for status in (*statuses, 401, 403)}


def schema_ref(name: str) -> dict[str, Any]:
    return {JSON: {"schema": {"$ref": f"#/components/schemas/{name}"}}}


def body_of(schema: str) -> dict[str, Any]:
    """What an operation says of its body and of the key of its sending."""
    content = {JSON: {**schema_ref(schema)[JSON], "example": EXAMPLES[schema]}}
    return {"requestBody": {"required": True, "content": content}, "parameters": [KEY]}


@dataclass(frozen=True, slots=True)
class RecordDoc:
    """The operations of one kind of record, as arguments of the router's decorators."""

    resource: Resource

    def listing(self, of: str = "") -> dict[str, Any]:
        one = f" of a {of}" if of else ""
        return self._operation(
            f"The {self.resource.path.replace('-', ' ')}{one}",
            f"list_{self._id}{'_of_' + of if of else ''}",
            {200: {"description": "A slice, oldest first", "content": schema_ref(f"{self.resource.name}List")}},
            problems(404, 422) if of else problems(422),
        )

    def adding(self, of: str = "") -> dict[str, Any]:
        statuses = (400, 404, 409, 413, 415, 422) if of else (400, 409, 413, 415, 422)
        made = {
            "description": "Added",
            "content": schema_ref(self.resource.name),
            "headers": {**ETAG, "Location": {"description": "Its address", "schema": {"type": "string"}}},
        }
        summary = f"Add a {self.resource.one}" + (f" to a {of}" if of else "")
        return self._operation(
            summary, f"add_{self._id}", {201: made}, problems(*statuses), body_of(f"{self.resource.name}Create")
        )

    def reading(self) -> dict[str, Any]:
        return self._operation(f"A {self.resource.one}", f"read_{self._id}", self._found(), problems(404, 422))

    def changing(self) -> dict[str, Any]:
        return self._operation(
            f"Change a {self.resource.one}: the whole of it",
            f"change_{self._id}",
            self._found(),
            problems(400, 404, 409, 412, 413, 415, 422, 428),
            body_of(f"{self.resource.name}Change"),
        )

    def doing(self, deed: Deed) -> dict[str, Any]:
        statuses = (400, 404, 409, 412, 413, 415, 422, *((428,) if deed.with_version else ()))
        body = body_of(deed_schema(self.resource, deed)) if deed.command else {"parameters": [KEY]}
        summary = f"{deed.path.capitalize()}: {deed.told.lower()} the {self.resource.one}"
        return self._operation(summary, f"{deed.path}_{self._id}", self._found(), problems(*statuses), body)

    @property
    def _id(self) -> str:
        return self.resource.one.replace(" ", "_")

    def _found(self) -> dict[int | str, Any]:
        described = {"description": "The record", "content": schema_ref(self.resource.name), "headers": ETAG}
        return {200: described}

    def _operation(
        self, summary: str, name: str, good: dict[Any, Any], bad: dict[Any, Any], extra: dict[str, Any] | None = None
    ) -> dict[str, Any]:
        return {
            "summary": summary,
            "operation_id": name,
            "tags": [self.resource.path],
            "responses": {**good, **bad},
            "status_code": next(iter(good)),
            "openapi_extra": extra or {},
        }


def deed_schema(resource: Resource, deed: Deed) -> str:
    return f"{resource.name}{deed.path.capitalize()}"


def component_schemas() -> dict[str, Any]:
    """The schemas of what is sent and of what is answered, for ``components`` of the document."""
    asked = [
        (command, "validation")
        for r in RESOURCES
        for command in (r.create, r.update, *(deed.command for deed in r.deeds))
        if command is not None
    ]
    answered = [(r.shown, "serialization") for r in RESOURCES]
    names, definitions = models_json_schema([*asked, *answered], ref_template=REF_TEMPLATE)  # type: ignore[list-item]
    found: dict[str, Any] = dict(definitions["$defs"])

    def of(command: Any, mode: Any) -> dict[str, Any]:
        key = names[(command, mode)]["$ref"].rpartition("/")[2]
        return deepcopy(definitions["$defs"][key])

    for resource in RESOURCES:
        found[f"{resource.name}Create"] = of(resource.create, "validation")
        if resource.update is not None:
            found[f"{resource.name}Change"] = _without_version(of(resource.update, "validation"))
        found[resource.name] = _record(resource, of(resource.shown, "serialization"))
        for deed in resource.deeds:
            if deed.command is not None:
                found[deed_schema(resource, deed)] = _without_version(of(deed.command, "validation"))
        found[f"{resource.name}List"] = {
            "type": "object",
            "required": ["items", "next_after"],
            "properties": {
                "items": {"type": "array", "items": {"$ref": f"#/components/schemas/{resource.name}"}},
                "next_after": {
                    "anyOf": [{"type": "string"}, {"type": "null"}],
                    "description": "Ask with it as `after` for what follows; null at the end",
                },
            },
        }
    return found


def change_schema(command: Any) -> dict[str, Any]:
    """The schema of a change whose version comes in If-Match."""
    names, definitions = models_json_schema([(command, "validation")], ref_template=REF_TEMPLATE)
    key = names[(command, "validation")]["$ref"].rpartition("/")[2]
    return _without_version(deepcopy(definitions["$defs"][key]))


def _without_version(schema: dict[str, Any]) -> dict[str, Any]:
    schema["properties"].pop("version", None)
    schema["required"] = [name for name in schema.get("required", ()) if name != "version"]
    if not schema["required"]:
        del schema["required"]
    return schema


def _record(resource: Resource, schema: dict[str, Any]) -> dict[str, Any]:
    fields = _without_version(schema)["properties"]
    parent = {} if resource.parent is None else {f"{resource.parent.one}_uid": OF_EVERY_RECORD["uid"]}
    every = {**OF_EVERY_RECORD, **parent, **fields}
    return {"type": "object", "title": resource.name, "properties": every, "required": list(every)}
