"""Counts the requests that somebody waits for, so that what nobody waits for gives way (``services/give_way.py``)."""

from contextlib import ExitStack

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.services.give_way import ROAD, Road


class GoesFirst:
    """From when a request is here until its answer begins; while its body is on its way it does not count."""

    def __init__(self, app: ASGIApp, road: Road = ROAD) -> None:
        self.app = app
        self.road = road

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        is_answered = False
        with ExitStack() as stack:
            stack.enter_context(self.road.answering())

            async def received() -> Message:
                if is_answered:  # what comes then is that somebody went away, which may take as long as it likes
                    return await receive()
                with self.road.resting():
                    return await receive()

            async def sent(message: Message) -> None:
                nonlocal is_answered
                if not is_answered:
                    is_answered = True
                    stack.close()
                await send(message)

            await self.app(scope, received, sent)
