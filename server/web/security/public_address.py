"""Threat: a studio behind a proxy that believes it is called by http. Its own forms would then look as if another site
had sent them, and its cookies would travel without Secure. Where the settings say that the public address is https,
every request counts as https, whatever the way from the proxy to here."""

from starlette.types import ASGIApp, Receive, Scope, Send


class PublicAddress:
    def __init__(self, app: ASGIApp, https: bool) -> None:
        self.app = app
        self.https = https

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if self.https and scope["type"] == "http":
            scope["scheme"] = "https"
        await self.app(scope, receive, send)
