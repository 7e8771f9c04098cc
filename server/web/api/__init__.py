"""The interfaces under /api/v1, one module a call; each has a ``router``. They alone are in the OpenAPI document."""

from fastapi import APIRouter

from server.web.api import (
    boards,
    data,
    history,
    learning,
    own_feeds,
    painters,
    people,
    plans,
    purges,
    questions,
    quotes,
    readings,
    records,
    rooms,
    rules,
    sharing,
    sheets,
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
    own_feeds.router,
    people.router,
    questions.router,
    rooms.router,
    rules.router,
    sheets.router,
    painters.router,
    purges.router,
    data.router,
    readings.router,
)
