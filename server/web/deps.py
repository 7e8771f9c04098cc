"""What a page is handed: the database, the person, the moment, and the form that was posted.

A page reads::

    @router.get("/panels/{uid}")
    def panel(page: Page, uid: str) -> Response:
        with page.db.read() as session:
            board = panel_page(session, page.actor, uid, page.now, page.zone)
        return page.render("panels/panel.html", board)

A form that saves a record goes through ``pages/record_forms.py``, a bare button through ``pages/changes.py``; both
open ``page.unit``, one transaction and one entry of the history, and answer with ``page.saved``.

Tests override the clock with ``app.dependency_overrides[get_now]`` or ``app.state.clock``.
"""

import re
from collections.abc import AsyncIterator, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from copy import copy
from dataclasses import dataclass, replace
from datetime import date, datetime, timezone
from functools import cached_property
from typing import Annotated, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fastapi import Depends
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from server.services import history, studios
from server.services.access import Actor
from server.services.errors import NotFound
from server.services.history import HistoryEntry
from server.services.people.sessions import Identity
from server.services.roles import Permission
from server.services.sendings import refuse_key_of_another
from server.services.studios import Choices
from server.services.unit import Unit, unit
from server.store.db import Database
from server.web.forms import key_of_sending
from server.web.locales import manner_of
from server.web.manner import METRIC, Manner, tell_as
from server.web.render import DONE_COOKIE, Flash, render, see_other, wants_fragment
from server.web.settings import Settings

MAX_FIELDS = 2000
SENDING = "key_of_sending"  # where the request keeps it
HAPPENED_AT = "Umberday-Happened-At"  # sent by static/worker.js
FOR_PROGRAMS = re.compile(r"/api/|/feeds?/|/data/|/panels/[^/]+/record/")  # metric and ISO, whoever asks
AS_WRITTEN = re.compile(r"/data/import")  # a page, but of lists: their figures stay as they are written
PAINTER = "painter"  # who acts on a single-user install


def db_of(request: Request) -> Database:
    db: Database = request.app.state.db
    return db


def now_of(request: Request) -> datetime:
    """The present moment, aware, in UTC."""
    clock = getattr(request.app.state, "clock", None)
    now: datetime = clock() if clock else datetime.now(timezone.utc)
    return now


# Asynchronous, since they wait for nothing: others are carried to a thread and back.
async def get_db(request: Request) -> Database:
    return db_of(request)


async def get_now(request: Request) -> datetime:
    return now_of(request)


@dataclass(frozen=True, slots=True)
class StudioFacts:
    """What every page knows of its studio."""

    id: int
    name: str
    time_zone: str
    is_invented: bool
    choices: Choices


def get_studio(db: Database) -> StudioFacts:
    """The one studio of a single-user install."""
    with db.read() as session:
        studio = studios.the_studio(session)
        assert studio.id is not None
        return StudioFacts(studio.id, studio.name, studio.time_zone, studio.is_invented, studios.choices_of(studio))


