"""Links to the schedule, for those who run the studio: make one, see what there is, change, revoke, bring back."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.formats.qr import QrDrawing, qr_drawing
from server.services import board, share_links
from server.services.access import require
from server.services.share_links import LinkListed, ShareLinkCreate, ShareLinkUpdate
from server.store.tables import ShareLink
from server.web import words
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState, parse
from server.web.pages.changes import Done, FormPage, Typed, change_by_button, change_by_form
from server.web.pages.record_forms import Reads, save
from server.web.security.public_links import FEEDS, PAGES

router = APIRouter(prefix="/share")

NEW_COOKIE = "umberday_new_link"  # the address of a link just made, on its way to the one page that tells it
NEW_S = 120
START = {"kind": "page", "scope": "studio", "lasts": "month", "units": "metric"}
KINDS = (("page", "A page to look at"), ("feed", "A calendar to subscribe to"))
SCOPES = (
    ("studio", "The whole studio", "also panels hung later"),
    ("panels", "Some panels", "for a gallery, a class"),
    ("panel", "One panel’s progress", "for whoever waits for it"),
)
DETAILS = (
    ("sizes", "Sizes"),
    ("section", "The cross-section"),
    ("mixes", "Mixes and amounts"),
    ("notes", "Notes"),
    ("names", "Names: who paints, whom it is for"),
)
LASTS = (("week", "A week"), ("month", "A month"), ("date", "Up to a day"), ("always", "Until it is revoked"))
UNITS = (
    ("metric", "Metric", "cm, ml, °C, µm"),
    ("imperial", "Inches", "in, fl oz, °F, mil"),
    ("studio", "As this studio’s own pages"),
)
STATES = {"open": ("Open", "sound"), "expired": ("Run out", "rests"), "revoked": ("Revoked", "stopped")}


@dataclass(frozen=True, slots=True)
class NewLink:
    """A link just made: told once. ``tasks`` is the address of a calendar's list of tasks, "" for a page."""

    label: str
    address: str
    tasks: str
    qr: QrDrawing


@dataclass(frozen=True, slots=True)
class LinkLine:
    """A link of the list in words."""

    uid: str
    label: str
    kind: str
    state_word: str
    state_kind: str
    what: str
    shows: str
    until: str
    used: str
    embed_origin: str
    is_open: bool
    is_revoked: bool


@router.get("")
def index(page: Page) -> Response:
    return _show(page, FormState(values=dict(START)))


@router.post("")
def make(page: Page, posted: Posted) -> Response:
    command, form = parse(posted, ShareLinkCreate, zone=page.zone)
    shown = FormPage("share/page.html", lambda: _context(page))
    if command is None:
        return shown.show(page, form, 422)
    made: dict[str, str] = {}

    def act(session: Session) -> Done:
        link, made["token"] = share_links.create(session, page.actor, command, page.now, page.zone)
        made["uid"] = link.uid
        return Done(f"Made the link “{link.label}”", f"/share?made={link.uid}")

    return _telling(page, change_by_form(page, Typed(posted, form), shown, act), made)


@router.get("/{uid}/edit")
def edit(page: Page, uid: str) -> Response:
    """The form of a link whose address stays."""
    with page.db.read() as session:
        stored = share_links.public(_of_those_who_may(session, page, uid), page.zone)
    form = FormState.of(stored, page.zone)
    form.many["shows"] = list(stored.shows)
    return _edit_form(page, uid).show(page, form)


@router.post("/{uid}/edit")
def change_link(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session, command: ShareLinkUpdate) -> Done:
        link = share_links.update(session, page.actor, uid, command, page.zone)
        return Done(f"Changed the link “{link.label}”", "/share#links")

    with page.db.read() as session:
        _of_those_who_may(session, page, uid)
    return save(page, posted, Reads(ShareLinkUpdate), _edit_form(page, uid), act)


def _of_those_who_may(session: Session, page: PageRequest, uid: str) -> ShareLink:
    require(page.actor, "studio")
    return share_links.get(session, page.actor, uid)


def _edit_form(page: PageRequest, uid: str) -> FormPage:
    def context() -> dict[str, Any]:
        with page.db.read() as session:
            link = share_links.get(session, page.actor, uid)
        return {"link": link, "details": DETAILS, "units": UNITS}

    return FormPage("share/edit.html", context)


@router.post("/{uid}/renew")
def renew(page: Page, posted: Posted, uid: str) -> Response:
    made: dict[str, str] = {}

    def act(session: Session) -> Done:
        link, made["token"] = share_links.renew(session, page.actor, uid, page.now)
        made["uid"] = link.uid
        return Done(f"Gave the link “{link.label}” another address", f"/share?made={link.uid}")

    return _telling(page, change_by_button(page, posted, act, "/share"), made)


