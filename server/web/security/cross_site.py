"""Threat: cross-site request forgery. A page of a stranger makes the painter's browser post to the studio.

Browsers say where a request comes from in Sec-Fetch-Site, on loopback and https; ``same-site`` is refused as well,
for another port of this machine is a stranger. Browsers that leave it out send Origin with every POST, which must be
the very address that was called. Programs that send neither are no browser and carry nobody's authority, so they
pass. Requests that only read always pass: they change nothing here."""

from starlette.types import ASGIApp, Receive, Scope, Send

from server.web.errors import error_response
from server.web.security.asgi import header

READING = frozenset({"GET", "HEAD", "OPTIONS"})


def comes_from_here(scope: Scope) -> bool:
    """Whether a request that may change something was sent by one of our own pages, or by no browser at all."""
    fetch_site = header(scope, b"sec-fetch-site")
    if fetch_site is not None:
        return fetch_site in {"same-origin", "none"}
    origin = header(scope, b"origin")
    if origin is not None:
        return origin.lower() == f"{scope['scheme']}://{(header(scope, b'host') or '').lower()}"
    return True


class CrossSiteCheck:
    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["method"] not in READING and not comes_from_here(scope):
            text = "This was sent from another site, so nothing was changed. Open the studio's own page and try again."
            await error_response(scope, 403, text)(scope, receive, send)
            return
        await self.app(scope, receive, send)
