"""How the server is stopped and what it says of itself, from outside."""

import http.client
import json
import logging
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.planning.schedule import compiled
from server.web import logs
from tests.commands.test_launcher import ROOT, free_port

SECRET = "s3cret-that-nobody-may-read"


@pytest.fixture
def server(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[str], int]]:
    kept = compiled.folder(tmp_path / "umberday")
    kept.mkdir(parents=True)
    (kept / "compiling").touch()  # nothing is compiled aside
    environ = {**os.environ, "PYTHONPATH": str(ROOT), "XDG_DATA_HOME": str(tmp_path)}
    for name in ("DATABASE_URL", "DISPLAY", "WAYLAND_DISPLAY"):
        environ.pop(name, None)
    port = free_port()
    options = ["--port", str(port), "--log-requests", "--log-format", "json"]
    command = [sys.executable, "-P", "-m", "server", "serve", *options]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environ)
    assert running.stdout is not None
    assert running.stdout.readline().startswith("Umberday is at")
    yield running, port
    if running.poll() is None:
        running.kill()
        running.communicate()


def test_a_stop_finishes_what_is_under_way_and_tells_no_secrets(server: tuple[subprocess.Popen[str], int]) -> None:
    running, port = server
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    line.request("GET", f"/cautions?token={SECRET}", headers={"Cookie": f"session={SECRET}"})
    answer = line.getresponse()
    answer.read()
    assert answer.status == 200
    # A form whose second half is sent only after the server was told to stop.
    body = f"label={SECRET}&solvent=gum_turpentine&command_key=key-of-a-slow-line"
    slow = socket.create_connection(("127.0.0.1", port))
    head = (
        f"POST /shelf/thinners/new HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\n"
        f"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    slow.sendall((head + body[:20]).encode())
    time.sleep(0.3)
    running.send_signal(signal.SIGTERM)
    time.sleep(0.5)
    with pytest.raises(OSError, match="refused"):
        socket.create_connection(("127.0.0.1", port), timeout=5).close()  # nothing new is taken
    slow.sendall(body[20:].encode())
    assert slow.recv(100).startswith(b"HTTP/1.1 303")
    slow.close()
    line.close()
    _, said = running.communicate(timeout=30)
    assert running.returncode == 0
    assert SECRET not in said
    events = [json.loads(each) for each in said.splitlines()]
    requests = [each for each in events if each["logger"] == "umberday.access"]
    assert [(each["method"], each["path"], each["status"]) for each in requests] == [
        ("GET", "/cautions", 200),
        ("POST", "/shelf/thinners/new", 303),
    ]
    assert all(each["ms"] >= 0 and each["request_id"] and each["at"].endswith("+00:00") for each in requests)
    assert [each["event"] for each in events if each["logger"] == "umberday.server"] == ["started", "stopped"]


def test_of_a_fault_its_kind_and_place_are_told_and_no_value() -> None:
    try:
        raise ValueError(SECRET)
    except ValueError:
        record = logging.LogRecord("umberday", logging.ERROR, __file__, 1, "%s broke", (SECRET,), sys.exc_info())
    line = logs.JsonLines().format(record)
    assert SECRET not in line
    told = json.loads(line)
    assert (told["level"], told["fault"]) == ("error", "ValueError")
    assert "test_operations.py" in told["where"][-1]
    assert "\n" not in line


def test_a_line_break_in_a_field_starts_no_line_of_its_own() -> None:
    record = logging.LogRecord("umberday.access", logging.INFO, __file__, 1, "x", (), None)
    record.fields = {"path": '/a\n{"event": "forged"}\u2028'}
    assert len(logs.JsonLines().format(record).splitlines()) == 1
