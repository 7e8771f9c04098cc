"""What the worker and the installable app stand on, over HTTP, and the moment that a device sends with what waited."""

import json
import re
from datetime import datetime, timedelta, timezone

import pytest
from sqlmodel import col, select
from starlette.testclient import TestClient

from server.store.db import Database
from server.store.tables import Layer, TouchTest
from tests.services.board_studio import trade_fact
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.pages_of_records import form_to


@pytest.fixture
def bench(db: Database) -> Bench:
    """The studio that the app then finds. Ask for it before the client."""
    return make_bench(db)


def test_the_worker_keeps_files_that_are_there_for_ever(client: TestClient):
    answer = client.get("/worker.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"  # else an old worker would stay
    first = answer.text.splitlines()[0]
    files = json.loads(re.search(r"\[.*\]", first).group(0))  # type: ignore[union-attr]
    assert "/waiting" in files
    for path in files:
        got = client.get(path)
        assert got.status_code == 200, path
        assert path == "/waiting" or "immutable" in got.headers["cache-control"]


def test_every_page_names_the_manifest(client: TestClient):
    assert '<link rel="manifest" href="/manifest.webmanifest">' in client.get("/").text
    told = client.get("/manifest.webmanifest")
    assert told.headers["content-type"].startswith("application/manifest+json")
    assert all(client.get(icon["src"]).content[:4] == b"\x89PNG" for icon in told.json()["icons"])


@pytest.mark.parametrize(
    ("told", "pressed_at"),
    [
        ((NOW - timedelta(hours=5)).isoformat(), NOW - timedelta(hours=5)),
        ((NOW - timedelta(hours=5)).astimezone(timezone(timedelta(hours=9))).isoformat(), NOW - timedelta(hours=5)),
        ((NOW + timedelta(hours=5)).isoformat(), NOW),  # a device whose clock is ahead
        ("2026-11-24T10:00:00", NOW),  # nobody knows in which zone
        ("yesterday", NOW),
        ("", NOW),
    ],
)
def test_what_waited_has_the_moment_it_was_made(bench: Bench, client: TestClient, told: str, pressed_at: datetime):
    _, layer = trade_fact(bench)
    form = {"stage": "tacky", "command_key": "waited-0123456789"}
    for _again in range(2):
        answer = client.post(
            f"/layers/{layer.uid}/tests",
            data=form,
            headers={"Umberday-Happened-At": told},
            follow_redirects=False,
        )
        assert answer.status_code == 303
    with bench.db.read() as session:
        (test,) = session.scalars(select(TouchTest).where(col(TouchTest.layer_id) == layer.id))
    assert test.pressed_at == pressed_at


def test_a_painted_layer_without_a_time_has_the_moment_it_waited_from(bench: Bench, client: TestClient):
    layer = bench.layer(bench.panel(title="Bare board"))
    action = f"/layers/{layer.uid}/paint"
    sent = form_to(client.get(action), action).filled(painted_at="")
    waited = {"Umberday-Happened-At": (NOW - timedelta(hours=5)).isoformat()}
    assert client.post(action, data=sent, headers=waited, follow_redirects=False).status_code == 303
    with bench.db.read() as session:
        painted = session.scalars(select(Layer).where(col(Layer.uid) == layer.uid)).one()
    assert painted.painted_at == NOW - timedelta(hours=5)
