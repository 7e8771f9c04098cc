"""From when a plan counts on what is on a panel: from the instant it is ready, not from the next whole day.

Derived: what is ready by the morning may be painted over that morning, what is ready later on the next day. The same
layer painted at every hour of a day is ready at every hour of one.
"""

from datetime import datetime, time, timedelta

import pytest

from server.science.results import Stage
from server.services import planning, planning_make
from server.services.planning_asked import PlanMake
from server.store.tables import Layer
from tests.services.conftest import NOW, Bench
from tests.services.test_planning_cautions import ZONE, content_of


@pytest.mark.parametrize("hour", range(0, 24, 3))
def test_what_is_ready_before_the_morning_is_painted_over_that_morning(bench: Bench, hour: int) -> None:
    with bench.unit("Hours") as work:
        hours = planning.WorkTimeCreate(painter="Ada", weekdays="1234567", start="09:00", end="12:30")
        planning.create(work.session, bench.actor, hours)
    panel = bench.panel()
    lower = bench.painted(panel, 1 + hour / 24, kind="first", thickness_preset="thin_opaque")
    upper = bench.layer(panel, kind="second", thickness_preset="thin_opaque")
    [sitting] = content_of(bench)["sittings"]
    assert sitting["id"] == upper.uid and sitting["rest"] is None
    ready = ready_at(bench, lower)
    on = ready.date() if ready.time() <= time(9) else ready.date() + timedelta(days=1)
    assert datetime.fromisoformat(sitting["start_at"]).date() == on, ready


def ready_at(bench: Bench, layer: Layer) -> datetime:
    """When the layer that is on is dry to recoat at a chance of nine in ten, by its forecast alone."""
    with bench.db.read() as session:
        asked = planning_make.read(session, bench.actor, PlanMake(), NOW, ZONE)
    top = asked.found[0].top
    assert top is not None and layer.painted_at is not None
    return layer.painted_at + timedelta(days=top.film.stages[Stage.DRY_TO_RECOAT].p90_d)
