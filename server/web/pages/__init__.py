"""The pages, one module an area; each has a ``router``. A new area is one import and one line here."""

from fastapi import APIRouter

from server.web.pages import cautions, health, parts, shelf

ROUTERS: tuple[APIRouter, ...] = (
    health.router,
    parts.router,
    shelf.router,
    cautions.router,
)
