"""A real browser before a real server on a database of its own, with an eye on what the page says behind its back."""

import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timezone
from pathlib import Path

import pytest
import uvicorn
from fastapi import FastAPI
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request, ViewportSize, sync_playwright
from starlette.types import ASGIApp

from server.store.db import Database
from server.store.migrate import migrate
from server.web.app import create_app
from server.web.settings import Settings
from tests.browser.in_pieces import InPieces

CHROMIUM_NAMES = ("chromium", "chromium-browser")
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE: ViewportSize = {"width": 390, "height": 844}
DESK: ViewportSize = {"width": 1440, "height": 900}
START_LIMIT_S = 10.0


@dataclass(frozen=True)
class RunningServer:
    """``url`` has no slash at its end. ``app.state.clock`` may be set to move the day."""

    url: str
    app: FastAPI
    db: Database


def run_server(
    app: FastAPI, db: Database, port: int = 0, served: Callable[[ASGIApp], ASGIApp] = lambda app: app
) -> Iterator[RunningServer]:
    """Serve ``app`` on a free port, or on ``port``, in a thread of this process until the generator is closed.

    ``served`` puts something around it."""
    listener = socket.socket()
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("127.0.0.1", port))
    config = uvicorn.Config(served(app), log_config=None, access_log=False, ws="none", lifespan="on")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    limit = time.monotonic() + START_LIMIT_S
    while not server.started:
        assert time.monotonic() < limit, "the server did not start"
        time.sleep(0.02)
    yield RunningServer(f"http://127.0.0.1:{listener.getsockname()[1]}", app, db)
    server.should_exit = True
    thread.join(START_LIMIT_S)
    listener.close()


def run_demo(folder: Path, now: datetime) -> Iterator[RunningServer]:
    """Serve the demo studio of ``now`` from a database in ``folder``, with the clock as it runs."""
    import seed_demo

    url = f"sqlite:///{folder / 'demo.db'}"
    migrate(url)
    database = Database(url)
    seed_demo.seed(database, now)
    yield from run_server(create_app(Settings(url), database), database, served=InPieces)
    database.close()


@contextmanager
def open_browser() -> Iterator[Browser]:
    """The system's Chromium, without a window."""
    path = next((found for name in CHROMIUM_NAMES if (found := shutil.which(name))), None)
    assert path, "chromium is missing"
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=path, args=CHROMIUM_ARGUMENTS)
        yield launched
        launched.close()


@pytest.fixture
def db(tmp_path: Path) -> Iterator[Database]:
    url = f"sqlite:///{tmp_path / 'studio.db'}"
    migrate(url)
    database = Database(url)
    yield database
    database.close()


@pytest.fixture
def server(db: Database) -> Iterator[RunningServer]:
    """An empty studio. A test that needs records writes them through ``server.db`` and the services."""
    yield from run_server(create_app(Settings(str(db.url)), db), db)


@pytest.fixture(scope="session")
def demo_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningServer]:
    """The demo studio, for tests that only look; it is shared by all of them."""
    yield from run_demo(tmp_path_factory.mktemp("demo"), datetime.now(timezone.utc))


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with open_browser() as launched:
        yield launched


@dataclass
class Watch:
    """What pages did behind their back. ``expected_statuses`` are error answers that a test asks for on purpose."""

    complaints: list[str] = field(default_factory=list)
    foreign: list[str] = field(default_factory=list)
    expected_statuses: set[int] = field(default_factory=set)

    def follow(self, context: BrowserContext) -> None:
        context.on("console", self._on_console)
        context.on("weberror", lambda error: self.complaints.append(str(error.error)))
        context.on("request", self._on_request)

    def _on_console(self, message: ConsoleMessage) -> None:
        if message.type in {"error", "warning"}:
            if "Service Worker registration blocked by Playwright" in message.text:
                return
            if any(f"status of {status} " in message.text for status in self.expected_statuses):
                return
            self.complaints.append(f"{message.type}: {message.text}")

    def _on_request(self, request: Request) -> None:
        if not request.url.startswith(("http://127.0.0.1:", "data:", "blob:")):
            self.foreign.append(request.url)

    def assert_quiet(self) -> None:
        """No error or warning in the console, no request to another host."""
        assert not self.complaints
        assert not self.foreign


@pytest.fixture
def watch() -> Watch:
    return Watch()


def _context(browser: Browser, watch: Watch, **options) -> Iterator[Page]:
    # The worker has tests of its own; elsewhere it would answer where the server should, and look ahead meanwhile.
    options = {"service_workers": "block"} | options
    context = browser.new_context(locale="en-GB", timezone_id="UTC", **options)
    context.set_default_timeout(10_000)
    context.set_default_navigation_timeout(30_000)  # a whole page on a busy machine
    watch.follow(context)
    yield context.new_page()
    context.close()
    watch.assert_quiet()


@pytest.fixture
def page(browser: Browser, watch: Watch) -> Iterator[Page]:
    """A page at desk size. When the test ends, it must have been quiet."""
    yield from _context(browser, watch, viewport=DESK)


@pytest.fixture
def phone(browser: Browser, watch: Watch) -> Iterator[Page]:
    """A page on a phone, by touch."""
    yield from _context(browser, watch, viewport=PHONE, has_touch=True, is_mobile=True)


@pytest.fixture
def plain_page(browser: Browser, watch: Watch) -> Iterator[Page]:
    """A page without script: everything must work here too."""
    yield from _context(browser, watch, viewport=DESK, java_script_enabled=False)
