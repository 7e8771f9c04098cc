"""The studios a person belongs to: which one to be in, and one more."""

from fastapi import APIRouter
from starlette.responses import Response

from server.services.errors import Forbidden
from server.services.people import members, sessions
from server.services.people.members import StudioCreate
from server.services.roles import ROLE_WORDS
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState, parse
from server.web.pages.changes import FormPage, refused
from server.web.pages.people_pages import alone, need_shared

router = APIRouter(prefix="/studios")


@router.get("")
def studios(page: Page) -> Response:
    return _page(page).show(page, FormState()) if page.is_shared else alone(page)


@router.post("/new")
def found(page: Page, posted: Posted) -> Response:
    """One studio more, and go on in it."""
    need_shared(page)
    command, form = parse(posted, StudioCreate)
    if command is None:
        return _page(page).show(page, form, 422)
    try:
        with page.db.write() as session:
            members.found_studio(session, page.identity, command, page.now)
    except Forbidden as fault:
        return refused(page, fault.message, "/studios", 403)
    return page.see_other("/")


@router.post("/{uid}/choose")
def choose(page: Page, posted: Posted, uid: str) -> Response:
    need_shared(page)
    with page.db.write() as session:
        sessions.choose(session, page.identity, uid)
    return page.see_other("/")


def _page(page: PageRequest) -> FormPage:
    with page.db.read() as session:
        own = members.studios_of(session, page.identity)
    owns_one = any(studio.role == "owner" for studio in own)
    return FormPage("people/studios.html", lambda: {"studios": own, "owns_one": owns_one, "ROLE_WORDS": ROLE_WORDS})
