"""The server under a small load: readers and writers at once, whatever the machine's speed. The full one, with its
figures, is ``./umberday bench load``."""

from pathlib import Path

import pytest
from sqlalchemy import func, select
from sqlmodel import col

from bench.load import Load, measure
from bench.load_studios import many
from server.services import upkeep
from server.store.db import Database
from server.store.migrate import migrate
from server.store.tables import ChangeSet, Layer, Panel, Studio, TouchTest
from tests.web.conftest import NOW

SMALL = Load(studios=6, panels=3, readers=12, every_s=0.2, seconds=3)


def test_readers_and_writers_get_their_answers(empty_url: str, tmp_path: Path) -> None:
    figures = measure(empty_url, SMALL, tmp_path)
    assert figures.faults == {}
    # Fifteen writes in three seconds, those made alone before; every reader looked more than once.
    assert len(figures.loaded["write"]) >= 14
    assert all(len(figures.loaded[kind]) > 10 for kind in ("today", "calendar", "feed"))
    db = Database(empty_url)
    with db.read() as session:
        tests = session.scalar(select(func.count()).select_from(TouchTest))
        written = session.scalar(select(func.count()).where(col(ChangeSet.command_key).is_not(None)))
    db.close()
    assert written == len(figures.loaded["write"]) + len(figures.alone["write"])
    assert tests is not None and 0 < tests < written
    assert upkeep.check(empty_url).faults == ()


@pytest.fixture
def url(tmp_path: Path) -> str:
    made = f"sqlite:///{tmp_path / 'many.db'}"
    migrate(made)
    return made


def test_the_studios_it_is_measured_on_are_whole_and_differ(url: str) -> None:
    db = Database(url)
    seats = many(db, NOW, studio_count=6, panel_count=2)
    assert len({seat.session_token for seat in seats}) == len(seats) == 6
    with db.read() as session:
        assert session.scalar(select(func.count()).select_from(Studio)) == 6
        for studio_id in session.scalars(select(col(Studio.id))):
            count = select(func.count()).where(col(Panel.studio_id) == studio_id)
            assert session.scalar(count) == 2
        films = list(session.scalars(select(col(Layer.wet_thickness_um)).where(col(Layer.position) == 0)))
    db.close()
    assert len(set(films)) >= 6  # two studios that were painted alike, and copies that differ
    assert upkeep.check(url).faults == ()
