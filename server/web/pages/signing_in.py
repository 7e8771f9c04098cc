"""Signing in and out; the first owner of a shared install; a new password by a code of the console."""

from collections.abc import Mapping

from fastapi import APIRouter
from starlette.responses import Response

from server.services.errors import NotFound
from server.services.people import console, passwords, signing_in
from server.services.people.account import AccountCreate
from server.services.people.console import NewPassword
from server.services.people.signing_in import Credentials
from server.store.tables import CodeKind
from server.web.deps import Page, PageRequest, Posted
from server.web.form_values import clean_text
from server.web.forms import FormState, parse
from server.web.pages.changes import local_path
from server.web.pages.people_pages import FAULTS, SecretForm, alone, need_shared, secrets_of
from server.web.render import see_other
from server.web.security import session_cookie

router = APIRouter()

AFTER = "/"


@router.get("/sign-in")
def sign_in_form(page: Page, next: str = AFTER, left: bool = False) -> Response:
    """``next``: where to go on, a path of ours; ``left``: somebody has just signed out."""
    if not page.is_shared:
        return alone(page)
    leads_to = local_path(next, AFTER)
    if page.who is not None:
        return page.see_other(leads_to)
    with page.db.read() as session:
        has_owner = console.has_owner(session)
    if not has_owner:
        return page.see_other("/first-owner")
    return _sign_in(leads_to, left).show(page, FormState())


@router.post("/sign-in")
def sign_in(page: Page, posted: Posted) -> Response:
    need_shared(page)
    leads_to = local_path(posted.get("next"), AFTER)
    secrets, rest = secrets_of(posted, "password", "code")
    email = clean_text(str(rest.get("email", "")))[:254]
    form = FormState(values={"email": email})
    browser = session_cookie.browser_of(page.request)
    try:
        given = Credentials(email, secrets["password"], secrets["code"])
        opened = signing_in.sign_in(page.db, given, browser, page.now)
    except FAULTS as fault:
        return _sign_in(leads_to, False).refuse(page, form, fault)
    return session_cookie.keep(page.request, see_other(leads_to), opened)


@router.post("/sign-out")
def sign_out(page: Page, posted: Posted) -> Response:
    """End this session. What the browser kept of the studio's pages goes with it."""
    need_shared(page)
    signing_in.sign_out(page.db, session_cookie.session_token(page.request), page.now)
    return session_cookie.forget(page.request, see_other("/sign-in?left=1"))


def _sign_in(leads_to: str, left: bool) -> SecretForm:
    return SecretForm("people/sign_in.html", lambda: {"leads_to": leads_to, "left": left})


# ---- the first owner ----
FIRST = SecretForm("people/first_owner.html", dict)


@router.get("/first-owner")
def first_owner_form(page: Page) -> Response:
    if not page.is_shared:
        return alone(page)
    with page.db.read() as session:
        has_owner = console.has_owner(session)
    return page.see_other("/sign-in") if has_owner else FIRST.show(page, FormState())


@router.post("/first-owner")
def first_owner(page: Page, posted: Posted) -> Response:
    need_shared(page)
    with page.db.read() as session:
        if console.has_owner(session):
            raise NotFound
    secrets, rest = secrets_of(posted, "password", "code")
    command, form = parse(rest, AccountCreate)
    form.values["code"] = clean_text(secrets["code"])[:100]  # long to type, and worth nothing once it is used
    if command is None:
        return FIRST.show(page, form, 422)
    try:
        chosen = _chosen(page, secrets, "first_owner")
        with page.db.write() as session:
            coming = (session_cookie.browser_of(page.request), page.now)
            opened = console.become_first_owner(session, secrets["code"], command, chosen, coming)
    except FAULTS as fault:
        return FIRST.refuse(page, form, fault)
    return session_cookie.keep(page.request, see_other(AFTER), opened)


# ---- a forgotten password ----
FORGOTTEN = SecretForm("people/new_password.html", dict)


@router.get("/new-password")
def new_password_form(page: Page) -> Response:
    return FORGOTTEN.show(page, FormState()) if page.is_shared else alone(page)


@router.post("/new-password")
def new_password(page: Page, posted: Posted) -> Response:
    need_shared(page)
    secrets, _ = secrets_of(posted, "password", "code")
    form = FormState(values={"code": clean_text(secrets["code"])[:100]})
    try:
        chosen = _chosen(page, secrets, "new_password")
        with page.db.write() as session:
            console.set_forgotten_password(session, secrets["code"], chosen, page.now)
    except FAULTS as fault:
        return FORGOTTEN.refuse(page, form, fault)
    return session_cookie.forget(page.request, see_other("/sign-in"))


def _chosen(page: PageRequest, secrets: Mapping[str, str], kind: CodeKind) -> NewPassword:
    """Raises ``Invalid`` before a hash is worked out, at ``code`` or ``password``: hashes cost, and anybody may ask."""
    with page.db.read() as session:
        console.check_code(session, secrets["code"], kind, page.now)
    passwords.check_new(secrets["password"])
    return NewPassword(secrets["password"], passwords.make_hash(secrets["password"]))


def chosen_password(password: str, command: AccountCreate, studio: str) -> NewPassword:
    """The same for somebody whose name is known. Raises ``Invalid`` at ``password``."""
    passwords.check_new(password, (command.name, command.email, studio))
    return NewPassword(password, passwords.make_hash(password))
