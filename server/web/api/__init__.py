"""The interfaces under /api/v1, one module a call; each has a ``router``. They alone are in the OpenAPI document."""

from fastapi import APIRouter

from server.web.api import (
    boards,
    history,
    learning,
    people,
    plans,
    quotes,
    readings,
    records,
    sharing,
    stateless,
    studio,
)

ROUTERS: tuple[APIRouter, ...] = (
    stateless.router,
    boards.router,
    records.router,
    history.router,
    studio.router,
    plans.router,
    quotes.router,
    learning.router,
    sharing.router,
    people.router,
    readings.router,
)