@router.post("/{uid}/revoke")
def revoke(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        link = share_links.revoke(session, page.actor, uid)
        return Done(f"Revoked the link “{link.label}”", "/share#links")

    return change_by_button(page, posted, act, "/share")


@router.post("/{uid}/restore")
def restore(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        link = share_links.restore(session, page.actor, uid)
        return Done(f"Brought back the link “{link.label}”", "/share#links")

    return change_by_button(page, posted, act, "/share")


def _telling(page: PageRequest, answer: Response, made: Mapping[str, str]) -> Response:
    """The answer, which takes a new link's token along to the one page that tells it.

    A form that was sent twice has one link, and the answer that is shown may be the second: it then tells another
    token in the place of the first, which nobody saw.
    """
    location = answer.headers.get("location", "")
    uid, token = made.get("uid", ""), made.get("token", "")
    if answer.status_code == 303 and not token and "?made=" in location:
        uid = location.partition("?made=")[2]
        token = share_links.told_anew(page.db, page.actor, uid, page.now) or ""
    if answer.status_code == 303 and token:
        answer.set_cookie(NEW_COOKIE, f"{uid}.{token}", NEW_S, path="/share", httponly=True, samesite="strict")
    return answer


def _show(page: PageRequest, form: FormState, status: int = 200) -> Response:
    context = _context(page)
    uid, _, token = page.request.cookies.get(NEW_COOKIE, "").partition(".")
    link = next((line for line in context["links"] if line.uid == uid and line.is_open), None) if token else None
    new = None if link is None else _new(page, link, token)
    answer = page.render("share/page.html", {**context, "form": form, "new": new}, status)
    if NEW_COOKIE in page.request.cookies:
        answer.delete_cookie(NEW_COOKIE, path="/share", httponly=True, samesite="strict")
    answer.headers["Cache-Control"] = "private, no-store"
    return answer


def _new(page: PageRequest, link: LinkLine, token: str) -> NewLink:
    base = str(page.request.base_url).rstrip("/")
    if link.kind == "feed":
        address = f"{base}{FEEDS}{token}/calendar.ics"
        return NewLink(link.label, address, f"{base}{FEEDS}{token}/tasks.ics", qr_drawing(address))
    address = f"{base}{PAGES}{token}"
    return NewLink(link.label, address, "", qr_drawing(address))


def _context(page: PageRequest) -> dict[str, Any]:
    with page.db.read() as session:
        links = share_links.all_links(session, page.actor, page.now)
        wall = board.today(session, page.actor, page.now, page.zone)
    hung = [panel for group in wall.groups.values() for panel in group]
    hung.sort(key=lambda panel: panel.title.casefold())
    return {
        "links": [_line(link, page) for link in links],
        "panels": [(panel.uid, panel.title) for panel in hung],
        "kinds": KINDS,
        "scopes": SCOPES,
        "details": DETAILS,
        "lasts": LASTS,
        "units": UNITS,
        "new": None,
    }


def _line(link: LinkListed, page: PageRequest) -> LinkLine:
    word, kind = STATES[link.state]
    return LinkLine(
        uid=link.uid,
        label=link.label,
        kind=link.kind,
        state_word=word,
        state_kind=kind,
        what=_what(link),
        shows=words.join_words([dict(DETAILS)[each].partition(":")[0].lower() for each in link.shows]),
        until=_until(link, page),
        used=used_words(link.last_used_on, page.today),
        embed_origin=link.embed_origin,
        is_open=link.state == "open",
        is_revoked=link.state == "revoked",
    )


def _what(link: LinkListed) -> str:
    if link.scope == "studio":
        return "the whole studio"
    if link.scope == "panel":
        return f"the progress of “{''.join(link.titles)}”"
    return words.join_words([f"“{title}”" for title in link.titles])


def _until(link: LinkListed, page: PageRequest) -> str:
    last = share_links.last_day(link.expires_at, page.zone)
    if last is None:
        return "until it is revoked"
    return f"{'up to' if last >= page.today else 'ran out'} {words.day_words(last, page.today)}"


def used_words(on: date | None, today: date) -> str:
    """Roughly when a link was opened last: today, this week, this month, longer ago."""
    if on is None:
        return "never opened"
    away = (today - on).days
    if away <= 0:
        return "last opened today"
    if away < 7:
        return "last opened within a week"
    return "last opened within a month" if away < 31 else "last opened more than a month ago"
