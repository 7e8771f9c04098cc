"""Threat: a log that tells what a painter typed or holds the means to get in. One line a request: method, path
without its query and without the token of a link, status, time, request id. Control characters in a path are escaped,
so that nobody writes lines of their own. Any piece of a path that is long enough to be a token is left out as well; the
ids of records are shorter."""

import logging
import re
import time

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.web.logs import FIELDS
from server.web.security.public_links import redacted

log = logging.getLogger("umberday.access")
QUIET = ("/static/", "/healthz")
_TOKEN = re.compile(r"[A-Za-z0-9_-]{20,}")  # 120 bits and more; ids of records have 16 characters


def told_path(path: str) -> str:
    """The path as the log may hold it."""
    return _TOKEN.sub("…", redacted(path)).encode("unicode_escape").decode("ascii")


class AccessLog:
    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"].startswith(QUIET):
            await self.app(scope, receive, send)
            return
        started = time.perf_counter()
        status = 500

        async def send_noting_status(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self.app(scope, receive, send_noting_status)
        finally:
            taken_ms = (time.perf_counter() - started) * 1000
            path = told_path(scope["path"])
            request_id = scope.get("state", {}).get("request_id", "-")
            told = {"method": scope["method"], "path": path, "status": status, "ms": round(taken_ms)}
            fields = {FIELDS: {**told, "request_id": request_id}}
            log.info("%s %s %d %d ms %s", *told.values(), request_id, extra=fields)
