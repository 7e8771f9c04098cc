"""How many easels a studio's plan needs."""

from server.services import planning
from server.services.planning_asked import PlanMake
from tests.services.conftest import Bench
from tests.services.test_planning_cautions import content_of


def test_one_easel_is_enough_for_two_layers_of_one_panel_in_one_morning(bench: Bench) -> None:
    with bench.unit("Hours") as work:
        hours = planning.WorkTimeCreate(painter="Ada", weekdays="1234567", start="09:00", end="13:00")
        planning.create(work.session, bench.actor, hours)
    panel = bench.panel(title="Quince and jug")
    lower = bench.layer(panel, kind="first", thickness_preset="thin_opaque", sitting_min=60)
    upper = bench.layer(panel, kind="second", thickness_preset="thin_opaque", sitting_min=60, wet_in_wet=True)
    content = content_of(bench, PlanMake(easels=1))
    days = {s["id"]: s["start_at"][:10] for s in content["sittings"]}
    assert content["unplaced"] == [] and days[upper.uid] == days[lower.uid]
