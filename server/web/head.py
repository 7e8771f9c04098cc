"""HEAD, once for every page: what GET would answer, without its body.

Link checkers, download managers and caches ask so before they fetch. The routes know only GET.
"""

from starlette.types import ASGIApp, Message, Receive, Scope, Send


class HeadAsGet:
    """Asks for the page as GET does and sends its headers alone; their length is that of the body left out."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return

        async def send_head(message: Message) -> None:
            if message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        await self.app({**scope, "method": "GET"}, receive, send_head)
