"""What is around every page: health, errors, static files, the frame itself."""

import json
import os
import re

import pytest
from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import Response
from starlette.testclient import TestClient

from server.services import studios
from server.services.errors import Conflict, Invalid, NotFound, Refused
from server.web.deps import Page, Posted
from server.web.render import see_other
from server.web.settings import Settings
from server.web.static_files import FOR_EVER, HashedFiles

HTMX = {"HX-Request": "true", "HX-Request-Type": "partial"}


def test_healthz_asks_the_database(client: TestClient):
    answer = client.get("/healthz")
    assert answer.json() == {"status": "ok"}
    assert answer.headers["Cache-Control"] == "no-store"


def test_an_unknown_address_is_a_page_in_plain_words(client: TestClient):
    answer = client.get("/nothing-here")
    assert answer.status_code == 404
    assert "There is nothing here" in answer.text
    assert 'href="#main"' in answer.text


def test_a_wrong_method_says_what_would_do(client: TestClient):
    answer = client.post("/healthz")
    assert answer.status_code == 405
    assert "GET" in answer.headers["Allow"]
    assert "cannot be done at this address" in answer.text


def test_the_interfaces_answer_with_problem_details(client: TestClient):
    answer = client.get("/api/v1/nothing-here")
    assert answer.status_code == 404
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.json() == {"type": "about:blank", "title": "There is nothing here", "status": 404}


@pytest.mark.parametrize(
    ("headers", "whole"),
    [
        ({}, True),
        (HTMX, False),
        ({**HTMX, "HX-Request-Type": "full"}, True),
        ({**HTMX, "HX-Boosted": "true"}, True),
        ({**HTMX, "HX-History-Restore-Request": "true"}, True),
    ],
)
def test_only_htmx_asking_for_a_part_gets_a_fragment(client: TestClient, headers: dict[str, str], whole: bool):
    answer = client.get("/nothing-here", headers=headers)
    assert ("<html" in answer.text) is whole
    assert "HX-Request" in answer.headers["Vary"]


@pytest.mark.parametrize(
    ("fault", "status", "told"),
    [
        (NotFound(), 404, "There is nothing here"),
        (Refused("It is painted already."), 409, "It is painted already."),
        (Invalid.at("title", "Give it a name."), 422, "Give it a name."),
        (Conflict({}, "Somebody saved it first."), 409, "Somebody saved it first."),
    ],
)
def test_what_a_service_refuses_is_told(app: FastAPI, client: TestClient, fault: Exception, status: int, told: str):
    def refuse(request: Request) -> Response:
        raise fault

    app.add_route("/try/refuse", refuse)
    app.add_route("/api/v1/try-refuse", refuse)
    answer = client.get("/try/refuse")
    assert answer.status_code == status
    assert told in answer.text
    problem = client.get("/api/v1/try-refuse")
    assert problem.status_code == status
    assert problem.json()["status"] == status


def test_a_value_in_the_address_that_cannot_be_read(app: FastAPI, client: TestClient):
    @app.get("/try/number")
    def number(page: Page, wanted: int) -> None:
        return None

    answer = client.get("/try/number?wanted=<b>x</b>")
    assert answer.status_code == 422
    assert "wanted: Write a whole number" in answer.text
    assert "<b>x" not in answer.text


def test_what_was_done_is_told_once_with_its_undo(app: FastAPI, client: TestClient):
    @app.get("/try/page")
    def look(page: Page):
        return page.render("errors/page.html", {"status": 200, "title": "A page", "detail": "", "advice": ""})

    @app.post("/try/page")
    def save(page: Page, posted: Posted):
        with page.unit("Named the studio", posted) as work:
            if not work.repeated:
                studio = studios.get(work.session, page.actor)
                command = studios.public(studio).model_copy(update={"name": "North <light>"})
                studios.update(work.session, page.actor, command)
                work.location = "/try/page"
        return page.saved(work)

    sent = {"command_key": "abcdefgh1234"}
    first = client.post("/try/page", data=sent)
    assert (first.status_code, first.headers["Location"]) == (303, "/try/page")
    told = client.get("/try/page").text
    assert "Named the studio" in told
    assert "North &lt;light&gt;" in told
    assert re.search(r'action="/history/[\w-]+/undo"', told)
    assert "Named the studio" not in client.get("/try/page").text
    again = client.post("/try/page", data=sent)
    assert (again.status_code, again.headers["Location"]) == (303, "/try/page")
    assert again.headers["Set-Cookie"].split(";")[0] == first.headers["Set-Cookie"].split(";")[0]


