"""Everything the pages do, programs can do: each address of a page names its interface, or why there is none.

A new page is a line here: under what it does for programs, or with a reason among those that need none.
"""

import re

from server.services.roles import MAY, PERMISSIONS, ROLES
from server.web.security.who_may import PAGES, TABLE, is_permission
from server.web.security.who_may_call import INTERFACES

API = "/api/v1"
# Page -> what does the same for a program, all of it under /api/v1. A form that is only shown stands with its sending.
SAME = {
    "GET /": "GET /today",
    "GET /wall": "GET /today",
    "GET /calendar": "GET /calendar",
    "GET /calendar.ics": "GET /calendar.ics",
    "GET POST /calendar/own": "GET /own-feeds, POST /own-feeds",
    "POST /calendar/own/{uid}/revoke": "POST /own-feeds/{uid}/revoke",
    "GET /plan": "GET /plans, GET /working-hours",
    "GET /plan/days": "GET /plans",
    "GET /plan/days/{month}": "GET /plans",
    "GET /plan/panels": "GET /plans",
    "GET /plan/panels/{panel_uid}": "GET /plans",
    "GET /plan/{uid}/days/{month}": "GET /plans/{uid}",
    "GET /plan/{uid}/panels": "GET /plans/{uid}",
    "GET /plan/{uid}/panels/{panel_uid}": "GET /plans/{uid}",
    "GET /plan/{uid}/changes": "GET /plans/{uid}",
    "GET /plan/promise": "GET /quotes",
    "POST /plan/promise": "POST /quotes",
    "GET /plan/promise/{uid}": "GET /quotes/{uid}",
    "GET /plan/promise/{uid}/others": "GET /quotes/{uid}/others",
    "POST /plan/promise/{uid}/take": "POST /quotes/{uid}/take",
    "POST /plan/promise/{uid}/archive": "POST /quotes/{uid}/archive",
    "GET /plan/search": "GET /plan-search",
    "POST /plan/search": "POST /plan-search",
    "POST /plan/search/end": "POST /plan-search/end",
    "GET /plan/week": "GET /plan-week",
    "GET /plan/hours": "GET /working-hours",
    "POST /plan/hours": "POST /working-hours",
    "POST /plan/hours/week": "POST /working-hours",  # forms that make such lines
    "POST /plan/hours/away": "POST /working-hours",
    "POST /plan/hours/day": "POST /working-hours",
    "POST /plan/hours/repeat": "POST /working-hours",
    "POST /plan/hours/rename": "POST /working-hours/rename",
    "POST /plan/hours/holidays": "POST /working-hours",
    "POST /plan/hours/{uid}/archive": "POST /working-hours/{uid}/archive",
    "POST /plan/make": "POST /plans",
    "POST /plan/right": "POST /plans/right",
    "POST /plan/{uid}/apply/{panel_uid}": "POST /plans/{uid}/apply",
    "POST /plan/{uid}/accept": "POST /plans/{uid}/accept",
    "POST /plan/{uid}/dismiss": "POST /plans/{uid}/dismiss",
    "POST /plan/{uid}/pin/{layer_uid}": "POST /plans/{uid}/pin",
    "GET /panels": "GET /panels, GET /today",
    "GET POST /panels/new": "POST /panels",
    "GET /panels/{uid}": "GET /panels/{uid}, GET /panels/{uid}/board",
    "GET POST /panels/{uid}/edit": "PUT /panels/{uid}",
    "POST /panels/{uid}/archive": "POST /panels/{uid}/archive",
    "POST /panels/{uid}/restore": "POST /panels/{uid}/restore",
    "GET /panels/{uid}/finish": "GET /panels/{uid}/finish, GET /panels/{uid}/finish-steps",
    "POST /panels/{uid}/finish": "POST /panels/{uid}/finish",
    "GET POST /panels/{uid}/finish/steps": "POST /panels/{uid}/finish-steps",
    "GET POST /panels/{uid}/finish/tests": "POST /panels/{uid}/finish-tests",
    "GET POST /finish/{uid}/do": "POST /finish-steps/{uid}/do",
    "GET POST /finish/{uid}/edit": "PUT /finish-steps/{uid}",
    "POST /finish/{uid}/undone": "POST /finish-steps/{uid}/undone",
    "POST /finish/{uid}/archive": "POST /finish-steps/{uid}/archive",
    "POST /finish/{uid}/restore": "POST /finish-steps/{uid}/restore",
    "GET POST /finish-tests/{uid}/edit": "PUT /finish-tests/{uid}, GET /history/of/{kind}/{uid}",
    "POST /finish-tests/{uid}/mistaken": "POST /finish-tests/{uid}/archive",
    "POST /finish-tests/{uid}/restore": "POST /finish-tests/{uid}/restore",
    "GET /panels/{uid}/places": "GET /panels/{uid}/stays",
    "POST /panels/{uid}/places": "POST /panels/{uid}/moves",
    "GET POST /moves/{uid}/edit": "PUT /moves/{uid}",
    "POST /moves/{uid}/archive": "POST /moves/{uid}/archive",
    "POST /moves/{uid}/restore": "POST /moves/{uid}/restore",
    "GET /panels/{uid}/record": "GET /panels/{uid}/record",
    "GET /panels/{uid}/record/{kind}": "GET /panels/{uid}/record, GET /panels/{uid}/record.txt",
    "GET POST /panels/{uid}/purge": "GET /panels/{uid}/purge, POST /panels/{uid}/purge",
    "GET POST /purge/{kind}/{uid}": "GET /purge/{kind}/{uid}, POST /purge/{kind}/{uid}",
    "GET POST /people/{uid}/purge": "GET /members/{uid}/purge, POST /members/{uid}/purge",
    "GET POST /panels/{uid}/layers/new": "POST /panels/{uid}/layers",
    "GET POST /layers/{uid}/edit": "PUT /layers/{uid}",
    "GET POST /layers/{uid}/paint": "POST /layers/{uid}/paint",
    "POST /layers/{uid}/unpaint": "POST /layers/{uid}/unpaint",
    "POST /layers/{uid}/move": "POST /layers/{uid}/move",
    "POST /layers/{uid}/archive": "POST /layers/{uid}/archive",
    "POST /layers/{uid}/restore": "POST /layers/{uid}/restore",
    "GET /layers/{uid}/what-if": "POST /layers/{uid}/what-if",
    "GET /layers/{uid}/book": "GET /layers/{uid}/book",
    "GET /layers/{uid}/tests": "GET /layers/{uid}/touch-tests",
    "POST /layers/{uid}/tests": "POST /layers/{uid}/touch-tests",
    "GET POST /tests/{uid}/edit": "PUT /touch-tests/{uid}, GET /history/of/{kind}/{uid}",
    "POST /tests/{uid}/mistaken": "POST /touch-tests/{uid}/archive",
    "POST /tests/{uid}/restore": "POST /touch-tests/{uid}/restore",
    "POST /tests/{uid}/sure": "POST /touch-tests/{uid}/sure",
    "GET /sittings": "GET /sittings",
    "GET POST /sittings/end": "POST /sittings",
    "POST /sittings/{uid}/archive": "POST /sittings/{uid}/archive",
    "POST /sittings/{uid}/restore": "POST /sittings/{uid}/restore",
    "GET /mixing": "POST /mixing",
    "POST /mixing/keep": "POST /mixes",
    "GET /mixes": "GET /mixes",
    "GET POST /mixes/new": "POST /mixes",
    "GET /mixes/{uid}": "GET /mixes/{uid}, POST /mixing",
    "GET POST /mixes/{uid}/edit": "PUT /mixes/{uid}",
    "POST /mixes/{uid}/archive": "POST /mixes/{uid}/archive",
    "POST /mixes/{uid}/restore": "POST /mixes/{uid}/restore",
    "GET /stacks": "GET /stacks",
    "GET POST /stacks/new": "POST /stacks",
    "GET /stacks/{uid}": "GET /stacks/{uid}, POST /stacks/{uid}/check",
    "GET POST /stacks/{uid}/edit": "PUT /stacks/{uid}",
    "POST /stacks/{uid}/apply": "POST /stacks/{uid}/apply",
    "POST /stacks/{uid}/archive": "POST /stacks/{uid}/archive",
    "POST /stacks/{uid}/restore": "POST /stacks/{uid}/restore",
    "POST /stacks/starter": "POST /stacks/starter",
    "GET /shelf": "GET /paints, GET /mediums, GET /thinners, GET /tubes",
    "POST /shelf/starter": "POST /shelf/starter",
    "GET POST /shelf/{kind}/new": "POST /paints, POST /mediums, POST /thinners",
    "GET POST /shelf/{kind}/{uid}/edit": "PUT /paints/{uid}, PUT /mediums/{uid}, PUT /thinners/{uid}",
    "POST /shelf/{kind}/{uid}/archive": (
        "POST /paints/{uid}/archive, POST /mediums/{uid}/archive, POST /thinners/{uid}/archive"
    ),
    "POST /shelf/{kind}/{uid}/restore": (
        "POST /paints/{uid}/restore, POST /mediums/{uid}/restore, POST /thinners/{uid}/restore"
    ),
    "GET /room": "GET /places",
    "GET POST /room/new": "POST /places",
    "GET /room/{uid}": "GET /places/{uid}, GET /places/{uid}/course, GET /places/{uid}/reading-batches",
    "GET POST /room/{uid}/edit": "PUT /places/{uid}",
    "POST /room/{uid}/archive": "POST /places/{uid}/archive",
    "POST /room/{uid}/restore": "POST /places/{uid}/restore",
    "POST /room/{uid}/readings": "POST /places/{uid}/typed-readings",
    "GET POST /room/{uid}/import": "POST /places/{uid}/reading-files",
    "POST /room/{uid}/import/check": "POST /places/{uid}/reading-files/take",
    "POST /room/{uid}/sensors": "POST /places/{uid}/sensors",
    "POST /sensors/{uid}/revoke": "POST /sensors/{uid}/revoke",
    "POST /readings/{uid}/set-aside": "POST /reading-batches/{uid}/set-aside",
    "POST /readings/{uid}/restore": "POST /reading-batches/{uid}/restore",
    "GET /learning": "GET /learning, GET /learning/promises, GET /learning/doubtful, GET /learning/presses",
    "POST /learning/mode": "PUT /learning",
    "POST /learning/anew": "POST /learning/anew",
    "POST /learning/all": "POST /learning/all",
    "POST /learning/seen-wet/{uid}": "POST /layers/{uid}/seen-wet",
    "GET /rules": "GET /rules",
    "GET /rules/{uid}": "GET /rules/{uid}",
    "POST /rules/{uid}": "PUT /rules/{uid}/limits",
    "POST /rules/{uid}/reset/{name}": "POST /limits/{name}/reset",
    "POST /rules/reset": "POST /limits/reset",
    "GET /history": "GET /history",
    "POST /history/{uid}/undo": "POST /history/{uid}/undo",
    "POST /history/{uid}/redo": "POST /history/{uid}/redo",
    "GET /data": "GET /lists",
    "GET /data/lists/{name}.csv": "GET /lists/{name}.csv",
    "GET POST /data/import": "POST /lists/{name}",
    "GET /data/archive": "GET /archive",
    "GET POST /studio": "GET /studio, PUT /studio",
    "POST /studio/zone": "PUT /studio",
    "GET /share": "GET /share-links",
    "POST /share": "POST /share-links",
    "GET POST /share/{uid}/edit": "PUT /share-links/{uid}",
    "POST /share/{uid}/renew": "POST /share-links/{uid}/renew",
    "POST /share/{uid}/revoke": "POST /share-links/{uid}/revoke",
    "POST /share/{uid}/restore": "POST /share-links/{uid}/restore",
    "GET /people": "GET /members, GET /members/events, GET /members/left, GET /invitations",
    "POST /people/invite": "POST /invitations",
    "POST /people/invitations/{uid}/revoke": "POST /invitations/{uid}/revoke",
    "POST /people/{uid}/role": "POST /members/{uid}/role",
    "POST /people/{uid}/remove": "POST /members/{uid}/remove",
    "POST /people/events/{uid}/undo": "POST /members/events/{uid}/undo",
}
_BROWSER = "it is a person's own, in a browser: a program has its token and needs no session"
_ESCAPE = "a token that could do this would outlive its own revoking, or take the account over"
_STUDIOS = "a token acts in one studio, chosen when it was made"
_TEXT = "words to read, the same for everybody; nothing of the studio is in it"
_LINK = "it is opened by a link's own token, which programs may use as it is"
NONE = {
    "GET /healthz": "it is for programs already",
    "GET /worker.js": _BROWSER,
    "GET /manifest.webmanifest": _BROWSER,
    "GET /waiting": _BROWSER,
    "GET POST /sign-in": _BROWSER,
    "GET POST /first-owner": _BROWSER,
    "GET POST /new-password": _ESCAPE,
    "GET POST /join/{token}": _BROWSER,
    "POST /sign-out": _BROWSER,
    "GET /account": _BROWSER,
    "POST /account/name": _BROWSER,
    "POST /account/password": _ESCAPE,
    "POST /account/sessions/{uid}/end": _ESCAPE,
    "POST /account/sessions/end-others": _ESCAPE,
    "GET /account/codes": _ESCAPE,
    "POST /account/codes/begin": _ESCAPE,
    "POST /account/codes/confirm": _ESCAPE,
    "POST /account/codes/stop": _ESCAPE,
    "POST /account/codes/recovery": _ESCAPE,
    "GET POST /account/tokens": _ESCAPE,
    "POST /account/tokens/{uid}/revoke": _ESCAPE,
    "GET /studios": _STUDIOS,
    "POST /studios/new": _STUDIOS,
    "POST /studios/{uid}/choose": _STUDIOS,
    "GET /f/{token}/calendar.ics": _LINK,
    "GET /f/{token}/tasks.ics": _LINK,
    "GET /s/{token}": _LINK,
    "GET /s/{token}/calendar": _LINK,
    "GET /s/{token}/wall": _LINK,
    "GET /s/{token}/panels/{ref}": _LINK,
    "GET /api": "it is the page that describes the interfaces",
    "GET /how": _TEXT,
    "GET /glossary": _TEXT,
    "GET /cautions": _TEXT,
    "GET /parts": "it shows the parts that pages are made of",
}


