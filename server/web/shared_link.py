"""A request that comes by a link: what it opens, and what its pages are rendered with."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property
from typing import Annotated, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fastapi import Depends
from starlette.requests import Request
from starlette.responses import HTMLResponse

from server.services import share_access
from server.services.access import Actor
from server.services.history import HistoryEntry
from server.services.roles import Permission
from server.services.share_access import OpenLink
from server.store.db import Database
from server.web.deps import get_db, get_now
from server.web.language.catalogue import ENGLISH
from server.web.locales import language_asked, manner_of, of_language
from server.web.manner import IMPERIAL, METRIC, Manner, tell_as
from server.web.render import Flash, render
from server.web.security import public_links


@dataclass(frozen=True, slots=True)
class SharedFrame:
    """What ``share/_schedule.html`` shows around a page: (label, address, shape, is this one) of its areas."""

    areas: tuple[tuple[str, str, str, bool], ...]
    wall: str


class LinkRequest:
    """One request by a link. It knows the link's studio and nobody's name."""

    flash: Flash | None = None
    is_shared = False  # nobody signs in here
    has_studio = True
    person_name = ""

    def __init__(self, request: Request, db: Database, now: datetime, link: OpenLink) -> None:
        self.request = request
        self.db = db
        self.now = now
        self.link = link

    def at(self, now: datetime) -> "LinkRequest":
        """The same request at another moment."""
        return LinkRequest(self.request, self.db, now, self.link)

    @property
    def actor(self) -> Actor:
        return self.link.actor

    def changes_of(self, _table: str, _uid: str) -> list[HistoryEntry]:
        """Nothing: what was changed is nobody else's."""
        return []

    def may(self, permission: Permission) -> bool:
        return self.actor.may(permission)

    @cached_property
    def zone(self) -> ZoneInfo:
        try:
            return ZoneInfo(self.link.time_zone)
        except (ZoneInfoNotFoundError, ValueError):
            return ZoneInfo("UTC")

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()

    @property
    def studio_name(self) -> str:
        return self.link.studio_name

    @property
    def is_invented(self) -> bool:
        return self.link.is_invented

    @property
    def manner(self) -> Manner:
        """Units as the link's maker chose; the language is the studio's, or the reader's where that is left open."""
        choices = self.link.choices
        asked = language_asked(self.request.headers.get("Accept-Language", ""))
        language = asked if choices.language == "auto" else choices.language
        if self.link.units == "studio":
            return replace(manner_of(choices, language), language=language)
        units = IMPERIAL if self.link.units == "imperial" else METRIC
        return units if language == ENGLISH else replace(units, language=language, decimal=of_language(language)[3])

    @property
    def home(self) -> str:
        """The link's own address."""
        return f"{public_links.PAGES}{self.request.path_params['token']}"

    def address(self, href: str) -> str:
        """A page of the link for the address that the main pages give a panel, its layers or its finish."""
        return f"{self.home}{href.removesuffix('/finish')}{'#finish' if href.endswith('/finish') else ''}"

    def render(self, template: str, context: dict[str, Any]) -> HTMLResponse:
        return render(self.request, template, {**context, "shared": self._frame()})

    def _frame(self) -> SharedFrame:
        is_one = self.link.scope == "panel"
        places = (
            ("Progress" if is_one else "Today", self.home, "panels" if is_one else "today"),
            ("Calendar", f"{self.home}/calendar", "calendar"),
        )
        here = self.request.url.path
        return SharedFrame(tuple((*place, place[1] == here) for place in places), f"{self.home}/wall")


def _open(request: Request, token: str, kind: str, db: Database, now: datetime) -> LinkRequest:
    with db.read() as session:
        link = share_access.opened(session, token, kind, now)
    page = LinkRequest(request, db, now, link)
    share_access.note_used(db, link, page.today)
    request.state.page = page
    if link.embed_origin:
        setattr(request.state, public_links.EMBED_AT, link.embed_origin)
    return page


def opened_page(
    request: Request, token: str, db: Annotated[Database, Depends(get_db)], now: Annotated[datetime, Depends(get_now)]
) -> LinkRequest:
    """The link that a page's address opens. Raises ``NotFound``, whatever the reason."""
    return _open(request, token, "page", db, now)


async def shared_page(page: Annotated[LinkRequest, Depends(opened_page)]) -> LinkRequest:
    """The same, telling quantities in the link's manner. Not in a thread, where that would be forgotten."""
    tell_as(lambda: page.manner)
    return page


def shared_feed(
    request: Request, token: str, db: Annotated[Database, Depends(get_db)], now: Annotated[datetime, Depends(get_now)]
) -> LinkRequest:
    """The link of a calendar to subscribe to, which tells all in metric, as files do."""
    return _open(request, token, "feed", db, now)


SharedPage = Annotated[LinkRequest, Depends(shared_page)]
SharedFeed = Annotated[LinkRequest, Depends(shared_feed)]
