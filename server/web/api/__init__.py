"""The interfaces under /api/v1, one module a call; each has a ``router``. They alone are in the OpenAPI document."""

from fastapi import APIRouter

ROUTERS: tuple[APIRouter, ...] = ()
