"""When a layer was last seen wet: asked where its first touch test found it dry already.

Pressing only what looks dry makes learned dates come out early, by a tenth to a third; one answer takes that away. It
is kept as a test that was seen, not pressed. Not answering is an answer too: the layer then teaches nothing.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Annotated, Any

from pydantic import Field
from sqlmodel import Session

from server.services import on_panel, stack, touch_tests
from server.services.access import Actor
from server.services.errors import Refused
from server.services.fields import Command
from server.services.touch_tests import TouchTestCreate
from server.store.tables import TouchTest

DRY = ("touch_dry", "firm")
ASKED_FOR = timedelta(days=14)  # after the first test; later nobody remembers
AT_LEAST = timedelta(minutes=10)  # after painting: wet then, whatever the answer


class SeenWet(Command):
    """So many days before the first test."""

    days_before: Annotated[float, Field(ge=0, le=60)]


def is_open(tests: Sequence[Any]) -> bool:
    """Whether all of these tests, from the earliest on, found the layer dry, the first at nobody's bidding."""
    return bool(tests) and all(test.stage in DRY for test in tests) and tests[0].occasion == "own"


def first_dry_at(tests: Sequence[Any]) -> datetime | None:
    """When the first test found the layer dry, where nobody knows when it was last wet; None else."""
    return tests[0].pressed_at if is_open(tests) else None


def goes_back(tests: Sequence[Any]) -> bool:
    """Whether a later test found the layer softer than an earlier one of the same place did, an hour or more before."""
    order = ("wet", "tacky", *DRY)
    return any(
        order.index(later.stage) < order.index(sooner.stage)
        and later.region == sooner.region
        and later.pressed_at - sooner.pressed_at > timedelta(hours=1)
        for i, sooner in enumerate(tests)
        for later in tests[i + 1 :]
    )


def answer(session: Session, actor: Actor, layer_uid: str, command: SeenWet) -> TouchTest:
    """Note when the layer was last seen wet. Raises ``NotFound``; ``Refused`` where a test knows already."""
    here = on_panel.of_layer(session, actor, layer_uid)
    tests = stack.tests_of(session, (here.layer,))
    if not is_open(tests) or here.layer.painted_at is None:
        raise Refused("A test found it soft already, so that is known.")
    first = tests[0]
    seen_at = max(first.pressed_at - timedelta(days=command.days_before), here.layer.painted_at + AT_LEAST)
    if seen_at >= first.pressed_at:
        raise Refused("It was pressed within minutes of being painted; there is nothing between to ask about.")
    seen = TouchTestCreate(stage="wet", pressed_at=seen_at, region=first.region, occasion="seen")
    return touch_tests.log(session, actor, layer_uid, seen)
