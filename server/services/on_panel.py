"""Where a layer or a touch test belongs: what the pages that show one of them read around it."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlmodel import Session, col

from server.services import records
from server.services.access import Actor, allow
from server.store.tables import Layer, Panel, TouchTest


@dataclass(frozen=True, slots=True)
class LayerOnPanel:
    """A layer with its panel. ``below`` is the layer it lies on, None for the lowest and for an archived one."""

    layer: Layer
    panel: Panel
    below: Layer | None

    @property
    def named(self) -> str:
        return f"“{self.layer.kind}” on “{self.panel.title}”"


@dataclass(frozen=True, slots=True)
class ArchivedLayer:
    uid: str
    kind: str
    was_painted: bool


@dataclass(frozen=True, slots=True)
class TestOnLayer:
    """A touch test with its layer and its panel."""

    test: TouchTest
    layer: Layer
    panel: Panel


def of_layer(session: Session, actor: Actor, uid: str) -> LayerOnPanel:
    """The layer of that uid on its panel. Raises ``NotFound``."""
    layer = records.find(session, actor, Layer, uid)
    panel = session.get_one(Panel, layer.panel_id)
    below = None
    if layer.archived_at is None:
        below = session.scalars(
            select(Layer)
            .where(
                col(Layer.panel_id) == layer.panel_id,
                col(Layer.archived_at).is_(None),
                col(Layer.position) < layer.position,
            )
            .order_by(col(Layer.position).desc())
            .limit(1)
        ).first()
    return LayerOnPanel(layer, panel, below)


def of_test(session: Session, actor: Actor, uid: str) -> TestOnLayer:
    """The touch test of that uid on its layer. Raises ``NotFound``."""
    test = records.find(session, actor, TouchTest, uid)
    layer = session.get_one(Layer, test.layer_id)
    return TestOnLayer(test, layer, session.get_one(Panel, layer.panel_id))


def archived_layers(session: Session, actor: Actor, panel: Panel) -> list[ArchivedLayer]:
    """The panel's archived layers, the last archived first."""
    allow(actor, "read", panel)
    query = select(Layer).where(col(Layer.panel_id) == panel.id, col(Layer.archived_at).is_not(None))
    layers = session.scalars(query.order_by(col(Layer.archived_at).desc()))
    return [ArchivedLayer(layer.uid, layer.kind, layer.painted_at is not None) for layer in layers]


def tests_on(session: Session, actor: Actor, layer: Layer) -> list[TouchTest]:
    """All touch tests of a layer, the newest first; those marked as mistaken too."""
    allow(actor, "read", layer)
    query = select(TouchTest).where(col(TouchTest.layer_id) == layer.id)
    return list(session.scalars(query.order_by(col(TouchTest.pressed_at).desc(), col(TouchTest.id).desc())))
