"""The pages, one module an area; each has a ``router``. A new area is one import and one line here."""

from fastapi import APIRouter

from server.web.pages import cautions, health, history, layers, panels, parts, shelf, touch_tests

ROUTERS: tuple[APIRouter, ...] = (
    health.router,
    parts.router,
    shelf.router,
    cautions.router,
    panels.router,
    layers.router,
    touch_tests.router,
    history.router,
)