class PageRequest:
    """One request of one person, with what pages need at hand. The studio is read when first asked for.

    Where the install is shared, the guard found out who asks; elsewhere it is the painter in the one studio.
    """

    def __init__(self, request: Request, db: Database, now: datetime) -> None:
        self.request = request
        self.db = db
        self.now = now
        settings: Settings = request.app.state.settings
        self.is_shared = settings.shared
        self.who: Identity | None = getattr(request.state, "identity", None)

    @cached_property
    def studio(self) -> StudioFacts:
        """Raises ``NotFound`` for somebody who is in none."""
        if not self.is_shared:
            return get_studio(self.db)
        if self.who is None or self.who.studio is None:
            raise NotFound
        chosen = self.who.studio
        return StudioFacts(chosen.id, chosen.name, chosen.time_zone, chosen.is_invented, studios.AS_USUAL)

    @cached_property
    def actor(self) -> Actor:
        """Raises ``NotFound`` for somebody who is in no studio."""
        if not self.is_shared:
            return Actor(name=PAINTER, studio_id=self.studio.id)
        if self.who is None:
            raise NotFound
        return self.who.actor

    def at(self, now: datetime) -> "PageRequest":
        """The same request at another moment."""
        other = copy(self)
        other.now = now
        return other

    @property
    def identity(self) -> Identity:
        """Who is signed in. Raises ``NotFound`` where nobody is."""
        if self.who is None:
            raise NotFound
        return self.who

    @property
    def has_studio(self) -> bool:
        """Whether there is a studio to show anything of."""
        return not self.is_shared or (self.who is not None and self.who.studio is not None)

    @property
    def person_name(self) -> str:
        """Who is signed in, "" where nobody does."""
        return self.who.name if self.who else ""

    def may(self, permission: Permission) -> bool:
        """Whether the person's role has a permission; templates offer by it what can be done."""
        return self.has_studio and self.actor.may(permission)

    @cached_property
    def zone(self) -> ZoneInfo:
        """The studio's time zone, in which days begin and times are shown."""
        if not self.has_studio:
            return ZoneInfo("UTC")
        try:
            return ZoneInfo(self.studio.time_zone)
        except (ZoneInfoNotFoundError, ValueError):
            return ZoneInfo("UTC")

    @cached_property
    def manner(self) -> Manner:
        """How the studio wants things told, the rest as the device's language asks."""
        choices = self._choices() if self.has_studio else Choices()
        return manner_of(choices, self.request.headers.get("Accept-Language", ""))

    def _choices(self) -> Choices:
        if self.is_shared:
            with self.db.read() as session:
                return studios.choices_of(studios.get(session, self.actor))
        return self.studio.choices

    @property
    def today(self) -> date:
        """The studio's day."""
        return self.now.astimezone(self.zone).date()

    @property
    def studio_name(self) -> str:
        return self.studio.name if self.has_studio else ""

    @property
    def is_invented(self) -> bool:
        return self.has_studio and self.studio.is_invented

    @cached_property
    def flash(self) -> Flash | None:
        """What was just done, when this request follows it."""
        uid = self.request.cookies.get(DONE_COOKIE)
        if not uid or not self.has_studio:
            return None
        with self.db.read() as session:
            entry = history.entry(session, self.actor, uid)
        return Flash(entry.label, uid, entry.action == "undo") if entry else None

    @property
    def happened_at(self) -> datetime | None:
        """When a device without network did what it sends now; None for what is done now. Never later than now."""
        try:
            at = datetime.fromisoformat(self.request.headers.get(HAPPENED_AT, ""))
        except ValueError:
            return None
        return min(at, self.now) if at.tzinfo else None

    def changes_of(self, table: str, uid: str) -> list[HistoryEntry]:
        """What was changed of a record of this studio, newest first; without ``uid`` of all of its kind. "readings" are
        those of the place ``uid``, a "rule" is named by its id."""
        with self.db.read() as session:
            if not uid:
                return history.of_kind(session, self.actor, table)
            if table == "readings":
                return history.of_readings(session, self.actor, uid)
            return history.of_record(session, self.actor, table, uid)

    @property
    def wants_fragment(self) -> bool:
        """Whether htmx asks for a part of the page."""
        return wants_fragment(self.request)

    def render(
        self, template: str, context: Any = None, status: int = 200, headers: Mapping[str, str] | None = None
    ) -> HTMLResponse:
        return render(self.request, template, context, status, headers)

    def unit(self, label: str, posted: FormData | None = None) -> AbstractContextManager[Unit]:
        """One change in the history, at most once for ``posted`` however often it is sent."""
        key = getattr(self.request.state, SENDING, None) if posted is not None else None
        return unit(self.db, self.actor, label=label, key=key, now=self.now)

    @contextmanager
    def api_unit(self, key: str | None) -> Iterator[Unit]:
        """One change in the history, asked for by a program; at most once for its key. Raises ``Invalid`` where the
        key came before with something else."""
        with unit(self.db, self.actor, label="", key=key, now=self.now) as work:
            refuse_key_of_another(work.session, self.actor, key)
            yield work

    def saved(self, work: Unit) -> Response:
        """The answer to a POST that worked: go and read, and be told there what was done, with its undo."""
        return see_other(work.location, work.change_uid)

    def see_other(self, location: str) -> Response:
        """Go and read ``location``; nothing was changed that one might want to take back."""
        return see_other(location)


async def page_request(
    request: Request, db: Annotated[Database, Depends(get_db)], now: Annotated[datetime, Depends(get_now)]
) -> PageRequest:
    page = PageRequest(request, db, now)
    request.state.page = page
    if not FOR_PROGRAMS.match(request.url.path):
        tell_as(lambda: page.manner)
    elif AS_WRITTEN.match(request.url.path):
        tell_as(lambda: replace(METRIC, language=page.manner.language))
    return page


async def posted_form(request: Request) -> FormData:
    """The posted fields. Files are refused: a form that asks for one takes ``PostedFile``."""
    form = await request.form(max_files=0, max_fields=MAX_FIELDS)
    # Told from what came in, before a page makes anything else of it.
    setattr(request.state, SENDING, key_of_sending(f"{request.url.path}?{request.url.query}", form))
    return form


async def posted_file(request: Request) -> AsyncIterator[FormData]:
    """The posted fields of a form that asks for one file, which is closed in the end."""
    async with request.form(max_files=1, max_fields=MAX_FIELDS) as form:
        yield form


Page = Annotated[PageRequest, Depends(page_request)]
Posted = Annotated[FormData, Depends(posted_form)]
Db = Annotated[Database, Depends(get_db)]
PostedFile = Annotated[FormData, Depends(posted_file)]
