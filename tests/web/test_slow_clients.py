"""Who opens connections and says next to nothing, by a real socket: let go, while others are answered."""

import http.client
import logging
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
import uvicorn
from fastapi import FastAPI

from server.store.db import Database
from server.web.app import create_app
from server.web.security import slow_clients
from server.web.security.slow_clients import PunctualProtocol
from server.web.serve import AnnouncedServer
from server.web.settings import Settings

FORM = b"POST /studio HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/x-www-form-urlencoded\r\n"


@pytest.fixture
def port(db: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """A server that waits a second where it waits longer in earnest."""
    monkeypatch.setattr(slow_clients, "BODY_S", 1.0)
    monkeypatch.setattr(PunctualProtocol, "head_s", 1.0)
    app: FastAPI = create_app(Settings(str(db.url)), db)
    listener = socket.socket()
    listener.bind(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_config=None, access_log=False, http=PunctualProtocol, ws="none"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield listener.getsockname()[1]
    server.should_exit = True
    thread.join(10)
    listener.close()


Open = Callable[..., socket.socket]


@pytest.fixture
def opened(port: int) -> Iterator[Open]:
    """Connections that are closed in the end, each with what is sent on it."""
    with ExitStack() as stack:

        def make(*pieces: bytes) -> socket.socket:
            made = stack.enter_context(socket.create_connection(("127.0.0.1", port), timeout=8))
            for piece in pieces:
                made.sendall(piece)
            return made

        yield make


def status(port: int, path: str = "/healthz") -> int:
    asked = http.client.HTTPConnection("127.0.0.1", port, timeout=8)
    asked.request("GET", path)
    found = asked.getresponse()
    found.read()
    asked.close()
    return found.status


@pytest.mark.parametrize(
    "pieces",
    [(), (b"GET / HTT",), (b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\nX: ",)],
    ids=["nothing", "a line", "headers"],
)
def test_a_head_that_does_not_come_closes_the_connection(port: int, opened: Open, pieces: tuple[bytes, ...]):
    slow = [opened(*pieces) for _ in range(20)]
    assert status(port) == 200
    assert [each.recv(100) for each in slow] == [b""] * 20


def test_a_second_head_on_a_kept_connection_must_come_as_well(opened: Open):
    whole = b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
    slow = opened(whole)
    assert slow.recv(4000).startswith(b"HTTP/1.1 200")
    slow.sendall(b"GET /healthz HTTP")
    began = time.monotonic()
    while slow.recv(4000):
        pass
    assert time.monotonic() - began < 6


def test_a_body_that_does_not_come_is_told_and_the_connection_closed(opened: Open):
    slow = opened(FORM + b"Content-Length: 1000\r\n\r\nname=")
    answer = slow.recv(400)
    assert answer.startswith(b"HTTP/1.1 408")
    assert b"connection: close" in answer.lower()


def test_a_body_that_is_too_long_and_does_not_come_is_no_fault_of_ours(opened: Open, caplog: pytest.LogCaptureFixture):
    slow = opened(FORM + b"Content-Length: 5000000\r\n\r\nname=")
    assert slow.recv(400).startswith(b"HTTP/1.1 413")
    assert not [record for record in caplog.records if record.levelno >= logging.ERROR]


def test_a_body_that_trickles_is_no_better(opened: Open):
    slow = opened(FORM + b"Content-Length: 1000\r\n\r\n")
    began = time.monotonic()
    slow.settimeout(0.2)
    while time.monotonic() - began < 6:
        try:
            slow.sendall(b"a")
            if slow.recv(400):
                break
        except TimeoutError:
            continue
    assert time.monotonic() - began < 4


def test_whoever_goes_away_leaves_no_trace_in_the_log(opened: Open, caplog: pytest.LogCaptureFixture):
    with caplog.at_level(logging.INFO):
        opened(FORM + b"Content-Length: 1000\r\n\r\nname=").close()
        limit = time.monotonic() + 8
        while "went away" not in caplog.text and time.monotonic() < limit:
            time.sleep(0.05)
    assert "whoever sent it went away" in caplog.text
    assert not [record for record in caplog.records if record.levelno >= logging.ERROR]


def test_a_body_at_an_ordinary_pace_is_taken(opened: Open):
    slow = opened(FORM + b"Content-Length: 6\r\n\r\n")
    for piece in (b"na", b"me", b"=x"):
        time.sleep(0.2)
        slow.sendall(piece)
    assert b"HTTP/1.1 422" in slow.recv(400)


def test_the_server_that_people_start_is_punctual():
    assert AnnouncedServer(FastAPI(), "http://127.0.0.1/").config.http is PunctualProtocol
