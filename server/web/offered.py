"""What a page offers, less what its reader may not do: a button that leads to a refusal is no help.

The table that the guard holds requests to (``security/who_may.py``) decides here as well, once for every page, so that
no template has to be told again, and parts of pages that are kept for everybody need no copy for each role. Forms to
such an address are left out whole, links too where they look like buttons; of a link in a text its words stay. Only
templates of ours pass here: their forms and links never lie within one another.
"""

import re
from collections.abc import Callable

from server.services.roles import Permission
from server.web.security.who_may import is_permission, needed

_FORM = re.compile(r"<form\b([^>]*)>.*?</form>\s*", re.DOTALL)
_LINK = re.compile(r"<a\b([^>]*)>(.*?)</a>", re.DOTALL)
_GOES_ELSEWHERE = re.compile(r'<button\b[^>]*\sformaction="([^"?#]*)[^>]*>.*?</button>\s*', re.DOTALL)
_ACTION = re.compile(r'\saction="([^"?#]*)')
_METHOD = re.compile(r'\smethod="post"', re.IGNORECASE)
_HREF = re.compile(r'\shref="(/[^"?#]*)')
_BUTTON = re.compile(r'\sclass="[^"]*\bbutton\b')

May = Callable[[Permission], bool]


def without_what_is_refused(text: str, path: str, may: May) -> str:
    """The page at ``path`` without the forms and links that its reader may not use."""

    def is_refused(method: str, target: str) -> bool:
        need = needed(method, target)
        if need is None or not is_permission(need):
            return False
        permission: Permission = need  # type: ignore[assignment]
        return not may(permission)

    def form(found: re.Match[str]) -> str:
        method = "POST" if _METHOD.search(found[1]) else "GET"
        action = _ACTION.search(found[1])
        return "" if is_refused(method, action[1] if action else path) else found[0]

    def link(found: re.Match[str]) -> str:
        href = _HREF.search(found[1])
        if href is None or not is_refused("GET", href[1]):
            return found[0]
        return "" if _BUTTON.search(found[1]) else found[2]

    def button(found: re.Match[str]) -> str:
        return "" if is_refused("POST", found[1]) else found[0]

    return _LINK.sub(link, _GOES_ELSEWHERE.sub(button, _FORM.sub(form, text)))
