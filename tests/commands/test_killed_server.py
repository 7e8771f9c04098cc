"""The real server, killed again and again while sixteen people write: what was answered is kept, and kept once.

A person whose answer never came sends the form again, with the key it has; so does each writer here. A kill takes the
program's memory, not the machine's: that the disk has what was committed is the engines' own promise (SQLite with
``synchronous=FULL``, PostgreSQL with ``fsync`` and ``synchronous_commit`` on, as both are set up here).
"""

import http.client
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.parse
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from queue import Empty, SimpleQueue

import pytest
from sqlalchemy import select
from sqlmodel import col

from server.planning.schedule import compiled
from server.services import upkeep
from server.store.db import Database
from server.store.tables import ChangeSet, Thinner
from tests.databases import running_cluster

ROOT = Path(__file__).parents[2]
WRITES, WRITERS, KILLS = 200, 16, 5
# Loads the program once and forks it for each life, so that nobody waits for imports. Each life is ./umberday serve.
NURSERY = """
import os, sys
import server.web.serve
from server.__main__ import main
for port in sys.stdin:
    child = os.fork()
    if child == 0:
        os.setsid()
        os._exit(main(["serve", "--port", port.strip()]))
    print("pid", child, flush=True)
"""


class Lives:
    """One server after the other on one port."""

    def __init__(self, url: str, home: Path) -> None:
        with socket.socket() as listener:
            listener.bind(("127.0.0.1", 0))
            self.port = int(listener.getsockname()[1])
        environ = {**os.environ, "PYTHONPATH": str(ROOT), "DATABASE_URL": url, "XDG_DATA_HOME": str(home)}
        environ.pop("DISPLAY", None)
        kept = compiled.folder(home / "umberday")
        kept.mkdir(parents=True)
        (kept / "compiling").touch()  # nothing is to be compiled aside: that would outlive the kill
        self.nursery = subprocess.Popen(
            [sys.executable, "-P", "-c", NURSERY],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=environ,
        )
        self.pid = 0

    def begin(self) -> None:
        assert self.nursery.stdin is not None
        assert self.nursery.stdout is not None
        self.nursery.stdin.write(f"{self.port}\n")
        self.nursery.stdin.flush()
        told = [self.nursery.stdout.readline() for _ in range(2)]
        self.pid = next(int(line.split()[1]) for line in told if line.startswith("pid"))
        assert any(line.startswith("Umberday is at") for line in told), told

    def kill(self) -> None:
        os.killpg(self.pid, signal.SIGKILL)

    def end(self) -> None:
        if self.pid:
            self.kill()
        self.nursery.kill()
        self.nursery.communicate()


def send(port: int, label: str) -> int:
    """The status of one form sent. Raises OSError and HTTPException when the server dies under it."""
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=30)) as line:
        key = f"key-of-{label}".replace(" ", "-")
        body = urllib.parse.urlencode({"label": label, "solvent": "gum_turpentine", "command_key": key})
        headers = {"Content-Type": "application/x-www-form-urlencoded", "Origin": f"http://127.0.0.1:{port}"}
        line.request("POST", "/shelf/thinners/new", body, headers)
        return line.getresponse().status


@pytest.fixture
def own_url(engine_name: str, tmp_path: Path) -> Iterator[str]:
    """A database whose engine gives its full promise, unlike the quick one of the other tests."""
    if engine_name == "sqlite":
        yield f"sqlite:///{tmp_path / 'studio.db'}"
        return
    with running_cluster({"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on"}) as cluster:
        cluster.execute("CREATE DATABASE studio")
        yield cluster.url("studio")


def test_a_killed_server_loses_no_acknowledged_write_and_doubles_none(own_url: str, tmp_path: Path) -> None:
    waiting: SimpleQueue[str] = SimpleQueue()
    for number in range(WRITES):
        waiting.put(f"Thinner {number:03}")
    acknowledged: list[str] = []
    faults: list[str] = []
    again: list[str] = []  # sent more than once
    lives = Lives(own_url, tmp_path)

    def write() -> None:
        while True:
            try:
                label = waiting.get_nowait()
            except Empty:
                return
            while True:
                try:
                    status = send(lives.port, label)
                    break
                except (OSError, http.client.HTTPException):
                    again.append(label)
                    time.sleep(0.05)
            if status != 303:
                faults.append(f"{label}: {status}")
            acknowledged.append(label)

    try:
        lives.begin()
        writers = [threading.Thread(target=write) for _ in range(WRITERS)]
        for writer in writers:
            writer.start()
        for life in range(1, KILLS + 1):
            while len(acknowledged) < life * WRITES // (KILLS + 1):
                time.sleep(0.002)
            lives.kill()
            lives.begin()
        for writer in writers:
            writer.join(timeout=120)
        # Every form once more, as an impatient finger sends it.
        assert [send(lives.port, label) for label in acknowledged[:20]] == [303] * 20
    finally:
        lives.end()
    assert faults == []  # nobody was told "locked"
    assert len(acknowledged) == WRITES
    assert again  # the kills did hit somebody
    db = Database(own_url)
    with db.read() as session:
        kept = session.scalars(select(col(Thinner.label)).order_by(col(Thinner.label))).all()
        changes = session.scalars(select(ChangeSet)).all()
    db.close()
    assert list(kept) == sorted(acknowledged)
    assert len(changes) == WRITES
    assert upkeep.check(own_url).faults == ()
