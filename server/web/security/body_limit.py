"""Threat: a body so large that reading it fills the memory. Bodies over the limit are answered with 413, by their
declared length before anything is read, and by counting where no length is declared.

A request that tells its length in two ways is refused, and its line closed (RFC 9112, 6.1): a proxy that believes the
other one would take the rest of it for somebody's next request.

What was declared too long is still read and thrown away up to a bound: a server that closes the line in mid-upload
makes browsers show a network fault in place of our answer."""

import re
from collections.abc import Mapping
from contextlib import suppress

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.web.errors import error_response
from server.web.security.asgi import header

DRAINED_BYTES = 32_000_000


def too_long_text(limit: int) -> str:
    return f"That is more text than a form takes here ({limit // 1000:,} kB). Shorten it and send it again."


def is_more(digits: str, limit: int) -> bool:
    """Whether a number written in digits exceeds ``limit``. Python refuses to read one of thousands of digits."""
    plain = digits.lstrip("0")
    return len(plain) > len(str(limit)) or int(plain or "0") > limit


async def drain(receive: Receive) -> None:
    read = 0
    while read < DRAINED_BYTES:
        message = await receive()
        if message["type"] != "http.request" or not message.get("more_body"):
            return
        read += len(message.get("body", b""))


class BodyLimit:
    """``larger``: what else an address takes, by a pattern of its path: a file, where a form asks for one."""

    def __init__(self, app: ASGIApp, max_bytes: int, larger: Mapping[str, int] | None = None) -> None:
        self.app = app
        self.max_bytes = max_bytes
        self.larger = tuple((re.compile(pattern), limit) for pattern, limit in (larger or {}).items())

    def limit_of(self, path: str) -> int:
        return next((limit for pattern, limit in self.larger if pattern.fullmatch(path)), self.max_bytes)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        limit = self.limit_of(scope["path"])
        declared = header(scope, b"content-length")
        if declared is not None and header(scope, b"transfer-encoding") is not None:
            refusal = error_response(scope, 400, "This request tells its length in two ways.", {"Connection": "close"})
            await refusal(scope, receive, send)
            return
        if declared is not None and not (declared.isascii() and declared.isdigit()):
            await error_response(scope, 400, "The length of this request is not a number.")(scope, receive, send)
            return
        if declared is not None and is_more(declared, limit):
            with suppress(HTTPException):  # too slow for it as well: the answer is the same
                await drain(receive)
            await error_response(scope, 413, too_long_text(limit))(scope, receive, send)
            return
        read = 0

        async def counted() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > limit:
                raise HTTPException(413, too_long_text(limit))
            return message

        await self.app(scope, counted, send)
