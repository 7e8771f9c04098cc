"""Which address takes which permission: a table as data. ``guard.py`` holds every request of a shared install to it,
DEVELOPERS.md prints it, and a test asks every address as every role.

A new address is a line here (of an interface in ``who_may_call.py``), under what it takes to use it. One that is
missing is refused to everybody where the install is shared, and fails ``tests/contract/test_who_may.py``, which says
what to do. Beside the permissions of ``server/services/roles.py`` there are

``open``        anybody, signed in or not: nothing of a studio is there
``token``       whoever has the address's own token; the page checks it, the guard does not
``signed_in``   anybody with an account, whatever the studio and role
"""

import re
from collections.abc import Mapping
from typing import get_args

from server.web.security.who_may_call import INTERFACES, Need, Open

PAGES: Mapping[Need, tuple[str, ...]] = {
    "open": (
        "GET /healthz",
        "GET /worker.js",
        "GET /manifest.webmanifest",
        "GET /waiting",
        "GET POST /sign-in",
        "GET POST /first-owner",
        "GET POST /new-password",
        "GET POST /join/{token}",
    ),
    "token": (
        "GET /f/{token}/calendar.ics",
        "GET /f/{token}/tasks.ics",
        "GET /s/{token}",
        "GET /s/{token}/calendar",
        "GET /s/{token}/wall",
        "GET /s/{token}/panels/{ref}",
    ),
    "signed_in": (
        "POST /sign-out",
        "GET /account",
        "POST /account/name",
        "POST /account/password",
        "POST /account/sessions/{uid}/end",
        "POST /account/sessions/end-others",
        "GET /account/codes",
        "POST /account/codes/begin",
        "POST /account/codes/confirm",
        "POST /account/codes/stop",
        "POST /account/codes/recovery",
        "GET POST /account/tokens",
        "POST /account/tokens/{uid}/revoke",
        "GET /studios",
        "POST /studios/new",
        "POST /studios/{uid}/choose",
        "GET /api",
    ),
    "look": (
        "GET /",
        "GET /wall",
        "GET /calendar",
        "GET /calendar.ics",
        "GET POST /calendar/own",
        "POST /calendar/own/{uid}/revoke",
        "GET /plan",
        "GET /plan/days",
        "GET /plan/days/{month}",
        "GET /plan/hours",
        "GET /plan/panels",
        "GET /plan/panels/{panel_uid}",
        "GET /plan/promise",
        "GET /plan/promise/{uid}",
        "GET /plan/search",
        "GET /plan/{uid}/changes",
        "GET /plan/{uid}/days/{month}",
        "GET /plan/{uid}/panels",
        "GET /plan/{uid}/panels/{panel_uid}",
        "GET /plan/week",
        "GET /panels",
        "GET /panels/{uid}",
        "GET /panels/{uid}/finish",
        "GET /panels/{uid}/places",
        "GET /panels/{uid}/record",
        "GET /panels/{uid}/record/{kind}",
        "GET /layers/{uid}/what-if",
        "GET /layers/{uid}/book",
        "GET /layers/{uid}/tests",
        "GET /sittings",
        "GET /mixing",
        "GET /mixes",
        "GET /mixes/{uid}",
        "GET /stacks",
        "GET /stacks/{uid}",
        "GET /shelf",
        "GET /room",
        "GET /learning",
        "GET /rules",
        "GET /rules/{uid}",
        "GET /history",
        "GET /how",
        "GET /glossary",
        "GET /cautions",
        "GET /parts",
        "GET /data",
        "GET /data/lists/{name}.csv",
        "GET /room/{uid}",
    ),
    "test": (
        "POST /layers/{uid}/tests",
        "GET POST /tests/{uid}/edit",
        "POST /tests/{uid}/mistaken",
        "POST /tests/{uid}/restore",
        "POST /learning/seen-wet/{uid}",
        "GET POST /panels/{uid}/finish/tests",
        "GET POST /finish-tests/{uid}/edit",
        "POST /finish-tests/{uid}/mistaken",
        "POST /finish-tests/{uid}/restore",
        "POST /tests/{uid}/sure",
    ),
    "mix": (
        "POST /mixing/keep",
        "GET POST /mixes/new",
        "GET POST /mixes/{uid}/edit",
        "POST /mixes/{uid}/archive",
        "POST /mixes/{uid}/restore",
    ),
    "sit": (
        "GET POST /sittings/end",
        "POST /sittings/{uid}/archive",
        "POST /sittings/{uid}/restore",
    ),
    "undo": (
        "POST /history/{uid}/undo",
        "POST /history/{uid}/redo",
    ),
    "paint": (
        "GET POST /panels/new",
        "GET POST /panels/{uid}/edit",
        "POST /panels/{uid}/archive",
        "POST /panels/{uid}/restore",
        "POST /panels/{uid}/finish",
        "GET POST /panels/{uid}/finish/steps",
        "GET POST /finish/{uid}/do",
        "GET POST /finish/{uid}/edit",
        "POST /finish/{uid}/undone",
        "POST /finish/{uid}/archive",
        "POST /finish/{uid}/restore",
        "POST /panels/{uid}/places",
        "GET POST /moves/{uid}/edit",
        "POST /moves/{uid}/archive",
        "POST /moves/{uid}/restore",
        "GET POST /panels/{uid}/layers/new",
        "GET POST /layers/{uid}/edit",
        "GET POST /layers/{uid}/paint",
        "POST /layers/{uid}/unpaint",
        "POST /layers/{uid}/move",
        "POST /layers/{uid}/archive",
        "POST /layers/{uid}/restore",
        "POST /shelf/starter",
        "GET POST /shelf/{kind}/new",
        "GET POST /shelf/{kind}/{uid}/edit",
        "POST /shelf/{kind}/{uid}/archive",
        "POST /shelf/{kind}/{uid}/restore",
        "POST /stacks/starter",
        "GET POST /stacks/new",
        "GET POST /stacks/{uid}/edit",
        "POST /stacks/{uid}/apply",
        "POST /stacks/{uid}/archive",
        "POST /stacks/{uid}/restore",
        "GET POST /room/new",
        "GET POST /room/{uid}/edit",
        "POST /room/{uid}/archive",
        "POST /room/{uid}/restore",
        "POST /rules/{uid}",
        "POST /rules/{uid}/reset/{name}",
        "POST /rules/reset",
        "POST /learning/mode",
        "POST /learning/anew",
        "POST /learning/all",
        "POST /plan/hours",
        "POST /plan/hours/away",
        "POST /plan/hours/day",
        "POST /plan/hours/holidays",
        "POST /plan/hours/rename",
        "POST /plan/hours/repeat",
        "POST /plan/hours/week",
        "POST /plan/hours/{uid}/archive",
        "POST /plan/make",
        "POST /plan/{uid}/apply/{panel_uid}",
        "POST /plan/promise",
        "POST /plan/promise/{uid}/archive",
        "POST /plan/promise/{uid}/take",
        "GET /plan/promise/{uid}/others",
        "POST /plan/right",
        "POST /plan/search",
        "POST /plan/search/end",
        "POST /plan/{uid}/accept",
        "POST /plan/{uid}/dismiss",
        "POST /plan/{uid}/pin/{layer_uid}",
        "GET POST /room/{uid}/import",
        "POST /room/{uid}/import/check",
        "POST /room/{uid}/readings",
        "POST /room/{uid}/sensors",
        "POST /sensors/{uid}/revoke",
        "POST /readings/{uid}/set-aside",
        "POST /readings/{uid}/restore",
        "GET POST /data/import",
    ),
    "studio": (
        "GET POST /studio",
        "POST /studio/zone",
        "GET /data/archive",
        "GET POST /share",
        "GET POST /share/{uid}/edit",
        "POST /share/{uid}/renew",
        "POST /share/{uid}/revoke",
        "POST /share/{uid}/restore",
    ),
    "people": (
        "GET /people",
        "POST /people/invite",
        "POST /people/invitations/{uid}/revoke",
        "POST /people/{uid}/role",
        "POST /people/{uid}/remove",
        "POST /people/events/{uid}/undo",
    ),
    "purge": ("GET POST /panels/{uid}/purge", "GET POST /purge/{kind}/{uid}", "GET POST /people/{uid}/purge"),
}
NEEDS: Mapping[Need, tuple[str, ...]] = {need: (*lines, *INTERFACES.get(need, ())) for need, lines in PAGES.items()}
STATIC = "/static/"  # files: open
_PARAMETER = re.compile(r"\{\w+\}")


def _pairs() -> dict[tuple[str, str], Need]:
    found: dict[tuple[str, str], Need] = {}
    for need, lines in NEEDS.items():
        for line in lines:
            *methods, path = line.split()
            found.update({(method, path): need for method in methods})
    return found


# (method, path as the route has it) -> what it takes.
TABLE: Mapping[tuple[str, str], Need] = _pairs()


def _order(path: str) -> list[tuple[bool, str]]:
    """Words before parameters, piece by piece: /panels/new is not the panel "new"."""
    return [(bool(_PARAMETER.fullmatch(piece)), piece) for piece in path.split("/")]


_PATTERNS = [
    (re.compile("[^/]+".join(map(re.escape, _PARAMETER.split(path)))), path)
    for path in sorted({path for _, path in TABLE if "{" in path}, key=_order)
]


def needed(method: str, path: str) -> Need | None:
    """What a request takes, by the table; None where the table has no such address."""
    if (method, path) in TABLE:
        return TABLE[method, path]
    for pattern, template in _PATTERNS:
        if pattern.fullmatch(path) and (method, template) in TABLE:
            return TABLE[method, template]
    return None


def is_permission(need: Need) -> bool:
    """Whether it takes a role in a studio."""
    return need not in get_args(Open)
