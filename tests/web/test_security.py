"""The layers around every request: who may ask, how much, from where, and what every answer says.

The rules for Sec-Fetch-Site are those of the Fetch Metadata specification (W3C), the order of the checks is ours.
"""

import logging

import pytest
from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.testclient import TestClient

from server.web.security.headers import HEADERS
from server.web.security.hosts import host_name

HTMX = {"HX-Request": "true", "HX-Request-Type": "partial"}


@pytest.fixture
def app(app: FastAPI) -> FastAPI:
    """The app with three addresses more, to try the layers on."""

    async def echo(request: Request) -> PlainTextResponse:
        form = await request.form()
        return PlainTextResponse(str(len(str(form.get("text", "")))))

    def broken(request: Request) -> PlainTextResponse:
        raise RuntimeError("the secret of the trace")

    app.add_route("/try/echo", echo, methods=["GET", "POST"])
    app.add_route("/try/broken", broken)
    app.add_route("/api/v1/try-broken", broken)
    return app


@pytest.mark.parametrize("path", ["/healthz", "/nothing-here", "/static/umberday.css", "/api/v1/nothing-here"])
def test_every_answer_carries_the_headers(client: TestClient, path: str):
    answer = client.get(path)
    for name, value in HEADERS.items():
        assert answer.headers[name] == value
    assert len(answer.headers["X-Request-ID"]) == 12
    policy = answer.headers["Content-Security-Policy"]
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy


def test_the_request_id_is_ours(client: TestClient):
    answer = client.get("/healthz", headers={"X-Request-ID": "forged\tline"})
    assert "forged" not in answer.headers["X-Request-ID"]


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8000", "localhost:1234", "LOCALHOST", "[::1]", "[::1]:8000"])
def test_names_of_this_machine_are_answered(client: TestClient, host: str):
    assert client.get("/healthz", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        *("evil.example", "127.0.0.1.evil.example", "localhost.evil.example:8000", "", "0.0.0.0"),
        *("127.0.0.1:80@evil.example", "localhost:80/evil.example", "[::1", "[::1]evil.example", "localhost:x"),
    ],
)
def test_other_names_are_refused(client: TestClient, host: str):
    answer = client.get("/healthz", headers={"Host": host})
    assert answer.status_code == 400
    assert "not one of the studio" in answer.text


def test_a_host_name_is_cut_from_its_port():
    assert host_name("[::1]:80") == "[::1]"
    assert host_name("LocalHost:80") == "localhost"


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "cross-site", "Origin": "http://127.0.0.1"},
        {"Origin": "http://evil.example"},
        {"Origin": "http://127.0.0.1:3000"},
        {"Origin": "https://127.0.0.1"},
        {"Origin": "null"},
    ],
)
@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
def test_what_other_sites_send_is_refused(client: TestClient, headers: dict[str, str], method: str):
    answer = client.request(method, "/try/echo", headers=headers)
    assert answer.status_code == 403
    assert "another site" in answer.text


@pytest.mark.parametrize(
    "headers",
    [{}, {"Sec-Fetch-Site": "same-origin"}, {"Sec-Fetch-Site": "none"}, {"Origin": "http://127.0.0.1"}],
)
def test_what_our_pages_and_programs_send_is_taken(client: TestClient, headers: dict[str, str]):
    assert client.post("/try/echo", data={"text": "abc"}, headers=headers).text == "3"


def test_reading_from_elsewhere_is_allowed(client: TestClient):
    assert client.get("/healthz", headers={"Sec-Fetch-Site": "cross-site"}).status_code == 200


def test_a_body_within_the_limit_is_taken(client: TestClient):
    assert client.post("/try/echo", data={"text": "a" * 900_000}).text == "900000"


def test_ten_megabytes_are_told_to_be_too_much(client: TestClient):
    answer = client.post("/try/echo", data={"text": "a" * 10_000_000})
    assert answer.status_code == 413
    assert "<!doctype html>" in answer.text
    assert "Shorten it" in answer.text


def test_a_body_without_a_declared_length_is_counted(client: TestClient):
    chunks = (b"text=" + b"a" * 300_000 for _ in range(5))
    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    assert client.post("/try/echo", content=chunks, headers=headers).status_code == 413


@pytest.mark.parametrize("declared", ["-1", "x", "1e3", "²"])
def test_a_length_that_is_no_number_is_refused(client: TestClient, declared: str):
    assert client.post("/try/echo", headers=[(b"Content-Length", declared.encode("latin-1"))]).status_code == 400


def test_a_length_told_in_two_ways_is_refused_and_the_line_closed(client: TestClient):
    """RFC 9112, 6.1: or a proxy that believes the other length takes the rest for somebody's next request."""
    smuggled = b"0\r\n\r\nGET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
    headers = {"Transfer-Encoding": "chunked", "Content-Length": str(len(smuggled))}
    answer = client.post("/studio", content=smuggled, headers=headers)
    assert (answer.status_code, answer.headers["connection"]) == (400, "close")


def test_htmx_gets_a_fragment(client: TestClient):
    answer = client.post("/try/echo", data={"text": "a" * 2_000_000}, headers=HTMX)
    assert answer.status_code == 413
    assert "<html" not in answer.text
    assert 'role="alert"' in answer.text


def test_a_fault_shows_no_trace(app: FastAPI):
    client = TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False)
    for path, kind in (("/try/broken", "text/html"), ("/api/v1/try-broken", "application/problem+json")):
        answer = client.get(path)
        assert answer.status_code == 500
        assert answer.headers["Content-Type"].startswith(kind)
        assert "secret" not in answer.text
        assert "Traceback" not in answer.text
        assert "Content-Security-Policy" in answer.headers


def test_the_error_page_names_the_request(app: FastAPI, caplog: pytest.LogCaptureFixture):
    client = TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False)
    answer = client.get("/try/broken")
    assert answer.headers["X-Request-ID"] in answer.text
    assert f"request {answer.headers['X-Request-ID']} failed" in caplog.text


def test_the_log_holds_no_query_and_no_forged_line(client: TestClient, caplog: pytest.LogCaptureFixture):
    with caplog.at_level(logging.INFO, logger="umberday.access"):
        client.get("/nothing%0Aforged?token=secret")
    text = caplog.text
    assert "GET /nothing\\nforged 404" in text
    assert "secret" not in text


def test_long_answers_are_compressed(client: TestClient):
    answer = client.get("/static/umberday.css", headers={"Accept-Encoding": "gzip"})
    assert answer.headers["Content-Encoding"] == "gzip"