def test_after_a_post_the_browser_is_sent_to_read():
    answer = see_other("/panels/x", "abc")
    assert answer.status_code == 303
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "samesite=strict" in cookie.lower()


def test_static_files_have_addresses_for_ever(client: TestClient, settings: Settings):
    files = HashedFiles(settings.static_dir)
    url = files.url("umberday.css")
    assert re.fullmatch(r"/static/umberday\.[0-9a-f]{10}\.css", url)
    answer = client.get(url)
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == FOR_EVER
    plain = client.get("/static/umberday.css")
    assert plain.headers["Cache-Control"] == "no-cache"
    assert plain.text == answer.text
    again = client.get("/static/umberday.css", headers={"If-None-Match": plain.headers["ETag"]})
    assert again.status_code == 304


@pytest.mark.parametrize(
    "path", ["umberday.0000000000.css", "nothing.0123456789.css", "nothing.css", "../pyproject.toml", "%2e%2e/umberday"]
)
def test_other_static_addresses_are_not_found(client: TestClient, path: str):
    assert client.get(f"/static/{path}").status_code == 404


def test_static_addresses_follow_the_content(tmp_path):
    (tmp_path / "a.css").write_text("one")
    files = HashedFiles(tmp_path)
    first = files.url("a.css")
    (tmp_path / "a.css").write_text("two, and longer")
    os.utime(tmp_path / "a.css", ns=(1, 1))
    assert files.url("a.css") != first
    with pytest.raises(FileNotFoundError):
        files.url("b.css")


def test_every_file_a_page_loads_is_ours(client: TestClient):
    text = client.get("/nothing-here").text
    for address in re.findall(r'(?:href|src)="([^"]+)"', text):
        assert address.startswith(("/", "#")), address
        if address.startswith("/static/"):
            assert client.get(address).status_code == 200
    configuration = re.search(r"name=\"htmx-config\" content='([^']+)'", text)
    assert configuration is not None
    assert json.loads(configuration[1]) == {"includeIndicatorCSS": False}


@pytest.mark.parametrize("path", ["/", "/panels", "/healthz", "/static/icon.svg", "/no-such-page", "/shelf/starter"])
def test_head_answers_as_get_would_without_its_body(client: TestClient, path: str):
    got, head = client.get(path), client.head(path)
    assert head.status_code == got.status_code
    assert head.content == b""
    assert head.headers["content-type"] == got.headers["content-type"]
    assert ("content-length" in head.headers) == ("content-length" in got.headers)


def test_a_form_that_leads_to_a_part_of_a_page_lets_htmx_write_it_into_the_address(client: TestClient):
    """A redirect that is followed loses the part after the hash (Fetch standard: a response's URL has no fragment)."""
    client.cookies.set("umberday_at", "layer-abc_1")
    plain = client.get("/panels")
    assert "HX-Push-Url" not in plain.headers
    client.cookies.set("umberday_at", "layer-abc_1")
    boosted = client.get("/panels?state=ready", headers={"HX-Request": "true"})
    assert boosted.headers["HX-Push-Url"] == "/panels?state=ready#layer-abc_1"
    client.cookies.clear()
    client.cookies.set("umberday_at", 'x" onload=')
    assert "HX-Push-Url" not in client.get("/panels", headers={"HX-Request": "true"}).headers
