"""Threat: an error page that shows a stack trace, a query or a file's path. Whatever a page raises, the reader gets
a plain page with the request's id; the trace goes to the log alone (the exception goes on to the server, which
writes it there). Somebody who goes away in the middle of what they send is no fault: else anybody could fill the log
with traces, or hide something in them."""

import logging

from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.web.errors import error_response

log = logging.getLogger("umberday.faults")


class CrashPage:
    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        started = False

        async def send_noting_start(message: Message) -> None:
            nonlocal started
            started = started or message["type"] == "http.response.start"
            await send(message)

        try:
            await self.app(scope, receive, send_noting_start)
        except ClientDisconnect:
            log.info("request %s: whoever sent it went away", scope.get("state", {}).get("request_id", "-"))
        except Exception:
            if scope["type"] == "http":
                log.error("request %s failed, its trace follows", scope.get("state", {}).get("request_id", "-"))
            if scope["type"] == "http" and not started:
                await error_response(scope, 500, "")(scope, receive, send)
            raise
