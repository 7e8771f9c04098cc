"""Our calendars in a client that others wrote: calcurse, of Debian, takes a feed in and says what it has on which day.

It knows days, hours and tasks and no more, and reads times into the zone of its own machine.
"""

import re
import shutil
import subprocess
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from tests.web.pages_of_records import make_easel
from tests.web.test_feeds import feed, hang, planned, read

CLIENT = shutil.which("calcurse")
pytestmark = [
    pytest.mark.calendar_client,
    pytest.mark.skipif(CLIENT is None, reason="calcurse is not installed; ./umberday test installs it where it may"),
]


def ask_client(folder: Path, zone: str, *arguments: str) -> str:
    assert CLIENT
    done = subprocess.run(
        [CLIENT, "-D", str(folder), *arguments],
        env={"TZ": zone, "HOME": str(folder), "PATH": "/usr/bin:/bin", "LC_ALL": "C.UTF-8"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    return done.stdout + done.stderr


@pytest.mark.parametrize("zone", ["Europe/Madrid", "America/New_York", "Australia/Lord_Howe"])
def test_an_independent_client_takes_the_feed_in(
    tmp_path: Path, app: FastAPI, client: TestClient, db: Database, zone: str
):
    easel = make_easel(client, app, db, "Europe/Madrid")
    hang(easel)
    planned(easel)
    path = feed(easel)
    events, todos = read(easel, path), read(easel, path.replace("calendar.ics", "tasks.ics"), "VTODO")
    folder = tmp_path / "client"
    folder.mkdir()
    for name in ("calendar.ics", "tasks.ics"):
        file = tmp_path / name
        file.write_bytes(easel.client.get(path.replace("calendar.ics", name)).content)
        report = ask_client(folder, zone, "-i", str(file))
        assert " 0 skipped" in report, report
    start = events["Two pears: second painting"]["DTSTART"].dt.astimezone(ZoneInfo(zone))
    known = (folder / "apts").read_text(encoding="utf-8")
    assert f"{start:%m/%d/%Y @ %H:%M}" in known
    assert re.search(r"02/01/2027 \[1\] .*Two pears: due$", known, re.MULTILINE)
    assert all(summary in (folder / "todo").read_text(encoding="utf-8") for summary in todos)
    assert all(summary in known for summary in events)
