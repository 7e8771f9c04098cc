"""Threat: a page that somebody forgot to lock. On a shared install every request passes here before it reaches its
page, and the table ``who_may.py`` says what it takes; what is not in the table is refused.

Nobody, asking for a page, is led to sign in; a member without the role is told so (403); whose record it is, the
services decide (404 for a stranger). A single-user install on loopback has no accounts, and nothing is asked here.

Answers carry ``Umberday-Who``, a mark of the person and studio that tells nothing else: a browser keeps their pages,
and what waits to be sent, apart by it. What waited is sent with the mark it was made under, and refused under another,
or without one.
"""

from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Match
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.services.people import api_tokens, sessions
from server.services.people.sessions import Identity
from server.services.roles import MAY, Permission
from server.web.deps import HAPPENED_AT, db_of, now_of
from server.web.errors import API_PREFIX, error_response
from server.web.render import wants_fragment
from server.web.security.cross_site import READING
from server.web.security.public_links import is_public
from server.web.security.session_cookie import NOBODY, session_token, tell_who
from server.web.security.who_may import STATIC, needed
from server.web.security.who_may_call import Need

WHO = "umberday-who"
SIGN_IN = "/sign-in"
STUDIOS = "/studios"
ROLE_LACKS = "Your role in this studio does not have this. Ask one of its owners."
SIGNED_OUT = "You are signed out. Sign in, then do it again: nothing was changed."
CARRY_ONE = "Send a token that works: Authorization: Bearer … Make one under your account. Nothing was changed."
IN_NO_STUDIO = "You are in no studio now, or were taken out of this one. Nothing was changed."
SOMEBODY_ELSES = "This was made while somebody else was signed in here, or in another studio. It waits for them."


class Guard:
    def __init__(self, app: ASGIApp, shared: bool) -> None:
        self.app = app
        self.shared = shared

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or not self.shared or scope["path"].startswith(STATIC):
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        who = await run_in_threadpool(find_out, request)
        scope.setdefault("state", {})["identity"] = who
        mark = who.mark if who else NOBODY

        async def send_with_mark(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers[WHO] = mark
                if headers.get("content-type", "").startswith("text/html") and not is_public(scope["path"]):
                    _tell_who(request, headers, mark)
            await send(message)

        refused = refusal(request, who)
        await (refused or self.app)(scope, receive, send_with_mark)


def _tell_who(request: Request, headers: MutableHeaders, mark: str) -> None:
    told = Response()
    tell_who(request, told, mark)
    for cookie in told.headers.getlist("set-cookie"):
        headers.append("set-cookie", cookie)


def find_out(request: Request) -> Identity | None:
    """Who carries the session's token, or, at an interface, a program's; notes that it is in use."""
    db, now = db_of(request), now_of(request)
    kind, _, bearer = request.headers.get("authorization", "").partition(" ")
    if kind.lower() == "bearer":
        # A program's token opens interfaces alone, and where one is sent the cookie does not count.
        return _program(request, bearer.strip()) if request.url.path.startswith(API_PREFIX) else None
    token = session_token(request)
    if not token:
        return None
    with db.read() as session:
        who = sessions.identity(session, token, now)
    if who is not None:
        sessions.note_seen(db, who, now)
    return who


def _program(request: Request, token: str) -> Identity | None:
    db, now = db_of(request), now_of(request)
    with db.read() as session:
        found = api_tokens.program(session, token, now)
    if found is None:
        return None
    api_tokens.note_used(db, found, now)
    return found.identity


def refusal(request: Request, who: Identity | None) -> Response | None:
    """Why the request goes no further; None: it may."""
    # The path as the router reads it: in a URL made of it again an escaped "?" would cut it short.
    need = needed(request.method, request.scope["path"])
    if need is None:
        # No such address, or not with this method: the app says so. A route that the table forgot is nobody's.
        is_route = any(route.matches(request.scope)[0] == Match.FULL for route in request.app.router.routes)
        return error_response(request.scope, 403, "Nobody was given this page yet.") if is_route else None
    if need in {"open", "token"}:
        return None
    if who is None:
        return _sign_in_first(request)
    if request.method not in READING and not _is_own(request, who):
        return error_response(request.scope, 401, SOMEBODY_ELSES)
    return _without_permission(request, who, need)


def _is_own(request: Request, who: Identity) -> bool:
    """Whether what is sent was made by whoever sends it, as far as it says. What waited on a device must say."""
    made_by = request.headers.get(WHO)
    return made_by == who.mark or (made_by is None and HAPPENED_AT not in request.headers)


def _without_permission(request: Request, who: Identity, need: Need) -> Response | None:
    if need == "signed_in":
        return None
    if who.studio is None:
        # A page alone is led elsewhere: where a part of one was asked for, or a change, it would come in its place.
        is_page = request.method == "GET" and not request.scope["path"].startswith(API_PREFIX)
        if is_page and not wants_fragment(request):
            return RedirectResponse(STUDIOS, status_code=303)
        return error_response(request.scope, 403, IN_NO_STUDIO)
    permission: Permission = need  # type: ignore[assignment]
    if permission in MAY[who.studio.role]:
        return None
    return error_response(request.scope, 403, ROLE_LACKS)


def _sign_in_first(request: Request) -> Response:
    path: str = request.scope["path"]
    if path.startswith(API_PREFIX):
        return error_response(request.scope, 401, CARRY_ONE, {"WWW-Authenticate": "Bearer"})
    is_page = request.method == "GET"
    if not is_page or wants_fragment(request):
        return error_response(request.scope, 401, SIGNED_OUT)
    question = f"?{request.url.query}" if request.url.query else ""
    asked = f"{quote(path)}{question}"
    return RedirectResponse(SIGN_IN if asked == "/" else f"{SIGN_IN}?next={quote(asked, safe='')}", status_code=303)
