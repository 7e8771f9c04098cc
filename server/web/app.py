"""Puts the web server together: settings in, ASGI app out."""

from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from datetime import datetime, timezone

from anyio.to_thread import current_default_thread_limiter
from fastapi import FastAPI
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware

from server.services import studios
from server.services.people import passwords
from server.services.readings.files import MOST_BYTES
from server.store.db import Database
from server.store.migrate import migrate
from server.web import api, errors, pages
from server.web.ahead import Ahead
from server.web.api import openapi
from server.web.goes_first import GoesFirst
from server.web.head import HeadAsGet
from server.web.render import Templates
from server.web.security.access_log import AccessLog
from server.web.security.body_limit import BodyLimit
from server.web.security.crash_page import CrashPage
from server.web.security.cross_site import CrossSiteCheck
from server.web.security.guard import Guard
from server.web.security.headers import SecurityHeaders
from server.web.security.hosts import HostCheck
from server.web.security.public_address import PublicAddress
from server.web.security.request_id import RequestId
from server.web.security.slow_clients import Pace
from server.web.settings import Settings
from server.web.static_files import hashed_files

DESCRIPTION = """How oil paint mixes are composed, how their layers dry and whether one may go over another.

Parts are by volume. Times are days after painting unless a name ends in `_at`. Fields are added, never renamed."""

# A file of readings with its form; five years of them by the ten minutes are some ten megabytes.
LARGER = {r"/room/[^/]+/import": MOST_BYTES + 100_000}


def layers(settings: Settings) -> list[Middleware]:
    """What is around every request, outermost first."""
    return [
        Middleware(RequestId),
        Middleware(AccessLog),
        Middleware(PublicAddress, https=settings.https),
        Middleware(SecurityHeaders, https=settings.https),
        Middleware(CrashPage),
        Middleware(HostCheck, allowed=settings.host_names, own_number=settings.shared),
        Middleware(Pace),
        Middleware(BodyLimit, max_bytes=settings.max_body_bytes, larger=LARGER),
        Middleware(CrossSiteCheck),
        Middleware(HeadAsGet),
        Middleware(GoesFirst),
        Middleware(GZipMiddleware, minimum_size=800, compresslevel=5),
        Middleware(Guard, shared=settings.shared),
    ]


def lifespan(settings: Settings) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    @asynccontextmanager
    async def run(app: FastAPI) -> AsyncIterator[None]:
        current_default_thread_limiter().total_tokens = settings.threads
        if not settings.works_ahead:
            yield
            return
        app.state.ahead = Ahead(app.state.db.read, lambda: datetime.now(timezone.utc))
        app.state.ahead.start()
        yield
        app.state.ahead.stop()

    return run


def create_app(settings: Settings, db: Database | None = None) -> FastAPI:
    """The app on ``db``, or on the database of the settings, brought up to date and with a studio in it."""
    if db is None:
        migrate(settings.database_url)
        db = Database(settings.database_url, secret_file=settings.secret_file)
    studios.ensure_studio(db, settings.time_zone)
    if settings.shared:
        passwords.prepare()
    app = FastAPI(
        title="Umberday",
        version="1",
        description=DESCRIPTION,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/v1/openapi.json",
        middleware=layers(settings),
        lifespan=lifespan(settings),
    )
    files = hashed_files(settings.static_dir)
    app.state.db = db
    app.state.settings = settings
    app.state.static_files = files
    app.state.templates = Templates(settings.templates_dir, files)
    errors.install(app)
    for router in pages.ROUTERS:
        app.include_router(router, include_in_schema=False)
    for router in api.ROUTERS:
        app.include_router(router, prefix="/api/v1")
    openapi.install(app)
    app.mount("/static", files, name="static")
    return app
