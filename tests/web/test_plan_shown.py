"""The plan in use on its page and on the week's sheet: read as every other page reads it, with what holds no more."""

from datetime import date, timedelta

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from server.store.db import Database
from server.store.tables import Layer
from tests.services.conftest import NOW, Bench, make_bench
from tests.services.layer_acts import paint
from tests.web.test_plan import accepted, plans, the_plan
from tests.web.test_plan_moves import move

TODAY = NOW.date()  # a Wednesday


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


def painted(bench: Bench, layer: Layer) -> None:
    with bench.db.read() as session:
        version = session.exec(select(Layer).where(Layer.uid == layer.uid)).one().version
    paint(bench, layer, version=version)


def test_a_sitting_whose_layer_is_painted_is_neither_moved_nor_pinned(
    bare: Bench, client: TestClient, db: Database
) -> None:
    """The last layer of its panel, and the first of two."""
    only = bare.layer(bare.panel(title="Only one"), kind="block-in")
    panel = bare.panel(title="Two layers")
    first = bare.layer(panel, kind="underpainting", sitting_min=30)
    bare.layer(panel, kind="glaze", sitting_min=30)
    accepted(client, db)
    painted(bare, only)
    painted(bare, first)
    for layer in (only, first):
        for way in ("earlier", "later"):
            status, told = move(client, layer.uid, way)
            assert status == 409 and "This layer is painted already, so there is nothing to move." in told
        pinned = client.post(f"/plan/{the_plan(db).uid}/pin/{layer.uid}", data={"pinned": "yes"})
        assert pinned.status_code == 409 and "painted already" in pinned.text
    assert len(plans(db)) == 1


def by_hand(bench: Bench, layer: Layer, day: date | None) -> None:
    """Another day, written on the layer's own page."""
    with bench.unit("Changed a layer's day") as work:
        work.session.exec(select(Layer).where(Layer.uid == layer.uid)).one().planned_on = day


def test_a_sitting_whose_day_was_changed_by_hand_is_not_moved_from_where_it_was(
    bare: Bench, client: TestClient, db: Database
) -> None:
    layer = bare.layer(bare.panel(title="Only one"), kind="block-in")
    accepted(client, db)
    by_hand(bare, layer, TODAY + timedelta(days=9))
    status, told = move(client, layer.uid, "later")
    assert status == 409 and "Its day was changed by hand since. Set the plan right first." in told
    assert len(plans(db)) == 1
