"""One-time codes of a person's device: set up, recovery codes, and stopped again."""

from collections.abc import Callable

from fastapi import APIRouter
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.formats.qr import qr_drawing
from server.services.errors import Invalid, NotFound
from server.services.people import account, one_time_codes, signing_in
from server.services.people.account import WRONG_PASSWORD
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState
from server.web.pages.people_pages import FAULTS, NO_STORE, SecretForm, alone, need_shared, secrets_of
from server.web.security import session_cookie

router = APIRouter(prefix="/account/codes")


@router.get("")
def codes(page: Page) -> Response:
    return _page(page).show(page, FormState()) if page.is_shared else alone(page)


@router.post("/begin")
def begin(page: Page, posted: Posted) -> Response:
    """Make a seed for a device to scan."""

    def act(session: Session) -> Response:
        one_time_codes.begin(session, page.identity)
        return page.see_other("/account/codes")

    return _with_password(page, posted, act)


@router.post("/confirm")
def confirm(page: Page, posted: Posted) -> Response:
    """Take codes into use with the device's first one, and show the recovery codes: here, and never again."""
    need_shared(page)
    secrets, _ = secrets_of(posted, "code")
    try:
        with page.db.write() as session:
            made = one_time_codes.confirm(session, page.identity, secrets["code"], page.now)
    except NotFound:
        return page.see_other("/account/codes")  # nothing waits: it was confirmed already, or stopped
    except FAULTS as fault:
        return _page(page).refuse(page, FormState(), fault)
    return _recovery_codes(page, made)


@router.post("/recovery")
def recovery(page: Page, posted: Posted) -> Response:
    """Ten new recovery codes in the place of all before."""
    return _with_password(
        page,
        posted,
        lambda session: _recovery_codes(page, one_time_codes.new_recovery_codes(session, page.identity, page.now)),
    )


@router.post("/stop")
def stop(page: Page, posted: Posted) -> Response:
    """Sign in with the password alone again."""

    def act(session: Session) -> Response:
        one_time_codes.stop(session, page.identity, page.now)
        return page.see_other("/account/codes")

    return _with_password(page, posted, act)


def _with_password(page: PageRequest, posted: FormData, act: Callable[[Session], Response]) -> Response:
    """Do something that matters once the person's password says that it is them."""
    need_shared(page)
    secrets, _ = secrets_of(posted, "password")
    browser = session_cookie.browser_of(page.request)
    try:
        if not signing_in.confirm_password(page.db, page.identity, secrets["password"], browser, page.now):
            raise Invalid.at("password", WRONG_PASSWORD)
        with page.db.write() as session:
            return act(session)
    except FAULTS as fault:
        return _page(page).refuse(page, FormState(), fault)


def _recovery_codes(page: PageRequest, made: list[str]) -> Response:
    return page.render("people/recovery_codes.html", {"codes": made}, headers=NO_STORE)


def _page(page: PageRequest) -> SecretForm:
    with page.db.read() as session:
        facts = account.facts(session, page.identity)
        address = one_time_codes.address_to_scan(session, page.identity) if facts.waits_for_code else ""
    shown = {
        "account": facts,
        "drawing": qr_drawing(address) if address else None,
        "seed": one_time_codes.seed_in(address),
    }
    return SecretForm("people/codes.html", lambda: shown)
