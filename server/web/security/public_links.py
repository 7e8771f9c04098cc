"""Threat: an address that opens the schedule by itself and gets away. It must not stand in a log, be sent on as a
Referer, be found by a search engine or kept by a cache on the way; what it shows runs no script (but the wall, which
draws itself anew), posts no form and stands in no frame but on the one site the painter named."""

from collections.abc import Mapping
from typing import Any

from starlette.types import Scope

PAGES, FEEDS = "/s/", "/f/"
EMBED_AT = "embed_at"  # key in the state of a request: the origin that may frame the page
IS_WALL = "is_shared_wall"  # key in the state of a request
NO_STORE = "private, no-store"

_REFRESHED = "; script-src 'self'; connect-src 'self'"  # the wall alone: it draws itself anew
_POLICY = "default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'none'; base-uri 'none'"
_NOBODY = "'none'"
_HEADERS = {"Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex, nofollow, noarchive"}


def is_public(path: str) -> bool:
    """Whether a path begins with what a link leads to."""
    return path.startswith((PAGES, FEEDS))


def redacted(path: str) -> str:
    """``/s/…/calendar``: the path without its token."""
    if not is_public(path):
        return path
    start, _, rest = path[len(PAGES) :].partition("/")
    return f"{path[: len(PAGES)]}{'…' if start else ''}{'/' if rest else ''}{rest}"


def headers_of(scope: Scope) -> Mapping[str, str | None]:
    """What answers at a link's address carry instead of the usual headers; None: that header is left out."""
    if not is_public(scope["path"]):
        return {}
    state: Mapping[str, Any] = scope.get("state", {})
    embed_at = state.get(EMBED_AT)
    changed: dict[str, str | None] = dict(_HEADERS)
    policy = _POLICY + (_REFRESHED if state.get(IS_WALL) else "")
    changed["Content-Security-Policy"] = f"{policy}; frame-ancestors {embed_at or _NOBODY}"
    if embed_at:
        changed["X-Frame-Options"] = None  # it knows no single site
    if scope["path"].startswith(PAGES):
        changed["Cache-Control"] = NO_STORE
    return changed


def forget_link(scope: Scope) -> None:
    """Take out of a request what it knows of the link that opened it, so that every fault looks the same."""
    for name in ("page", EMBED_AT, IS_WALL):
        scope.get("state", {}).pop(name, None)
