"""Short ways to act on layers in tests."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from server.services import layers
from server.services.layers import LayerPaint, LayerUpdate
from server.store.tables import Layer, Panel
from tests.services.conftest import NOW, Bench

DAY = timedelta(days=1)


def as_update(bench: Bench, layer: Layer, **values: Any) -> LayerUpdate:
    with bench.db.read() as session:
        stored = layers.public(session, layers.get(session, bench.actor, layer.uid))
    return LayerUpdate(**(stored.model_dump() | values))


def change(bench: Bench, layer: Layer, **values: Any) -> Layer:
    command = as_update(bench, layer, **values)
    with bench.unit("Changed a layer") as work:
        return layers.update(work.session, bench.actor, layer.uid, command)


def paint(bench: Bench, layer: Layer, **values: Any) -> Layer:
    command = LayerPaint(**({"version": layer.version} | values))
    with bench.unit("Painted a layer") as work:
        return layers.paint(work.session, bench.actor, layer.uid, command, now=NOW)


def act(bench: Bench, verb: Callable[..., Layer], layer: Layer, *more: str) -> Layer:
    with bench.unit() as work:
        return verb(work.session, bench.actor, layer.uid, *more)


def order(bench: Bench, panel: Panel) -> list[str]:
    with bench.db.read() as session:
        return [layer.kind for layer in layers.all_open(session, bench.actor, panel.uid)]


def regions(bench: Bench, layer: Layer) -> list[tuple[int, float, str]]:
    with bench.db.read() as session:
        return [(row.mix_id, row.area_share, row.region) for row in layers.mixes_of(session, layer)]
