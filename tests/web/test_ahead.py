"""Work done ahead: what somebody looks at is ready again before they look, and never otherwise than when asked."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI
from sqlmodel import select
from starlette.testclient import TestClient

from server.science.results import Stage, StageRange
from server.services import board, share_links, studios, thinners
from server.services.access import Actor
from server.services.board import films, snapshot
from server.services.board.spans import day_span, later_of
from server.services.board.today import moment_of
from server.services.give_way import ROAD
from server.services.share_links import ShareLinkCreate
from server.services.thinners import ThinnerCreate
from server.services.unit import unit
from server.store.db import Database
from server.store.tables import PublishedEvent
from server.web.ahead import Ahead
from tests.services.conftest import Bench, make_bench
from tests.web.conftest import NOW
from tests.web.pages_of_records import make_easel


@dataclass
class Watcher:
    """The app with a watch that goes round when the test says so, and a clock that it moves."""

    ahead: Ahead
    client: TestClient
    bench: Bench
    now: list[datetime]
    made: list[str] = field(default_factory=list)


@pytest.fixture
def watcher(app: FastAPI, db: Database, client: TestClient, monkeypatch: pytest.MonkeyPatch) -> Iterator[Watcher]:
    bench = make_bench(db)
    now = [NOW]
    app.state.clock = lambda: now[0]
    app.state.ahead = Ahead(db.read, lambda: now[0])
    made = Watcher(app.state.ahead, client, bench, now)
    keep = snapshot.Snapshot.keep

    def noted(self: snapshot.Snapshot, key: Any, make: Any) -> Any:
        def make_noted() -> Any:
            made.made.append(key[0])
            return make()

        return keep(self, key, make_noted)

    monkeypatch.setattr(snapshot.Snapshot, "keep", noted)
    yield made
    del app.state.ahead


@pytest.fixture
def first_studio(watcher: Watcher) -> Bench:
    """The studio of the single-user install, in which the client looks."""
    with watcher.bench.db.read() as session:
        studio = studios.the_studio(session)
    assert studio.id is not None
    watcher.bench.actor = Actor("painter", studio.id)
    return watcher.bench


def test_a_change_is_made_ready_before_the_next_look(watcher: Watcher, first_studio: Bench) -> None:
    page = watcher.client.get("/")
    assert page.status_code == 200
    watcher.ahead.turn()
    watcher.made.clear()
    with first_studio.unit("Changed") as work:
        thinners.create(work.session, first_studio.actor, ThinnerCreate(label="Jar", solvent="gum_turpentine"))
    assert watcher.ahead.turn()
    assert watcher.made == ["today"]
    watcher.made.clear()
    assert watcher.client.get("/").status_code == 200
    assert watcher.made == []


def test_an_answer_goes_before_what_is_made_ahead(
    watcher: Watcher, first_studio: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both ask for the board: who was looked at gives way, who looks is counted as waiting."""
    seen = []
    today = board.today

    def noted(*args: Any) -> Any:
        seen.append((ROAD.is_clear, ROAD.is_behind))
        return today(*args)

    monkeypatch.setattr(board, "today", noted)
    watcher.client.get("/")
    watcher.ahead.turn()
    with first_studio.unit("Changed") as work:
        thinners.create(work.session, first_studio.actor, ThinnerCreate(label="Jar", solvent="gum_turpentine"))
    watcher.ahead.turn()
    is_clear, is_behind = True, True
    assert list(dict.fromkeys(seen)) == [(not is_clear, not is_behind), (is_clear, is_behind)]
    assert ROAD.is_clear and not ROAD.is_behind


def test_a_wall_that_looks_every_five_minutes_finds_its_board_ready(watcher: Watcher, first_studio: Bench) -> None:
    watcher.client.get("/wall")
    watcher.now[0] = NOW + timedelta(minutes=5)
    watcher.ahead.turn()
    with first_studio.unit("Changed") as work:
        thinners.create(work.session, first_studio.actor, ThinnerCreate(label="Jar", solvent="gum_turpentine"))
    watcher.ahead.turn()
    watcher.made.clear()
    assert watcher.client.get("/wall").status_code == 200
    assert watcher.made == []


