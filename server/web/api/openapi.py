"""The OpenAPI document: what FastAPI collects, plus the schemas of the calls."""

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from server.web.api import readings
from server.web.api.stateless import component_schemas


def install(app: FastAPI) -> None:
    """Make ``app.openapi`` answer the whole document; it is built once, when first asked for."""

    def document() -> dict[str, Any]:
        if not app.openapi_schema:
            schema = get_openapi(title=app.title, version=app.version, description=app.description, routes=app.routes)
            components = schema.setdefault("components", {})
            components.setdefault("schemas", {}).update(component_schemas(readings.MODELS))
            components["securitySchemes"] = {"sensorToken": {"type": "http", "scheme": "bearer"}}
            app.openapi_schema = schema
        return app.openapi_schema

    app.openapi = document  # type: ignore[method-assign]
