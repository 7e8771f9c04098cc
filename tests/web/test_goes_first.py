"""A request counts as waited for from its arrival until its answer begins, but for the time its body takes."""

import asyncio
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from starlette.types import Message, Receive, Scope, Send

from server.services.give_way import Road
from server.web.goes_first import GoesFirst

SCOPE: Scope = {"type": "http", "method": "POST", "path": "/", "headers": []}


def on_its_way(road: Road, app: Any) -> list[bool]:
    """Whether the road is clear each time ``app`` receives and sends."""
    seen: list[bool] = []

    async def receive() -> Message:
        seen.append(road.is_clear)
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        seen.append(road.is_clear)

    async def work() -> None:
        await GoesFirst(app, road)(SCOPE, receive, send)

    with ThreadPoolExecutor(1) as thread:  # whoever runs these tests may have a loop of their own
        thread.submit(asyncio.run, work()).result()
    return seen


def test_it_counts_while_it_is_worked_on_and_not_while_anything_is_on_its_way() -> None:
    road, at_work = Road(), list[bool]()

    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        at_work.append(road.is_clear)
        await receive()
        at_work.append(road.is_clear)
        await send({"type": "http.response.start", "status": 200, "headers": []})
        at_work.append(road.is_clear)
        await send({"type": "http.response.body", "body": b""})
        await receive()

    assert on_its_way(road, app) == [True] * 4
    assert at_work == [False, False, True]
    assert road.is_clear


def test_a_fault_ends_the_counting() -> None:
    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        raise RuntimeError("broken")

    road = Road()
    with pytest.raises(RuntimeError, match="broken"):
        on_its_way(road, app)
    assert road.is_clear
