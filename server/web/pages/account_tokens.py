"""A person's tokens for programs: made, listed, revoked."""

from fastapi import APIRouter
from starlette.responses import Response

from server.services.people import api_tokens
from server.services.people.api_tokens import Made, TokenCreate
from server.services.roles import ROLE_TOLD, ROLE_WORDS, ROLES
from server.web.deps import SENDING, Page, PageRequest, Posted
from server.web.forms import FormState, parse
from server.web.pages.people_pages import FAULTS, SecretForm, alone, need_shared

router = APIRouter(prefix="/account/tokens")
LASTS = (("month", "A month"), ("year", "A year"), ("ever", "Until I revoke it"))


@router.get("")
def tokens(page: Page, done: str = "") -> Response:
    """``done``: "revoked" after a token was."""
    if not page.is_shared:
        return alone(page)
    return _page(page, done="The token works no more." if done == "revoked" else "").show(page, FormState())


@router.post("")
def make(page: Page, posted: Posted) -> Response:
    """Make a token and show it: here, and never again."""
    if not page.is_shared:
        return alone(page)
    command, form = parse(posted, TokenCreate)
    if command is None:
        return _page(page).show(page, form, 422)
    key = getattr(page.request.state, SENDING, None)
    try:
        with page.db.write() as session:
            made = api_tokens.make(session, page.identity, command, key, page.now)
    except FAULTS as fault:
        return _page(page).refuse(page, form, fault)
    return _page(page, made).show(page, FormState())


@router.post("/{uid}/revoke")
def revoke(page: Page, posted: Posted, uid: str) -> Response:
    need_shared(page)
    with page.db.write() as session:
        api_tokens.revoke(session, page.identity, uid, page.now)
    return page.see_other("/account/tokens?done=revoked")


def _page(page: PageRequest, made: Made | None = None, done: str = "") -> SecretForm:
    studio = page.identity.studio
    own = ROLES if studio is None else ROLES[ROLES.index(studio.role) :]
    with page.db.read() as session:
        context = {
            "tokens": api_tokens.all_open(session, page.identity, page.now),
            "made": made,
            "role_choices": tuple((role, ROLE_WORDS[role], ROLE_TOLD[role]) for role in reversed(own)),
            "lasts_choices": LASTS,
            "ROLE_WORDS": ROLE_WORDS,
            "done": done,
        }
    return SecretForm("people/tokens.html", lambda: context)
