"""The same questions for every address: does it work, what of a bad id, a wrong method, another site, hostile text.

The addresses are read off the app, so that a new page is asked as well. The interfaces of records are asked in
``test_api_records.py`` and ``test_api_schema.py``.
"""

import re
from html.parser import HTMLParser

import pytest
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from server.web.api import stateless
from server.web.pages import ROUTERS as PAGE_ROUTERS
from tests.web.pages_of_records import post_typed

HOSTILE = (
    "<script>alert(1)</script>",
    "'; drop table panel; --",
    "\x00\x1b[31m",
    "\u202eturned",
    "{{ 7 * 7 }}{% raw %}",
    "1e400",
    "-1",
    "9" * 400,
    "\ud83d\ude00 \U0001f3a8",
    "a" * 100_000,
    "../../etc/passwd",
    "0001-01-01T00:00",
)
VALUES = {"kind": "paints", "uid": "no-such-record-0"}
ROUTES = [
    (method, prefix + route.path)
    for routers, prefix in ((PAGE_ROUTERS, ""), ((stateless.router,), "/api/v1"))
    for router in routers
    for route in router.routes
    if isinstance(route, APIRoute)
    for method in sorted(route.methods or ())
]
GETS = [path for method, path in ROUTES if method == "GET"]
POSTS = [path for method, path in ROUTES if method == "POST"]
NO_PAGES = ("/healthz", "/worker.js", "/manifest.webmanifest", "/calendar.ics", "/data/archive")  # machines, files
# Forms of a shared install, asked in tests/web/people: here nobody signs in, and they are not there.
SHARED = ("/sign-in", "/first-owner", "/new-password", "/join/{token}")
PAGES = [path for path in GETS if path not in NO_PAGES]


def filled(path: str, **values: str) -> str:
    given = {**VALUES, **values}
    return re.sub(r"\{(\w+)(:\w+)?\}", lambda found: given.get(found[1], "x"), path)


class Outline(HTMLParser):
    """What a page is made of: its heading of first rank, ids, field names and their labels."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.fields: list[dict[str, str | None]] = []
        self.labels: set[str | None] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        attributes = dict(attrs)
        self.tags.append(tag)
        if found := attributes.get("id"):
            self.ids.append(found)
        if tag == "label":
            self.labels.add(attributes.get("for"))
        if tag in {"input", "select", "textarea"} and attributes.get("type") != "hidden":
            self.fields.append(attributes)


def check_page(text: str) -> None:
    outline = Outline(text)
    assert outline.tags.count("h1") == 1
    assert outline.tags.count("main") == 1
    assert len(outline.ids) == len(set(outline.ids)), [found for found in outline.ids if outline.ids.count(found) > 1]
    assert '="None"' not in text


@pytest.mark.parametrize("path", [path for path in PAGES if "{" not in path])
def test_a_page_works_in_an_empty_studio(client: TestClient, path: str):
    answer = client.get(path)
    assert answer.status_code == 200
    check_page(answer.text)


@pytest.mark.parametrize("path", [path for path in GETS if "{uid}" in path])
@pytest.mark.parametrize("uid", ["no-such-record-0", "0", "%00", "'--", "a" * 300, "%F0%9F%8E%A8"])
def test_a_bad_id_is_not_found(client: TestClient, path: str, uid: str):
    assert client.get(filled(path, uid=uid)).status_code == 404


@pytest.mark.parametrize("path", [path for path in POSTS if "{uid}" in path])
def test_a_post_to_a_bad_id_is_not_found(client: TestClient, path: str):
    assert client.post(filled(path), data={"version": "1"}).status_code in {404, 422}


@pytest.mark.parametrize("path", sorted({path for _, path in ROUTES}))
def test_a_wrong_method_is_refused(client: TestClient, path: str):
    known = {method for method, other in ROUTES if other == path}
    for method in {"GET", "POST", "PUT", "DELETE", "PATCH"} - known:
        answer = client.request(method, filled(path))
        # Another address may take this method: /panels/{uid} reads what /panels/new would.
        assert answer.status_code in {404, 405}, method


@pytest.mark.parametrize("path", POSTS)
def test_no_other_site_may_post(client: TestClient, path: str):
    answer = client.post(filled(path), headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 403


@pytest.mark.parametrize("path", POSTS)
def test_an_empty_post_is_answered(client: TestClient, path: str):
    assert client.post(filled(path)).status_code < 500


def names_of_fields(client: TestClient, path: str) -> list[str]:
    text = client.get(filled(path)).text
    return sorted({name for name in re.findall(r'name="([^"]+)"', text) if name not in {"viewport", "color-scheme"}})


@pytest.mark.parametrize(
    "path", [path for path in POSTS if path in GETS and "{uid}" not in path and path not in SHARED]
)
def test_hostile_text_in_every_field_comes_back_as_text(client: TestClient, path: str):
    names = [name for name in names_of_fields(client, path) if name not in {"command_key", "_add", "_remove"}]
    for text in HOSTILE:
        answer = post_typed(client, filled(path), dict.fromkeys(names, text))
        assert answer.status_code in {200, 303, 409, 413, 422}, text[:40]
        assert "<script>alert" not in answer.text
        assert "\x00" not in answer.text


QUERIES = [
    (route.path, field.alias)
    for router in PAGE_ROUTERS
    for route in router.routes
    if isinstance(route, APIRoute) and "GET" in (route.methods or ()) and "{uid}" not in route.path
    for field in route.dependant.query_params
]


@pytest.mark.parametrize(("path", "name"), QUERIES)
def test_a_query_that_makes_no_sense_is_no_fault_of_ours(client: TestClient, path: str, name: str):
    for text in ("", "x", "0001-01-01", "9999-12-31", "2026-02-30", "\x00", "-1", "9" * 30, "a" * 2000, "<script>x"):
        answer = client.get(filled(path), params={name: text})
        assert answer.status_code in {200, 303, 404, 422}, text[:40]
        assert "<script>x" not in answer.text