def pairs(lines: list[str]) -> set[tuple[str, str]]:
    found = set()
    for line in lines:
        *methods, path = line.split()
        found |= {(method, path) for method in methods}
    return found


PAGE_ROUTES = {(method, path) for method, path in TABLE if not path.startswith(API)}
CALLS = {(method, path) for method, path in TABLE if path.startswith(API)}


def calls_of(told: str) -> list[tuple[str, str]]:
    return [(method, API + path) for method, path in re.findall(r"([A-Z]+) (/\S*?)(?:,|$)", told)]


def test_every_page_names_its_interface_or_why_there_is_none() -> None:
    named = pairs([*SAME, *NONE])
    missing = sorted(f"{method} {path}" for method, path in PAGE_ROUTES - named)
    assert not missing, "Add to SAME or NONE in tests/contract/test_pages_and_calls.py: " + ", ".join(missing)
    assert not named - PAGE_ROUTES, "Gone: take out"
    assert not pairs(list(SAME)) & pairs(list(NONE))


def test_every_interface_that_is_named_is_there() -> None:
    for page, told in SAME.items():
        found = calls_of(told)
        assert found, page
        assert set(found) <= CALLS, page


def test_no_interface_takes_less_than_its_page() -> None:
    """Whoever may not do it on the page may not have a program do it, and the other way round."""
    for line, told in SAME.items():
        changes = [method for method in line.split()[:-1] if method != "GET"]
        if not changes:
            continue
        need = TABLE[changes[0], line.split()[-1]]
        for method, path in calls_of(told):
            if method == "GET" or TABLE[method, path] == need:
                continue
            raise AssertionError(f"{line} takes {need}, {method} {path} takes {TABLE[method, path]}")


def test_every_permission_that_programs_need_is_one_of_a_role() -> None:
    assert PAGES.keys() >= INTERFACES.keys()
    needs = {need for need in INTERFACES if is_permission(need)}
    assert needs == set(PERMISSIONS)
    assert all(any(need in MAY[role] for role in ROLES) for need in needs)
