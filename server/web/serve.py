"""Runs the server: the demo, or the painter's own studio, which others may share."""

import gc
import logging
import os
import signal
import socket
import sys
import threading
import webbrowser
from dataclasses import replace
from datetime import datetime, timezone
from pathlib import Path

import uvicorn
from starlette.types import ASGIApp

from server.services import planning_search, studios
from server.services.errors import NotFound, Refused
from server.services.people import console, sealing
from server.services.search_pool import SEARCHES
from server.store.copies import CopyFailed
from server.store.db import Database
from server.store.migrate import NewerDatabase, migrate
from server.web.app import create_app
from server.web.security.slow_clients import PunctualProtocol
from server.web.settings import (
    DEMO_FILE,
    NotAllowed,
    Settings,
    check_host,
    data_dir,
    default_url,
    has_display,
    local_zone,
    public_address,
    search_processes,
    secret_file,
)

GRACE_S = 5
COLLECT = (5_000, 4, 1_000)
SWITCH_S = 0.0005  # a page passes between threads several times, and may wait that long each time while one is working
log = logging.getLogger("umberday.server")


def run_demo(host: str, port: int, *, fresh: bool = False) -> int:
    """The demo on its own database, filled when there is nothing in it yet. Returns the exit status."""
    settings = Settings(default_url(DEMO_FILE), host, port)
    make_folder()
    if fresh:
        put_aside(data_dir() / DEMO_FILE)
    if not bring_up_to_date(settings):
        return 1
    db = Database(settings.database_url)
    if is_empty(db):
        import seed_demo

        seed_demo.seed(db, datetime.now(timezone.utc))
    return run(settings, db)


def run_studio(host: str, port: int, *, shared: bool = False) -> int:
    """The painter's own studio, or with ``shared`` one that people sign in to. Returns the exit status."""
    try:
        settings = studio_settings(host, port, shared=shared)
    except NotAllowed as refusal:
        sys.stderr.write(f"{refusal}\n")
        return 1
    make_folder()
    if not bring_up_to_date(settings):
        return 1
    db = Database(settings.database_url, secret_file=settings.secret_file)
    if settings.shared:
        seal_seeds(db)
    return run(settings, db)


def studio_settings(host: str, port: int, *, shared: bool) -> Settings:
    """The settings of the own studio. Raises ``NotAllowed``."""
    url = default_url()
    settings = Settings(url, host, port, time_zone=local_zone(), secret_file=secret_file(url))
    if not shared:
        return settings
    public = public_address(host)
    names = tuple(dict.fromkeys((*settings.host_names, *public.host_names)))
    return replace(
        settings,
        shared=True,
        host_names=names,
        https=public.https,
        proxies=public.proxies,
        public_url=f"{public.urls[0].rstrip('/')}/" if public.urls else "",
    )


def seal_seeds(db: Database) -> None:
    """Seal what was stored readable before there was a key; say where codes cannot be checked for want of it."""
    try:
        lost = sealing.seal_all(db)
    except Refused:
        sys.stderr.write(
            f"Seeds of one-time codes stay as they are: {db.secret_file} cannot be made or holds no key.\n"
        )
        return
    if lost:
        sys.stderr.write(
            f"Accounts whose one-time codes cannot be checked: {lost}. {db.secret_file} is missing, or not the key "
            "that sealed them. Put it back and start again. Without it they come in by a recovery code, or by a new "
            "password: ./umberday new-password E-MAIL\n"
        )


def tell_first_owner(db: Database, told_address: str) -> None:
    """Show the code for the first owner, while there is none."""
    code = console.first_owner_code(db, datetime.now(timezone.utc))
    if code is not None:
        sys.stdout.write(
            f"Nobody owns this studio yet. Open {told_address}first-owner and give this code, within an hour:\n"
            f"    {code}\n"
        )
        sys.stdout.flush()


def new_password(email: str) -> int:
    """Make a code for somebody who forgot their password. Returns the exit status."""
    settings = Settings(default_url())
    make_folder()
    if not bring_up_to_date(settings):
        return 1
    db = Database(settings.database_url)
    try:
        code = console.password_code(db, email, datetime.now(timezone.utc))
    finally:
        db.close()
    if code is None:
        sys.stderr.write(f"Nobody signs in as {email} here.\n")
        return 1
    sys.stdout.write(f"Open /new-password in the studio and give this code, within an hour:\n    {code}\n")
    return 0


