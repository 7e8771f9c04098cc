"""Coming into a studio by an invitation: with the account one has, or with a new one."""

from fastapi import APIRouter
from starlette.datastructures import FormData
from starlette.responses import Response

from server.services.errors import NotFound
from server.services.people import invitations
from server.services.people.account import AccountCreate
from server.services.people.invitations import Newcomer, Offer
from server.services.roles import ROLE_TOLD, ROLE_WORDS
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState, parse
from server.web.pages.people_pages import FAULTS, NO_STORE, SecretForm, need_shared, secrets_of
from server.web.pages.signing_in import chosen_password
from server.web.render import see_other
from server.web.security import session_cookie

router = APIRouter(prefix="/join")


@router.get("/{token}")
def offer(page: Page, token: str) -> Response:
    """What the link offers. Looking at it uses nothing up: programs that show links ahead look too."""
    need_shared(page)
    found = _offer(page, token)
    return gone(page) if found is None else _form(token, found).show(page, FormState())


@router.post("/{token}")
def accept(page: Page, posted: Posted, token: str) -> Response:
    need_shared(page)
    found = _offer(page, token)
    if found is None:
        return gone(page)
    try:
        return _as_known(page, token) if page.who is not None else _as_new(page, posted, token, found)
    except NotFound:
        return gone(page)  # somebody was quicker


def _as_known(page: PageRequest, token: str) -> Response:
    with page.db.write() as session:
        invitations.accept(session, page.identity, token, page.now)
    return page.see_other("/")


def _as_new(page: PageRequest, posted: FormData, token: str, found: Offer) -> Response:
    secrets, rest = secrets_of(posted, "password")
    shown = _form(token, found)
    command, form = parse(rest, AccountCreate)
    if command is None:
        return shown.show(page, form, 422)
    try:
        chosen = chosen_password(secrets["password"], command, found.studio)
        with page.db.write() as session:
            newcomer = Newcomer(command, chosen.password_hash)
            browser = session_cookie.browser_of(page.request)
            opened = invitations.accept_as_new(session, newcomer, token, browser, page.now)
    except FAULTS as fault:
        return shown.refuse(page, form, fault)
    return session_cookie.keep(page.request, see_other("/"), opened)


def _offer(page: PageRequest, token: str) -> Offer | None:
    with page.db.read() as session:
        try:
            return invitations.offer(session, token, page.now)
        except NotFound:
            return None


def _form(token: str, found: Offer) -> SecretForm:
    words = {"role": ROLE_WORDS[found.role], "role_told": ROLE_TOLD[found.role]}
    return SecretForm("people/join.html", lambda: {"token": token, "offer": found, **words})


def gone(page: PageRequest) -> Response:
    """The same words for a link that is unknown, used, taken back or too old."""
    return page.render("people/gone.html", None, 404, NO_STORE)
