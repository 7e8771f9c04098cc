"""Threat: a session token that a script reads, another site sends, or another host of the same domain sets.

HttpOnly, SameSite=Lax, and where the studio is called by https Secure under the prefix ``__Host-``, which browsers
take only with Secure, Path=/ and no Domain (RFC 6265bis, 4.1.3.2). A second cookie marks a browser that signed in
before; it opens nothing, it only keeps strangers' failed tries from making its owner wait.

A third tells scripts whose pages the browser was sent last, by the mark of ``guard.py``. A page that a browser kept
alive and shows again on the way back (umberday.js) goes by it: it is somebody else's by then, or nobody's.
"""

import re

from starlette.requests import Request
from starlette.responses import Response

from server.services.people.sessions import Browser, Opened
from server.web.settings import Settings

SESSION, DEVICE, WHO = "umberday_session", "umberday_device", "umberday_who"
NOBODY = "nobody"  # the mark where nobody is signed in
DEVICE_AGE_S = 400 * 86_400  # the longest that browsers keep a cookie
SESSION_AGE_S = 30 * 86_400
_LONGEST = 200
_AFTER_REMARKS = re.compile(r".*\)([^)]*)$")
_FIRST_REMARK = re.compile(r"\(([^()]*)\)")


def _name(request: Request, plain: str) -> str:
    settings: Settings = request.app.state.settings
    return f"__Host-{plain}" if settings.https else plain


def session_token(request: Request) -> str:
    """The session's token as the browser sent it, "" without one; nothing is known of it yet."""
    return request.cookies.get(_name(request, SESSION), "")[:_LONGEST]


def browser_of(request: Request) -> Browser:
    """What there is to know of who asks."""
    return Browser(
        name=device_words(request.headers.get("user-agent", "")),
        address=request.client.host if request.client else "",
        session_token=session_token(request),
        device_token=request.cookies.get(_name(request, DEVICE), "")[:_LONGEST],
    )


def device_words(user_agent: str) -> str:
    """What a browser calls itself and its machine, shortened to what tells one's devices apart (RFC 9110, 10.1.5)."""
    agent = user_agent[:400]
    remark = _FIRST_REMARK.search(agent)
    pieces = [piece.strip() for piece in remark[1].split(";")] if remark else []
    machine = next((piece for piece in pieces if len(piece) > 3), "")
    products = _AFTER_REMARKS.sub(r"\1", agent).split()
    browser = " ".join(product.partition("/")[0] for product in products)[:40]
    words = f"{browser or 'A browser'} on {machine[:30]}" if machine else browser or "A browser"
    return "".join(character for character in words if character.isprintable())


def keep(request: Request, response: Response, opened: Opened) -> Response:
    """Give the browser the session it just opened."""
    keep_token(request, response, opened.session_token)
    _set(request, response, (DEVICE, opened.device_token, DEVICE_AGE_S))
    return response


def keep_token(request: Request, response: Response, token: str) -> None:
    _set(request, response, (SESSION, token, SESSION_AGE_S))


def forget(request: Request, response: Response) -> Response:
    """Take the session from the browser, and all that it kept of the studio's pages."""
    settings: Settings = request.app.state.settings
    response.delete_cookie(_name(request, SESSION), path="/", secure=settings.https, httponly=True, samesite="lax")
    response.headers["Clear-Site-Data"] = '"cache"'
    tell_who(request, response, NOBODY)
    return response


def tell_who(request: Request, response: Response, mark: str) -> None:
    """Let scripts know whose pages these are, where they do not know it yet. Strangers get no cookie by this."""
    known = request.cookies.get(_name(request, WHO))
    if known == mark or (known is None and mark == NOBODY):
        return
    settings: Settings = request.app.state.settings
    name = _name(request, WHO)
    response.set_cookie(name, mark, max_age=DEVICE_AGE_S, path="/", secure=settings.https, samesite="lax")


def _set(request: Request, response: Response, cookie: tuple[str, str, int]) -> None:
    settings: Settings = request.app.state.settings
    plain, value, age_s = cookie
    response.set_cookie(
        _name(request, plain),
        value,
        max_age=age_s,
        path="/",
        secure=settings.https,
        httponly=True,
        samesite="lax",
    )
