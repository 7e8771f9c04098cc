"""Threat: connections that are opened by the thousand and say next to nothing, until none is left for anybody else.
What is sent before an answer must come at a pace: the head of a request within some seconds, its body not slower than
the slowest network that people have. Who is slower is let go."""

import time
from asyncio import TimerHandle, Transport
from typing import Any

from anyio import fail_after
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 20.0
BODY_S, BODY_BYTES_PER_S = 30.0, 1_000.0


class Pace:
    """Holds the body of each request to a pace: ``BODY_S`` for nothing at all, and longer for what came in."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        began, read, is_whole = 0.0, 0, False

        async def paced() -> Message:
            nonlocal began, read, is_whole
            if is_whole:  # what comes then is that somebody went away, which may take as long as it likes
                return await receive()
            began = began or time.monotonic()  # from when it is asked for: a busy server is not the sender's fault
            left = BODY_S + read / BODY_BYTES_PER_S - (time.monotonic() - began)
            try:
                with fail_after(max(0.0, left)):
                    message = await receive()
            except TimeoutError:
                raise HTTPException(408, headers={"Connection": "close"}) from None
            read += len(message.get("body", b""))
            is_whole = not message.get("more_body")
            return message

        await self.app(scope, paced, send)


class PunctualProtocol(H11Protocol):
    """Closes a connection on which the head of a request does not arrive in time."""

    head_s = HEAD_S
    _ends: TimerHandle | None = None

    def connection_made(self, transport: Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._watch()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop()
        super().connection_lost(exc)

    @property
    def _waits_for_a_head(self) -> bool:
        cycle: Any = self.cycle
        return cycle is None or bool(cycle.response_complete)

    def _watch(self) -> None:
        if not self._waits_for_a_head:
            self._stop()
        elif self._ends is None:
            self._ends = self.loop.call_later(self.head_s, self._let_go)

    def _stop(self) -> None:
        if self._ends is not None:
            self._ends.cancel()
            self._ends = None

    def _let_go(self) -> None:
        self._ends = None
        if self._waits_for_a_head and not self.transport.is_closing():
            self.transport.close()
