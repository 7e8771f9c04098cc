"""A person's own account: name, password, sessions, studios."""

from fastapi import APIRouter
from starlette.responses import Response

from server.services.errors import Invalid, ServiceError
from server.services.people import account, events, members, passwords, sessions, signing_in
from server.services.people.account import WRONG_PASSWORD, NameUpdate
from server.services.roles import ROLE_WORDS
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState, parse
from server.web.pages.people_pages import FAULTS, SecretForm, alone, need_shared, secrets_of
from server.web.render import see_other
from server.web.security import session_cookie

router = APIRouter(prefix="/account")

DONE = {
    "name": "Your name is changed. The history tells it from now on.",
    "password": "Your password is changed. Every other session has ended.",
    "others": "Every other session has ended.",
    "ended": "That session has ended.",
}


@router.get("")
def own(page: Page, done: str = "") -> Response:
    """``done``: what was just done, by its word in ``DONE``."""
    return _page(page, DONE.get(done, "")).show(page, _as_stored(page)) if page.is_shared else alone(page)


@router.post("/name")
def rename(page: Page, posted: Posted) -> Response:
    need_shared(page)
    command, form = parse(posted, NameUpdate)
    if command is None:
        return _page(page).show(page, form, 422)
    with page.db.write() as session:
        account.rename(session, page.identity, command)
    return page.see_other("/account?done=name")


@router.post("/password")
def change_password(page: Page, posted: Posted) -> Response:
    """A new password for the old one; every other session ends, and this one goes on under a new token."""
    need_shared(page)
    secrets, _ = secrets_of(posted, "password", "new_password")
    browser = session_cookie.browser_of(page.request)
    try:
        with page.db.read() as session:
            account.check_new_password(session, page.identity, secrets["new_password"])
        if not signing_in.confirm_password(page.db, page.identity, secrets["password"], browser, page.now):
            raise Invalid.at("password", WRONG_PASSWORD)
        password_hash = passwords.make_hash(secrets["new_password"])
        with page.db.write() as session:
            token, _ = account.set_password(session, page.identity, password_hash, page.now)
    except FAULTS as fault:
        return _refused(page, fault)
    answer = see_other("/account?done=password")
    session_cookie.keep_token(page.request, answer, token)
    return answer


@router.post("/sessions/{uid}/end")
def end_session(page: Page, posted: Posted, uid: str) -> Response:
    need_shared(page)
    with page.db.write() as session:
        sessions.end(session, page.identity, uid, page.now)
    return page.see_other("/account?done=ended")


@router.post("/sessions/end-others")
def end_other_sessions(page: Page, posted: Posted) -> Response:
    need_shared(page)
    with page.db.write() as session:
        sessions.end_all(session, page.identity.person_id, page.now, but_id=page.identity.sign_in_id)
    return page.see_other("/account?done=others")


def _refused(page: PageRequest, fault: ServiceError) -> Response:
    return _page(page).refuse(page, _as_stored(page), fault)


def _as_stored(page: PageRequest) -> FormState:
    return FormState(values={"name": page.identity.name})


def _page(page: PageRequest, done: str = "") -> SecretForm:
    with page.db.read() as session:
        facts = account.facts(session, page.identity)
        context = {
            "account": facts,
            "sessions": sessions.all_open(session, page.identity, page.now),
            "studios": members.studios_of(session, page.identity),
            "events": events.of_person(session, page.identity.person_id)[:10],
            "ROLE_WORDS": ROLE_WORDS,
            "done": done,
        }
    return SecretForm("people/account.html", lambda: context)
