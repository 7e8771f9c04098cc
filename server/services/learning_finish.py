"""Tests of finished pictures as learning takes them: what a thumb, a fingernail or a swab says of the layer on top.

A mark under the thumb or the nail: touch-dry, not yet firm. No mark: firm. A swab speaks of the wait before a varnish,
which follows dry-through at a distance that the book gives: it is moved back by that distance, and read as widely as
the distance is poorly known.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Row, select
from sqlmodel import Session, col

from server.science.finish_tests import PASSED, PRESSES
from server.store.tables import FinishTest, Layer

SOFT, HARD = "touch_dry", "firm"
# Sd on the logarithm of days, beside a finger's: a factor of four or five. No swab was ever held against drying curves,
# and paint poor in binder takes colour however dry it is. A choice of ours.
SWAB_BLUR = 1.5


@dataclass(frozen=True, slots=True)
class FinishPress:
    """A finish test in the shape of a touch test of ``layer_id``; of a swab ``stage`` is that of its varnish wait."""

    id: int
    uid: str
    layer_id: int
    pressed_at: datetime
    created_at: datetime | None
    stage: str
    place_on_panel: str
    is_swab: bool
    region: str = ""
    occasion: str = ""

    @property
    def failed(self) -> bool:
        """Whether it found the paint softer than it should be by then."""
        return self.stage == SOFT


def finish_press(test: Any, layer_id: int) -> FinishPress:
    """A finish test as a press of a layer."""
    return FinishPress(
        id=getattr(test, "id", 0),
        uid=test.uid,
        layer_id=layer_id,
        pressed_at=test.tested_at,
        created_at=getattr(test, "created_at", None),
        stage=HARD if test.result in PASSED else SOFT,
        place_on_panel=test.place_on_panel,
        is_swab=test.method not in PRESSES,
    )


def of_studio(session: Session, studio_id: int) -> dict[int, list[FinishPress]]:
    """The finish tests that stand, by the layer that was on top when they were made, from the earliest on."""
    tests = session.execute(_tests(studio_id)).all()
    if not tests:
        return {}
    layers: dict[int, list[Row[Any]]] = defaultdict(list)
    for layer in session.execute(_painted(studio_id, {test.panel_id for test in tests})):
        layers[layer.panel_id].append(layer)
    found: dict[int, list[FinishPress]] = defaultdict(list)
    for test in tests:
        top = _top(layers[test.panel_id], test.tested_at)
        if top is not None:
            found[top].append(finish_press(test, top))
    return found


def _top(layers: Sequence[Row[Any]], at: datetime) -> int | None:
    below = [layer.id for layer in layers if layer.painted_at <= at]
    return below[-1] if below else None


def _tests(studio_id: int) -> Any:
    names = "id uid panel_id method result tested_at created_at place_on_panel"
    return (
        select(*(getattr(FinishTest, name) for name in names.split()))
        .where(col(FinishTest.studio_id) == studio_id, col(FinishTest.archived_at).is_(None))
        .order_by(col(FinishTest.tested_at), col(FinishTest.id))
    )


def _painted(studio_id: int, panels: Iterable[int]) -> Any:
    return (
        select(col(Layer.id), col(Layer.panel_id), col(Layer.painted_at))
        .where(
            col(Layer.studio_id) == studio_id,
            col(Layer.panel_id).in_(panels),
            col(Layer.archived_at).is_(None),
            col(Layer.painted_at).is_not(None),
        )
        .order_by(col(Layer.painted_at), col(Layer.id))
    )
