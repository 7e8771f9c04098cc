"""Links to the schedule and calendars to subscribe to: made, listed, changed, given another address, revoked."""

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import JSONResponse, Response

from server.formats.sharing_json import ShareLinkMade, ShareLinkOut, ShareLinksOut
from server.services import share_links
from server.services.errors import Conflict, NotFound
from server.services.sendings import added_before
from server.services.share_links import LinkListed, ShareLinkCreate, ShareLinkUpdate
from server.store.tables import ShareLink
from server.web.api import doing
from server.web.api.doing import Told, changing
from server.web.api.record_schemas import ETAG, body_of, problems
from server.web.api.records import After, Limit, Uid
from server.web.api.sent import Sending, Sent, VersionSeen, VersionWanted
from server.web.api.slices import slice_of
from server.web.deps import Page, PageRequest
from server.web.errors import problem
from server.web.security.public_links import FEEDS, PAGES

router = APIRouter(tags=["share-links"])
BODIES = (ShareLinkCreate,)
SECRET = {"Cache-Control": "no-store"}
FOUND: dict[int | str, Any] = {200: {"description": "The link", "headers": ETAG, "model": ShareLinkOut}}


@router.get("/share-links", summary="Links and calendars that were made", responses=problems(422))
def links(page: Page, limit: Limit = 50, after: After = None) -> ShareLinksOut:
    """The newest first, those that open before those that do not."""
    shown, more = slice_of(_all(page), lambda each: each.uid, limit, after)
    return ShareLinksOut(items=tuple(_told(each, page) for each in shown), next_after=more)


@router.get("/share-links/{uid}", summary="A link", responses={**FOUND, **problems(404, 422)})
def link(page: Page, uid: Uid) -> Response:
    """What it shows, until when, and when it was opened last."""
    return _answer(page, uid)


@router.post(
    "/share-links", response_model=ShareLinkMade, **changing("Make a link or a calendar", "ShareLinkCreate", status=201)
)
def make_link(page: Page, given: Sending) -> Any:
    """Its address is in this answer alone."""
    command = given.command(ShareLinkCreate)

    def act(session: Session) -> tuple[ShareLink, str, str]:
        made, token = share_links.create(session, page.actor, command, page.now, page.zone)
        return made, token, f"Made the link “{made.label}”"

    return _made(page, given, act, 201)


@router.put(
    "/share-links/{uid}",
    summary="Change a link: the whole of what may change",
    responses={**FOUND, **problems(400, 404, 409, 412, 413, 415, 422, 428)},
    openapi_extra=body_of("ShareLinkChange"),
)
def change_link(page: Page, uid: Uid, given: Sending, version: VersionWanted) -> Response:
    """Its address stays. One that has run out opens again with a later day."""
    command = given.command(ShareLinkUpdate, version=version)

    def act(session: Session) -> Told:
        changed = share_links.update(session, page.actor, uid, command, page.zone)
        return f"Changed the link “{changed.label}”", "/share#links"

    try:
        doing.do_once(page, given, act)
    except Conflict:
        now = _one(page, uid)
        detail = f"The link was changed since: it is at version {now.version}. Read it again."
        more = {"current": now.model_dump(mode="json")}
        return problem(412, detail, more=more, headers={"ETag": f'"{now.version}"'})
    return _answer(page, uid)


@router.post(
    "/share-links/{uid}/renew", response_model=ShareLinkMade, **changing("Another address", status=201, held=True)
)
def renew_link(page: Page, uid: Uid, given: Sending, seen: VersionSeen) -> Any:
    """The same link as a new one at another address; the one before opens no more."""
    doing.check_empty(given)

    def act(session: Session) -> tuple[ShareLink, str, str]:
        doing.hold(session, page.actor, (ShareLink, uid), seen)
        made, token = share_links.renew(session, page.actor, uid, page.now)
        return made, token, f"Gave the link “{made.label}” another address"

    return _made(page, given, act, 201)


@router.post("/share-links/{uid}/revoke", response_model=ShareLinkOut, **changing("Revoke a link", held=True))
def revoke_link(page: Page, uid: Uid, given: Sending, seen: VersionSeen) -> Response:
    """From then on its address looks like one that never was."""
    doing.check_empty(given)

    def act(session: Session) -> Told:
        doing.hold(session, page.actor, (ShareLink, uid), seen)
        return f"Revoked the link “{share_links.revoke(session, page.actor, uid).label}”", "/share#links"

    doing.do_once(page, given, act)
    return _answer(page, uid)


@router.post(
    "/share-links/{uid}/restore", response_model=ShareLinkOut, **changing("Bring a revoked link back", held=True)
)
def restore_link(page: Page, uid: Uid, given: Sending, seen: VersionSeen) -> Response:
    """At the address it had."""
    doing.check_empty(given)

    def act(session: Session) -> Told:
        doing.hold(session, page.actor, (ShareLink, uid), seen)
        return f"Brought back the link “{share_links.restore(session, page.actor, uid).label}”", "/share#links"

    doing.do_once(page, given, act)
    return _answer(page, uid)


def _made(
    page: PageRequest, given: Sent, act: Callable[[Session], tuple[ShareLink, str, str]], status: int
) -> Response:
    """Make a link once. Sent again, it tells another token in the place of the first, while nobody used that."""
    token: str | None = None
    with page.api_unit(given.key) as work:
        if work.repeated:
            uid = added_before(work, ShareLink)[0]
        else:
            made, token, work.label = act(work.session)
            uid, work.location = made.uid, "/share#links"
    if token is None:
        token = share_links.told_anew(page.db, page.actor, uid, page.now)
    told = _one(page, uid)
    base = str(page.request.base_url).rstrip("/")
    pages, feeds = f"{base}{PAGES}{token}", f"{base}{FEEDS}{token}"
    is_feed = told.kind == "feed"
    answer = ShareLinkMade(
        link=told,
        address=None if token is None else f"{feeds}/calendar.ics" if is_feed else pages,
        tasks_address=f"{feeds}/tasks.ics" if token and is_feed else None,
    )
    return JSONResponse(answer.model_dump(mode="json"), status, SECRET)


def _all(page: PageRequest) -> list[LinkListed]:
    with page.db.read() as session:
        return share_links.all_links(session, page.actor, page.now)


def _one(page: PageRequest, uid: str) -> ShareLinkOut:
    found = next((each for each in _all(page) if each.uid == uid), None)
    if found is None:
        raise NotFound
    return _told(found, page)


def _answer(page: PageRequest, uid: str) -> Response:
    told = _one(page, uid)
    return JSONResponse(told.model_dump(mode="json"), headers={"ETag": f'"{told.version}"'})


def _told(each: LinkListed, page: PageRequest) -> ShareLinkOut:
    names = set(ShareLinkOut.model_fields) - {"expires_on"}
    values: dict[str, Any] = {name: getattr(each, name) for name in names}
    return ShareLinkOut(**values, expires_on=share_links.last_day(each.expires_at, page.zone))
