"""A pinned sitting whose layer below dries later than was counted on: let go where a rule stops it, else kept and told.

Derived: what was painted days ago is dry enough for the next layer by the plan; then it was painted
later than told, or a finger finds it tacky.
"""

from datetime import datetime, timedelta
from typing import Any

import pytest

from server.services import planning, planning_plans, touch_tests
from server.store.tables import Layer
from tests.services.conftest import NOW, Bench
from tests.services.test_planning_cautions import content_of, taken


def pinned(bench: Bench, painted_days_ago: float) -> tuple[Layer, Layer, datetime]:
    """A layer that is on, and one over it, pinned where the plan has it; mornings every day."""
    with bench.unit("Hours") as work:
        hours = planning.WorkTimeCreate(painter="Ada", weekdays="1234567", start="09:00", end="12:30")
        planning.create(work.session, bench.actor, hours)
    panel = bench.panel(title="Quince and jug")
    lower = bench.painted(panel, painted_days_ago, kind="first", thickness_preset="thin_opaque")
    upper = bench.layer(panel, kind="second", thickness_preset="thin_opaque")
    content = content_of(bench)
    uid = taken(bench, content)
    with bench.unit("Held") as work:
        planning_plans.pin(work.session, bench.actor, uid, upper.uid, pinned=True)
    return lower, upper, start_of(content, upper)


def start_of(content: dict[str, Any], layer: Layer) -> datetime:
    return datetime.fromisoformat(next(s["start_at"] for s in content["sittings"] if s["id"] == layer.uid))


def test_a_pin_that_a_rule_stops_by_now_is_let_go(bench: Bench) -> None:
    """What was counted on as dry is found tacky: no rule lets an ordinary layer over it on that day. The panel keeps
    its place in the plan."""
    lower, upper, at = pinned(bench, 30)
    with bench.unit("Pressed") as work:
        given = touch_tests.TouchTestCreate(stage="tacky", is_sure=True)
        touch_tests.log(work.session, bench.actor, lower.uid, given, NOW)
    again = content_of(bench)
    assert [one["id"] for one in again["let_go"]] == [upper.uid]
    assert again["left_out"] == again["unplaced"] == again["held"] == []
    assert start_of(again, upper) > at


@pytest.mark.parametrize(("painted_days_ago", "same_day"), [(2, True), (1, False)])
def test_a_pin_before_its_layer_is_likely_ready_stays_and_is_told(
    bench: Bench, painted_days_ago: int, same_day: bool
) -> None:
    lower, upper, at = pinned(bench, 3)
    with bench.unit("It was painted later") as work:
        work.session.get_one(Layer, lower.id).painted_at = NOW - timedelta(days=painted_days_ago)
    again = content_of(bench)
    assert again["let_go"] == [] and start_of(again, upper) == at
    [told] = again["held"]
    assert (told["id"], told["why"]) == (upper.uid, "release")
    assert told["ready_on"] is None if same_day else told["ready_on"] > at.date().isoformat()
