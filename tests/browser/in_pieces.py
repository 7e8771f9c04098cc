"""A page as a slow network brings it: in pieces, so that a browser shows what is there and moves it when more comes."""

import asyncio
import re
from collections.abc import Iterator

from starlette.types import ASGIApp, Message, Receive, Scope, Send

ASKED = "x-in-pieces"  # a request with this header is answered so; it tells the pause between pieces in seconds
PIECES = 14  # as many come one by one, from the head of the page down; the rest comes as a whole
LEAST = 80  # bytes of a piece, at least
PAUSE_S = 0.02  # longer than a frame of a screen, while nothing else keeps the browser busy
_END = re.compile(rb"</(a|button|form|h1|li|p|svg)>")


class InPieces:
    """Sends HTML in pieces to whoever asks for it; all else as it is."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers: list[tuple[bytes, bytes]] = scope.get("headers", [])
        pause_s = next((float(value) for name, value in headers if name == ASKED.encode()), None)
        if pause_s is not None:
            scope["headers"] = [(name, value) for name, value in headers if name != b"accept-encoding"]
        await self.app(scope, receive, send if pause_s is None else _cut(send, pause_s))


def _cut(send: Send, pause_s: float) -> Send:
    is_page = False

    async def cut(message: Message) -> None:
        nonlocal is_page
        if message["type"] == "http.response.start":
            is_page = any(value.startswith(b"text/html") for _, value in message["headers"])
        if message["type"] == "http.response.body" and is_page:
            for piece in _pieces(message["body"]):
                await send({"type": "http.response.body", "body": piece, "more_body": True})
                await asyncio.sleep(pause_s)
            message = {**message, "body": b""}
        await send(message)

    return cut


def _pieces(page: bytes) -> Iterator[bytes]:
    """Cut after links, buttons, paragraphs and the like: after each of them a reader could see the page."""
    start = 0
    ends = (found.end() for found in _END.finditer(page, max(page.find(b"<main"), 0)))
    for _ in range(PIECES):
        end = next((end for end in ends if end - start >= LEAST), len(page))
        yield page[start:end]
        start = end
    yield page[start:]