def test_nothing_is_made_where_nothing_changed_or_nobody_looks(watcher: Watcher, first_studio: Bench) -> None:
    assert not watcher.ahead.turn()
    watcher.client.get("/")
    watcher.client.get("/calendar")
    watcher.made.clear()
    watcher.now[0] = NOW + timedelta(seconds=1)  # ten minutes have just begun: nothing is due
    for _ in range(5):
        assert watcher.ahead.turn()
    assert watcher.made == []
    watcher.now[0] = NOW + timedelta(minutes=7)
    assert not watcher.ahead.turn()  # nobody looked for minutes


def test_the_next_ten_minutes_are_ready_when_they_begin(watcher: Watcher, first_studio: Bench) -> None:
    watcher.now[0] = NOW + timedelta(minutes=8)
    watcher.client.get("/")
    watcher.client.get("/calendar")
    for second in range(1, 119):
        watcher.now[0] = NOW + timedelta(minutes=8, seconds=second)
        watcher.ahead.turn()
    watcher.made.clear()
    watcher.now[0] = NOW + timedelta(minutes=10, seconds=1)
    watcher.client.get("/")
    watcher.client.get("/calendar")
    assert watcher.made == []


def test_a_feed_tells_nothing_before_its_time(watcher: Watcher, app: FastAPI, db: Database) -> None:
    """What a feed tells is noted with its moment, so of the next ten minutes only what is below it is made."""
    easel = make_easel(watcher.client, app, db)
    easel.painted(easel.panel(), "2026-11-23T10:00")
    with unit(db, easel.actor, label="Made a calendar", now=NOW) as work:
        command = ShareLinkCreate(label="Mine", kind="feed", lasts="always")
        token = share_links.create(work.session, easel.actor, command, NOW, ZoneInfo("UTC"))[1]
    watcher.now[0] = NOW + timedelta(minutes=8)
    assert watcher.client.get(f"/f/{token}/calendar.ics").status_code == 200
    watcher.made.clear()
    before = told(db)
    assert before[0] > 0
    for second in range(1, 119):
        watcher.now[0] = NOW + timedelta(minutes=8, seconds=second)
        watcher.ahead.turn()
    assert watcher.made == ["calendar"]
    assert told(db) == before


def told(db: Database) -> tuple[int, datetime]:
    """How many entries feeds told, and when something of them changed last."""
    with db.read() as session:
        rows = list(session.scalars(select(PublishedEvent)))
    return len(rows), max(row.changed_at for row in rows)


def test_days_of_stages_are_worked_out_when_asked_for() -> None:
    """The lazy days are those of the plain way, the varnish's no sooner than dry-through."""
    zone = ZoneInfo("Europe/Lisbon")
    stages = {
        Stage.DRY_TO_TOUCH: StageRange(2, 2.5, 4, 7, 9),
        Stage.DRY_THROUGH: StageRange(300, 320, 420, 600, 700),
        Stage.FINAL_VARNISH: StageRange(200, 210, 240, 300, 320),
    }
    days = films.stage_days(NOW, stages, zone)
    plain = {stage: day_span(NOW, found, zone) for stage, found in stages.items()}
    plain[Stage.FINAL_VARNISH] = later_of(plain[Stage.FINAL_VARNISH], plain[Stage.DRY_THROUGH])
    assert dict(days) == plain
    assert Stage.SET_TO_TOUCH not in days and days.get(Stage.SET_TO_TOUCH) is None
    assert len(films.stage_days(NOW, {}, zone)) == 0


def test_a_moment_belongs_to_the_ten_minutes_that_end_after_it() -> None:
    at = moment_of(NOW + timedelta(minutes=3), ZoneInfo("UTC")).at
    assert moment_of(at, ZoneInfo("UTC")).at == at
    assert moment_of(at + timedelta(microseconds=1), ZoneInfo("UTC")).at == at + timedelta(minutes=10)
