"""The interfaces under /api/v1, one module a call; each has a ``router``. They alone are in the OpenAPI document."""

from fastapi import APIRouter

from server.web.api import readings, stateless

ROUTERS: tuple[APIRouter, ...] = (stateless.router, readings.router)
