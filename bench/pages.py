"""CPU of Today and Calendar for a large studio, against an empty page of the same number of bytes."""

import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime, timezone
from functools import partial
from pathlib import Path
from urllib.parse import urlencode

from sqlalchemy import event
from starlette.responses import HTMLResponse
from starlette.types import Message, Scope

from bench.studio import fill
from bench.timing import cpu_s, row, verdict
from server.store.db import Database
from server.store.migrate import migrate
from server.web.app import create_app
from server.web.settings import Settings

PANELS = 200
LAYERS_EACH = 6
REPEATS = 9
FORM = (b"content-type", b"application/x-www-form-urlencoded")


class Pages:
    """The app called directly, so that only the server's own work is measured."""

    def __init__(self, folder: str, panel_count: int, layers_each: int = LAYERS_EACH) -> None:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        migrate(url)
        self.db = Database(url)
        self.now = datetime.now(timezone.utc)
        fill(self.db, self.now, panel_count, layers_each)
        self.app = create_app(Settings(url), self.db)
        self.app.state.clock = lambda: self.now
        self.empty_bytes = 0
        self.app.add_api_route("/empty", self._empty, methods=["GET"], include_in_schema=False)
        # The route must come before the catch-all of static files.
        self.app.router.routes.insert(0, self.app.router.routes.pop())

    def _empty(self) -> HTMLResponse:
        return HTMLResponse("x" * self.empty_bytes)

    def get(self, path: str) -> bytes:
        return self._asked("GET", path, b"", 200)

    def post(self, path: str, form: Mapping[str, str]) -> None:
        """Press a button that leads on."""
        self._asked("POST", path, urlencode(form).encode(), 303)

    def _asked(self, method: str, path: str, body: bytes, expected: int) -> bytes:
        import asyncio
        from concurrent.futures import ThreadPoolExecutor

        # In a thread of its own: whoever measures may keep a loop in theirs, as the browser's tests do.
        with ThreadPoolExecutor(1) as thread:
            status, answer = thread.submit(asyncio.run, self._answer(method, path, body)).result()
        if status != expected:
            raise RuntimeError(f"{path} answered {status}")
        return answer

    async def _answer(self, method: str, path: str, body: bytes) -> tuple[int, bytes]:
        path_only, _, query = path.partition("?")
        scope: Scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": path_only,
            "raw_path": path_only.encode(),
            "query_string": query.encode(),
            "root_path": "",
            "headers": [(b"host", b"127.0.0.1:8000"), (b"accept-encoding", b"identity"), FORM],
            "client": ("127.0.0.1", 50000),
            "server": ("127.0.0.1", 8000),
            "state": {},
        }
        chunks: list[bytes] = []
        status = 0

        async def receive() -> Message:
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            else:
                chunks.append(message.get("body", b""))

        await self.app(scope, receive, send)
        return status, b"".join(chunks)

    def queries(self, path: str) -> int:
        count = 0

        def counted(*_: object) -> None:
            nonlocal count
            count += 1

        event.listen(self.db.engine, "before_cursor_execute", counted)
        try:
            self.get(path)
        finally:
            event.remove(self.db.engine, "before_cursor_execute", counted)
        return count


@contextmanager
def pages(panel_count: int) -> Iterator[Pages]:
    with tempfile.TemporaryDirectory() as folder:
        opened = Pages(folder, panel_count)
        try:
            yield opened
        finally:
            opened.db.close()


def run() -> None:
    print(f"Pages of a studio with {PANELS} panels of {LAYERS_EACH} layers (CPU)")
    with pages(PANELS) as large, pages(5) as small:
        for name, path in (("Today", "/"), ("Calendar", "/calendar")):
            first = cpu_s(partial(large.get, path), 1)
            body = large.get(path)
            warm = cpu_s(partial(large.get, path), REPEATS)
            large.empty_bytes = len(body)
            empty = cpu_s(lambda: large.get("/empty"), REPEATS)
            row(f"{name}: bytes", f"{len(body) / 1000:,.0f} kB")
            row(f"{name}: first time, nothing kept yet", f"{first * 1000:.0f} ms")
            row(f"{name}: again", f"{warm * 1000:.1f} ms")
            row(f"{name}: an empty page of the same size", f"{empty * 1000:.1f} ms")
            target = verdict(warm / empty, 4.0) if name == "Today" else ""
            row(f"{name}: again over empty", f"{warm / empty:.1f} x", target)
            counts = large.queries(path), small.queries(path)
            row(f"{name}: queries with {PANELS} and with 5 panels", f"{counts[0]} and {counts[1]}")
