"""The page on which a painter takes everything along."""

import csv
import hashlib
import io
import json
import re
import shutil
import zipfile
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path
from xml.etree import ElementTree

import icalendar
import pytest
from starlette.testclient import TestClient

import seed_demo
from server.services import upkeep
from server.store.db import Database
from server.web.app import create_app
from server.web.pages import data
from server.web.settings import Settings

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=timezone.utc)


@pytest.fixture(scope="session")
def seeded_file(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = Path(shutil.copy(migrated_file, tmp_path_factory.mktemp("demo") / "demo.db"))
    db = Database(f"sqlite:///{path}")
    seed_demo.seed(db, NOW - timedelta(minutes=5))
    db.close()
    return path


@pytest.fixture
def demo(settings: Settings, seeded_file: Path) -> Iterator[TestClient]:
    shutil.copy(seeded_file, settings.database_url.removeprefix("sqlite:///"))
    db = Database(settings.database_url)
    app = create_app(settings, db)
    app.state.clock = lambda: NOW
    with TestClient(app, base_url="http://127.0.0.1", follow_redirects=False) as client:
        yield client
    db.close()


def test_the_page_tells_what_there_is(demo: TestClient):
    page = demo.get("/data").text
    assert re.search(r"\d+ panels, \d+ layers, \d+ touch tests", page)
    for address in ("/data/archive", "/data/lists/panels.csv", "/data/lists/shelf.csv"):
        assert f'href="{address}"' in page


def test_the_archive_holds_all_and_goes_back_into_an_empty_install(demo: TestClient, tmp_path: Path):
    answer = demo.get("/data/archive")
    assert answer.headers["content-type"] == "application/zip"
    assert answer.headers["content-disposition"] == 'attachment; filename="reedmace-yard-2026-11-25.zip"'
    path = tmp_path / "archive.zip"
    path.write_bytes(answer.content)
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        told = json.loads(archive.read("manifest.json"))
        for name, part in told["files"].items():
            assert hashlib.sha256(archive.read(name)).hexdigest() == part["sha256"]
        panels = [name for name in told["files"] if name.startswith("panels/")]
        assert len(panels) == 3 * told["tables"]["panel"]["rows"]
        for name in panels:
            if name.endswith(".svg"):
                drawing = ElementTree.fromstring(archive.read(name))
                assert drawing.tag == "{http://www.w3.org/2000/svg}svg"
            elif name.endswith(".json"):
                json.loads(archive.read(name))
        calendar = icalendar.Calendar.from_ical(archive.read("calendar.ics"))
        assert len(calendar.walk("VEVENT")) > 5
        listed = list(csv.reader(io.StringIO(archive.read("lists/layers.csv").decode("utf-8-sig"))))
    assert listed[0][:4] == ["Panel", "Layer", "Kind", "Mix"]
    assert len(listed) - 1 == told["tables"]["layer"]["rows"]
    other = f"sqlite:///{tmp_path / 'other.db'}"
    upkeep.restore(other, path)
    assert upkeep.check(other).faults == ()


@pytest.mark.parametrize("name", ["panels", "layers", "tests", "shelf", "mixes"])
def test_each_list_is_read_by_a_spreadsheet(demo: TestClient, name: str):
    answer = demo.get(f"/data/lists/{name}.csv")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert name in answer.headers["content-disposition"]
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"), newline="")))
    assert len(rows) > 5
    assert {len(row) for row in rows} == {len(rows[0])}


def test_another_list_is_none(demo: TestClient):
    assert demo.get("/data/lists/people.csv").status_code == 404


def test_only_so_many_archives_are_made_at_once(demo: TestClient):
    for _ in range(2):
        assert data.MAKING.acquire(blocking=False)
    try:
        answer = demo.get("/data/archive")
        assert answer.status_code == 503
        assert "Try again in a minute" in answer.text
    finally:
        for _ in range(2):
            data.MAKING.release()
    assert demo.get("/data/archive").status_code == 200
