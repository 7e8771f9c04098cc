"""Calendars of one's own, for the person whose token it is: made, listed, revoked."""

from typing import Any

from fastapi import APIRouter
from starlette.responses import JSONResponse, Response

from server.formats.sharing_json import Done, OwnFeedMade, OwnFeedOut, OwnFeedsOut
from server.services import own_feeds
from server.services.own_feeds import OwnFeedCreate
from server.services.sendings import refuse_key_of_another_row
from server.store.tables import OwnFeed
from server.web.api import doing
from server.web.api.doing import changing
from server.web.api.record_schemas import problems
from server.web.api.records import After, Limit, Uid
from server.web.api.sent import Sending
from server.web.api.slices import slice_of
from server.web.deps import Page
from server.web.pages.own_feeds import addresses, whose
from server.web.pages.people_pages import NO_STORE

router = APIRouter(tags=["own-feeds"])
BODIES = (OwnFeedCreate,)


@router.get("/own-feeds", summary="Calendars of your own", responses=problems(422))
def feeds(page: Page, limit: Limit = 50, after: After = None) -> OwnFeedsOut:
    """Those that open, the newest first; without their addresses, which nobody can be told again."""
    with page.db.read() as session:
        found = own_feeds.all_open(session, whose(page))
    shown, more = slice_of(found, lambda each: each.uid, limit, after)
    return OwnFeedsOut(
        items=tuple(OwnFeedOut(**{name: getattr(each, name) for name in OwnFeedOut.model_fields}) for each in shown),
        next_after=more,
    )


@router.post(
    "/own-feeds", response_model=OwnFeedMade, **changing("Make a calendar of your own", "OwnFeedCreate", status=201)
)
def make_feed(page: Page, given: Sending) -> Response:
    """Its addresses are in this answer alone."""
    command = given.command(OwnFeedCreate)
    with page.db.write() as session:
        refuse_key_of_another_row(session, page.actor, OwnFeed, given.key)
        made = own_feeds.make(session, whose(page), command, given.key, page.now)
    events, tasks = addresses(page, made)
    told = OwnFeedMade(uid=made.uid, label=made.label, painter=made.painter, address=events, tasks_address=tasks)
    return JSONResponse(told.model_dump(), 201, NO_STORE)


@router.post("/own-feeds/{uid}/revoke", response_model=Done, **changing("Revoke a calendar of your own"))
def revoke_feed(page: Page, uid: Uid, given: Sending) -> Any:
    """Twice is the same as once."""
    doing.check_empty(given)
    with page.db.write() as session:
        own_feeds.revoke(session, whose(page), uid, page.now)
    return Done(done=True)
