"""The OpenAPI document: what FastAPI collects, plus the schemas of calls and records."""

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from server.formats import record
from server.services.rule_limits import LimitsUpdate
from server.services.share_links import ShareLinkUpdate
from server.services.studios import StudioUpdate
from server.web.api import (
    data,
    learning,
    own_feeds,
    painters,
    people,
    plans,
    purges,
    questions,
    quotes,
    readings,
    record_schemas,
    rooms,
    sharing,
    sheets,
    stateless,
    studio,
)
from server.web.api.answers import add_answers
from server.web.api.families import FAMILIES

MODULES = (
    studio,
    plans,
    quotes,
    learning,
    sharing,
    own_feeds,
    people,
    questions,
    rooms,
    sheets,
    purges,
    painters,
    data,
)
BODIES = (*readings.MODELS, *(body for module in MODULES for body in module.BODIES))
# Changes whose version comes in If-Match: the schema's name, and the command.
CHANGES = {"StudioChange": StudioUpdate, "ShareLinkChange": ShareLinkUpdate, "LimitsChange": LimitsUpdate}


def install(app: FastAPI) -> None:
    """Make ``app.openapi`` answer the whole document; it is built once, when first asked for."""

    def document() -> dict[str, Any]:
        if not app.openapi_schema:
            schema = get_openapi(title=app.title, version=app.version, description=app.description, routes=app.routes)
            components = schema.setdefault("components", {})
            components["securitySchemes"] = {
                "sensorToken": {"type": "http", "scheme": "bearer"},
                "programToken": {"type": "http", "scheme": "bearer"},
            }
            # A single-user install asks for none.
            schema["tags"] = [{"name": name, "description": told} for name, told in FAMILIES.items()]
            schema["security"] = [{}, {"programToken": []}]
            found = components.setdefault("schemas", {})
            _add(found, stateless.component_schemas(BODIES))
            _add(found, record_schemas.component_schemas())
            _add(found, record.json_schemas())
            _add(found, {name: record_schemas.change_schema(command) for name, command in CHANGES.items()})
            _tell_defaults(found["StudioChange"])
            add_answers(schema)
            app.openapi_schema = schema
        return app.openapi_schema

    app.openapi = document  # type: ignore[method-assign]


def _tell_defaults(schema: dict[str, Any]) -> None:
    """Say at every field that may be left out what becomes of it then."""
    for field in schema["properties"].values():
        if "default" in field:
            field["description"] = f"Left out, it goes back to its default, {field['default']}."


def _add(found: dict[str, Any], more: dict[str, Any]) -> None:
    """Raises RuntimeError where two things have one name: a program would read the one for the other."""
    for name, schema in more.items():
        if found.setdefault(name, schema) != schema:
            raise RuntimeError(f"two schemas are called {name}")
