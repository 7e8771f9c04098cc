"""The pages, one module an area; each has a ``router``. A new area is one import and one line here."""

from fastapi import APIRouter

from server.web.pages import (
    calendar,
    cautions,
    health,
    history,
    how,
    layers,
    mixes,
    mixing,
    offline,
    panels,
    parts,
    room,
    rules,
    shelf,
    studio,
    today,
    touch_tests,
    wall,
)

ROUTERS: tuple[APIRouter, ...] = (
    health.router,
    today.router,
    wall.router,
    offline.router,
    calendar.router,
    parts.router,
    shelf.router,
    mixes.router,
    mixing.router,
    rules.router,
    room.router,
    studio.router,
    how.router,
    cautions.router,
    panels.router,
    layers.router,
    touch_tests.router,
    history.router,
)