def is_empty(db: Database) -> bool:
    """Whether no studio was ever made in the database."""
    try:
        with db.read() as session:
            studios.the_studio(session)
    except NotFound:
        return True
    return False


def bring_up_to_date(settings: Settings) -> bool:
    """Migrate the database; False, with a word to the person at the keyboard, when this program is too old for it, or
    when an SQLite file cannot be copied aside first."""
    try:
        migrate(settings.database_url, told=_say)
    except (NewerDatabase, CopyFailed) as refusal:
        sys.stderr.write(f"{refusal}\n")
        return False
    except ModuleNotFoundError as missing:
        if missing.name != "psycopg":
            raise
        sys.stderr.write("PostgreSQL needs its driver: .venv/bin/python -m pip install 'psycopg[binary]'\n")
        return False
    return True


def _say(line: str) -> None:
    sys.stderr.write(f"{line}\n")


def run(settings: Settings, db: Database) -> int:
    try:
        check_host(settings.host, shared=settings.shared)
        settings = replace(settings, searches=search_processes())
        listener = listen(settings.host, settings.port)
    except NotAllowed as refusal:
        sys.stderr.write(f"{refusal}\n")
        return 1
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, _end)
    planning_search.prepare(data_dir(), settings.searches)
    try:
        app = create_app(replace(settings, works_ahead=True), db)
        run_evenly()
        told_address = settings.public_url or address(listener)
        if settings.shared:
            tell_first_owner(db, told_address)
        AnnouncedServer(app, told_address, settings.proxies).run(sockets=[listener])
    except KeyboardInterrupt:
        pass
    finally:
        listener.close()
        SEARCHES.close()
        db.close()
    return 0


def run_evenly() -> None:
    """Let no page wait long for another thread, or for the collector of circular rubbish.

    A full collection looks at every row and drawing that is kept, a second in a large install, and finds next to
    nothing: young objects alone are looked through, and the old ones once in many rounds.
    """
    sys.setswitchinterval(SWITCH_S)
    gc.collect()
    gc.freeze()
    gc.set_threshold(*COLLECT)


def _end(*_: object) -> None:
    """A service manager's stop ends as Ctrl-C does, after what is under way was answered: with everything closed."""
    raise KeyboardInterrupt


def listen(host: str, port: int) -> socket.socket:
    """A listening socket of our own, so that a taken port is told in plain words. Raises ``NotAllowed``."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except (OSError, OverflowError) as fault:
        listener.close()
        raise NotAllowed(f"Port {port} cannot be used here ({fault}). Try another: --port {port % 60000 + 1}") from None
    return listener


def address(listener: socket.socket) -> str:
    """Where a browser on this machine finds the listener; all addresses at once are no address to open."""
    host, port = listener.getsockname()[:2]
    host = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104  (named, not bound)
    return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"


class AnnouncedServer(uvicorn.Server):
    """Tells its address once it answers, and opens a browser there when there is a screen to open it on."""

    def __init__(self, app: ASGIApp, told_address: str, proxies: tuple[str, ...] = ()) -> None:
        """``proxies``: whose word is taken on who calls."""
        self.told_address = told_address
        config = uvicorn.Config(
            app,
            log_config=None,
            access_log=False,
            server_header=False,
            http=PunctualProtocol,
            proxy_headers=bool(proxies),
            forwarded_allow_ips=list(proxies),
            ws="none",
            lifespan="on",
            timeout_graceful_shutdown=GRACE_S,
        )
        super().__init__(config)

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.should_exit:
            return
        sys.stdout.write(f"Umberday is at {self.told_address} (Ctrl-C ends it)\n")
        sys.stdout.flush()
        log.info("started")
        if has_display():
            webbrowser.open(self.told_address)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        await super().shutdown(sockets)
        log.info("stopped")


def make_folder() -> Path:
    """The data directory, readable by its owner alone."""
    folder = data_dir()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def put_aside(database: Path) -> None:
    """Move a database out of the way without losing it: the next free name, with its write-ahead log."""
    if not database.exists():
        return
    number = 1
    while (kept := database.with_name(f"{database.stem}-{number}{database.suffix}")).exists():
        number += 1
    for suffix in ("", "-wal", "-shm"):
        part = Path(f"{database}{suffix}")
        if part.exists():
            os.replace(part, f"{kept}{suffix}")
