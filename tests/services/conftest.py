"""A small invented studio to act in, and a second one that must never be seen from it."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from itertools import count
from typing import Any, TypeVar

import pytest
from sqlalchemy import event
from sqlmodel import Session

import seed_demo
from server.services import layers, panels
from server.services.access import Actor
from server.services.unit import Unit, unit
from server.store.db import Database
from server.store.migrate import migrate
from server.store.tables import (
    Layer,
    Mix,
    MixPart,
    Paint,
    PaintPigment,
    Panel,
    Place,
    Studio,
    Table,
    Thinner,
)

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=timezone.utc)


@dataclass
class Bench:
    """A studio with what a panel and a layer need, and short ways to make them."""

    db: Database
    actor: Actor
    place: Place
    white: Mix
    black: Mix
    thinner: Thinner

    def unit(self, label: str = "Test", **options: Any) -> AbstractContextManager[Unit]:
        return unit(self.db, self.actor, label=label, **{"now": NOW, **options})

    def panel_command(self, **values: Any) -> panels.PanelCreate:
        given = {
            "title": "Two pears",
            "width_cm": 40,
            "height_cm": 50,
            "support": "hardboard",
            "ground_kind": "acrylic",
            "ground_surface": "matte",
            "place_uid": self.place.uid,
        }
        return panels.PanelCreate(**(given | values))

    def layer_command(self, **values: Any) -> layers.LayerCreate:
        given = {
            "kind": "underpainting",
            "thickness_preset": "thin_opaque",
            "mixes": [{"mix_uid": self.white.uid}],
        }
        return layers.LayerCreate(**(given | values))

    def panel(self, **values: Any) -> Panel:
        with self.unit("Added a panel") as work:
            return panels.create(work.session, self.actor, self.panel_command(**values))

    def layer(self, panel: Panel, **values: Any) -> Layer:
        with self.unit("Added a layer") as work:
            return layers.create(work.session, self.actor, panel.uid, self.layer_command(**values))

    def painted(self, panel: Panel, days_ago: float, **values: Any) -> Layer:
        return self.layer(panel, painted_at=NOW - timedelta(days=days_ago), **values)


_numbers = count(1)
R = TypeVar("R", bound=Table)


def add(session: Session, row: R) -> R:
    session.add(row)
    session.flush()
    return row


def make_bench(db: Database) -> Bench:
    with db.write() as session:
        studio = add(session, Studio(name=f"Invented studio {next(_numbers)}", time_zone="Europe/Prague"))
        assert studio.id is not None
        place = add(session, Place(studio_id=studio.id, name="Rack", light="room"))
        thinner = add(session, Thinner(studio_id=studio.id, label="Spirits", solvent="odourless_mineral_spirits"))
        made: dict[str, Mix] = {}
        for label, ci_name in (("White", "PW6"), ("Black", "PBk9")):
            paint = add(session, Paint(studio_id=studio.id, label=label, oil="linseed"))
            mix = add(session, Mix(studio_id=studio.id, label=label))
            assert paint.id is not None
            assert mix.id is not None
            add(session, PaintPigment(paint_id=paint.id, position=0, ci_name=ci_name, share=1.0))
            add(session, MixPart(mix_id=mix.id, position=0, kind="paint", paint_id=paint.id, parts=1.0))
            made[label] = mix
    return Bench(db, Actor("painter", studio.id), place, made["White"], made["Black"], thinner)


@pytest.fixture
def bench(database: Database) -> Bench:
    return make_bench(database)


@pytest.fixture
def stranger(bench: Bench) -> Bench:
    """Another studio in the same database."""
    return make_bench(bench.db)


@pytest.fixture
def count_queries(database: Database) -> Iterator[Callable[[], int]]:
    """How many statements went to the database since the last call."""
    seen = [0]

    def note(*_: object) -> None:
        seen[0] += 1

    event.listen(database.engine, "before_cursor_execute", note)

    def taken() -> int:
        number, seen[0] = seen[0], 0
        return number

    yield taken
    event.remove(database.engine, "before_cursor_execute", note)


@pytest.fixture(scope="session")
def demo_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The demo studio with everything that the program can hold, in an SQLite file that no test may change."""
    url = f"sqlite:///{tmp_path_factory.mktemp('demo') / 'demo.db'}"
    migrate(url)
    db = Database(url)
    seed_demo.seed(db, NOW)
    db.close()
    return url
