"""Threat: DNS rebinding. A page of a stranger makes its own name resolve to 127.0.0.1 and reads the studio through
the painter's browser, which then counts both as one origin. The name it calls us by gives it away, so only names of
this machine (or those set up on purpose) are answered. On a shared install the bare number that the call came in at is
answered too: a number is no name that a stranger could point here."""

import re

from starlette.types import ASGIApp, Receive, Scope, Send

from server.web.errors import error_response
from server.web.security.asgi import header_values

# A name or number, and a port: nothing that would read as another address in a link made of it ("a:80@b").
_HOST = re.compile(r"([A-Za-z0-9._-]+|\[[0-9A-Fa-f:.]+\])(?::[0-9]{1,5})?")


def host_name(value: str) -> str:
    """``localhost:8000`` -> ``localhost``, ``[::1]:8000`` -> ``[::1]``; "" for what is no host."""
    found = _HOST.fullmatch(value)
    return found[1].lower() if found else ""


class HostCheck:
    def __init__(self, app: ASGIApp, allowed: tuple[str, ...], own_number: bool = False) -> None:
        self.app = app
        self.allowed = frozenset(allowed)
        self.own_number = own_number

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        given = header_values(scope, b"host")
        if len(given) == 1 and self._is_ours(host_name(given[0]), scope):
            await self.app(scope, receive, send)
            return
        await error_response(scope, 400, "This address is not one of the studio's own. Use http://127.0.0.1.")(
            scope, receive, send
        )

    def _is_ours(self, name: str, scope: Scope) -> bool:
        if name in self.allowed:
            return True
        server = scope.get("server")
        return self.own_number and server is not None and name.strip("[]") == str(server[0]).lower()
