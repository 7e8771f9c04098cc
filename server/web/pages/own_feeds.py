"""A painter's own calendar: made and shown once, listed, revoked."""

from fastapi import APIRouter
from starlette.responses import Response

from server.formats.qr import qr_drawing
from server.services import own_feeds, planning
from server.services.errors import Refused
from server.services.own_feeds import Made, OwnFeedCreate, Whose
from server.web.deps import SENDING, Page, PageRequest, Posted
from server.web.forms import FormState, parse
from server.web.pages.people_pages import SecretForm
from server.web.pages.share import used_words
from server.web.security.public_links import FEEDS

router = APIRouter(prefix="/calendar/own")


def whose(page: PageRequest) -> Whose:
    """Who asks for a calendar of their own."""
    return Whose(page.actor, page.identity.person_id if page.is_shared else None)


@router.get("")
def own(page: Page, done: str = "") -> Response:
    """``done``: "revoked" after one was."""
    told = "Its address opens nothing any more." if done == "revoked" else ""
    return _page(page, done=told).show(page, FormState(values={"painter": page.person_name}))


@router.post("")
def make(page: Page, posted: Posted) -> Response:
    """Make one and show its address: here, and never again."""
    command, form = parse(posted, OwnFeedCreate)
    if command is None:
        return _page(page).show(page, form, 422)
    key = getattr(page.request.state, SENDING, None)
    try:
        with page.db.write() as session:
            made = own_feeds.make(session, whose(page), command, key, page.now)
    except Refused as fault:
        return _page(page).refuse(page, form, fault)
    return _page(page, made).show(page, FormState(values={"painter": made.painter}))


@router.post("/{uid}/revoke")
def revoke(page: Page, posted: Posted, uid: str) -> Response:
    with page.db.write() as session:
        own_feeds.revoke(session, whose(page), uid, page.now)
    return page.see_other("/calendar/own?done=revoked")


def addresses(page: PageRequest, made: Made) -> tuple[str, str]:
    """Where its events and its tasks are subscribed to."""
    base = str(page.request.base_url).rstrip("/")
    return f"{base}{FEEDS}{made.token}/calendar.ics", f"{base}{FEEDS}{made.token}/tasks.ics"


def _page(page: PageRequest, made: Made | None = None, done: str = "") -> SecretForm:
    with page.db.read() as session:
        feeds = own_feeds.all_open(session, whose(page))
        rows = planning.all_open(session, page.actor)
    events, tasks = addresses(page, made) if made else ("", "")
    context = {
        "feeds": [(feed, used_words(feed.last_used_on, page.today)) for feed in feeds],
        "painters": sorted({row.painter for row in rows} - {planning.EVERYBODY}),
        "made": made,
        "events": events,
        "tasks": tasks,
        "qr": qr_drawing(events) if events else None,
        "done": done,
    }
    return SecretForm("share/own.html", lambda: context)
