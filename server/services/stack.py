"""The order of a panel's layers, and what must hold in it whatever is done:

painted layers lie below planned ones, none is older than the one it lies on or than the ground, and touch tests
belong to painted layers and are no older than them.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlmodel import Session, col

from server.services import records
from server.services.access import Actor
from server.services.errors import Invalid
from server.store.tables import Layer, Panel, Studio, TouchTest

# A clock on a phone may run a little ahead of the server's.
LEEWAY = timedelta(minutes=2)


@dataclass(frozen=True, slots=True)
class Stack:
    """A panel with its layers that are not archived, lowest first, and the zone that times are told in."""

    panel: Panel
    layers: tuple[Layer, ...]
    zone: ZoneInfo

    @property
    def planned(self) -> tuple[Layer, ...]:
        return tuple(layer for layer in self.layers if layer.painted_at is None)

    def index(self, layer: Layer) -> int:
        """How many layers lie below; for a new layer that is to be painted, how many are painted."""
        for index, other in enumerate(self.layers):
            if other is layer:
                return index
        return len(self.layers) - len(self.planned)

    def below(self, layer: Layer) -> Layer | None:
        index = self.index(layer)
        return self.layers[index - 1] if index else None

    def above(self, layer: Layer) -> Layer | None:
        index = self.index(layer) + 1
        return self.layers[index] if index < len(self.layers) else None


def zone_of(session: Session, studio_id: int) -> ZoneInfo:
    """The studio's time zone."""
    return ZoneInfo(session.scalars(select(col(Studio.time_zone)).where(col(Studio.id) == studio_id)).one())


def in_words(moment: datetime, zone: ZoneInfo) -> str:
    """A moment as a person says it: 2 November 2026 at 10:05."""
    local = moment.astimezone(zone)
    return f"{local.day} {local:%B %Y} at {local:%H:%M}"


def open_for_change(session: Session, actor: Actor, panel_uid: str) -> Stack:
    """The panel's stack, locked until the transaction ends. Raises ``NotFound``; ``Refused`` for an archived panel."""
    panel = records.find(session, actor, Panel, panel_uid, "hold")
    records.refuse_archived(panel, "this panel")
    return load(session, panel)


def around(session: Session, layer: Layer) -> Stack:
    """The stack that a layer is or was in, locked. Raises ``Refused`` for an archived panel."""
    query = select(Panel).where(col(Panel.id) == layer.panel_id).with_for_update()
    panel = session.scalars(query.execution_options(populate_existing=True)).one()
    records.refuse_archived(panel, "this panel")
    return load(session, panel)


def load(session: Session, panel: Panel) -> Stack:
    query = (
        select(Layer)
        .where(col(Layer.panel_id) == panel.id, col(Layer.archived_at).is_(None))
        .order_by(col(Layer.position), col(Layer.id))
        .with_for_update()
        .execution_options(populate_existing=True)
    )
    return Stack(panel, tuple(session.scalars(query)), zone_of(session, panel.studio_id))


def next_position(session: Session, panel: Panel) -> int:
    """Above every layer, archived ones as well, so that one that comes back finds its place free."""
    highest = session.scalars(
        select(col(Layer.position)).where(col(Layer.panel_id) == panel.id).order_by(col(Layer.position).desc()).limit(1)
    ).first()
    return 0 if highest is None else highest + 1


def tests_of(session: Session, layers: tuple[Layer, ...]) -> list[TouchTest]:
    """Touch tests of these layers that were not taken back, oldest first."""
    ids = [layer.id for layer in layers]
    return list(
        session.scalars(
            select(TouchTest)
            .where(col(TouchTest.layer_id).in_(ids), col(TouchTest.archived_at).is_(None))
            .order_by(col(TouchTest.pressed_at))
        )
    )


def check_painted_at(session: Session, stack: Stack, layer: Layer, painted_at: datetime, now: datetime) -> None:
    """Raises ``Invalid`` at ``painted_at`` when a layer of this stack cannot have been painted then."""

    def fault(message: str) -> Invalid:
        return Invalid.at("painted_at", message)

    below, above = stack.below(layer), stack.above(layer)
    ground_on = stack.panel.ground_on
    if painted_at > now + LEEWAY:
        raise fault("This is still to come. Give a time up to now.")
    if ground_on is not None and painted_at.astimezone(stack.zone).date() < ground_on:
        raise fault(f"The ground was laid on {ground_on.day} {ground_on:%B %Y}. The layer cannot be older.")
    if below is not None and below.painted_at is not None and painted_at < below.painted_at:
        raise fault(
            f"The layer below was painted on {in_words(below.painted_at, stack.zone)}. This one cannot be older."
        )
    if above is not None and above.painted_at is not None and painted_at > above.painted_at:
        raise fault(
            f"The layer above was painted on {in_words(above.painted_at, stack.zone)}. This one cannot be newer."
        )
    tests = tests_of(session, (layer,)) if layer.id is not None else []
    if tests and painted_at > tests[0].pressed_at:
        raise fault(
            f"It was touch-tested on {in_words(tests[0].pressed_at, stack.zone)}. It must have been painted by then."
        )


def check_planned_on(stack: Stack, planned_on: date | None) -> None:
    """Raises ``Invalid`` at ``planned_on`` for a day before the last layer went on: mostly a slip in the year."""
    painted = [layer.painted_at for layer in stack.layers if layer.painted_at is not None]
    if planned_on is not None and painted and planned_on < painted[-1].astimezone(stack.zone).date():
        raise Invalid.at(
            "planned_on",
            f"The last layer was painted on {in_words(painted[-1], stack.zone)}. This cannot be planned for before.",
        )


def problem(session: Session, stack: Stack) -> str | None:
    """What does not hold in the stack, in plain words; None when all is well."""
    lower: Layer | None = None
    for layer in stack.layers:
        if lower is not None and layer.painted_at is not None:
            if lower.painted_at is None:
                return f"“{layer.kind}” is painted, but would lie on “{lower.kind}”, which is only planned."
            if layer.painted_at < lower.painted_at:
                return f"“{layer.kind}” would be older than “{lower.kind}”, which it lies on."
        lower = layer
    painted = {layer.id: layer.painted_at for layer in stack.layers}
    for test in tests_of(session, stack.layers):
        at = painted[test.layer_id]
        if at is None:
            return "A touch test would belong to a layer that is only planned. Take the test back first."
        if test.pressed_at < at:
            return "A touch test would be older than the layer it was made on."
    return None
