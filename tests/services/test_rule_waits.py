"""What the rules ask between layers to come counts in a panel's days and odds without a plan, as a plan counts it.

The days expected are the rules' own numbers and plain counting: R24 lets oil over acrylic no sooner than its wait
(`acrylic_wait_d` of the limits), and acrylic itself has no drying that the model would add.
"""

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from server.planning.outlook import DayRange, Outlook
from server.science.results import LayerEstimate, Stage, StageRange
from server.science.soundness.thresholds import DEFAULT
from server.science.stages import odds_reached
from server.services import board, planning, planning_make, rule_limits
from server.services.board.facts import PanelFact, Standing
from server.services.board.films import panel_layers
from server.services.board.rows import load
from server.services.board.rule_waits import LONGEST_REST_D
from server.services.board.standing import PanelStanding, standings
from server.services.board.to_come import forecast_on
from server.services.board.today import moment_of
from server.services.planning_asked import Effort, PlanMake
from server.store.tables import Layer, Panel
from tests.services.conftest import NOW, Bench

ZONE = ZoneInfo("UTC")
TODAY = NOW.date()
DAY = timedelta(days=1)
WAIT_D = DEFAULT.acrylic_wait_d
LONG_D = 21.0  # a limit that a studio may set


def asking_long(bench: Bench) -> float:
    with bench.unit("Three weeks") as work:
        rule_limits.set_one(work.session, bench.actor, "acrylic_advised_d", LONG_D)
        rule_limits.set_one(work.session, bench.actor, "acrylic_wait_d", LONG_D)
    return LONG_D


def standing_of(bench: Bench, panel: Panel) -> PanelStanding:
    moment = moment_of(NOW, ZONE)
    with bench.db.read() as session:
        rows = load(session, bench.actor, panel.uid)
    assert rows is not None
    return standings(rows, panel_layers(rows, moment), moment)[0]


def outlook_of(bench: Bench, panel: Panel) -> Outlook:
    found = standing_of(bench, panel).outlook
    assert found is not None
    return found


def fact_of(bench: Bench, panel: Panel) -> PanelFact:
    with bench.db.read() as session:
        return board.panel_page(session, bench.actor, panel.uid, NOW, ZONE).panel


def odds_of(bench: Bench, panel: Panel) -> float:
    due = fact_of(bench, panel).due
    assert due is not None and due.odds is not None
    return due.odds


def acrylic(bench: Bench, panel: Panel, **values: object) -> Layer:
    return bench.layer(panel, kind="acrylic", material="acrylic", mixes=[], **values)


def oil_over_acrylic(bench: Bench, **panel: object) -> Panel:
    """Both to come: the acrylic can go on today."""
    made = bench.panel(packing_d=0, **panel)
    acrylic(bench, made)
    bench.layer(made, kind="oil")
    return made


def oil_touch(bench: Bench, panel: Panel, in_days: float) -> StageRange:
    """When the last layer is touch-dry after its painting, laid so many days from now."""
    forecast = forecast_on(standing_of(bench, panel).layers.to_come[-1], TODAY + in_days * DAY, ZONE)
    assert isinstance(forecast, LayerEstimate)
    return forecast.stages[Stage.DRY_TO_TOUCH]


@pytest.mark.parametrize("is_long", [False, True])
def test_a_layer_to_come_waits_for_what_a_rule_asks_below_it(bench: Bench, is_long: bool) -> None:
    wait_d = asking_long(bench) if is_long else WAIT_D
    panel = oil_over_acrylic(bench)
    found = outlook_of(bench, panel)
    lower, upper = found.starts
    assert lower == DayRange(0.0, 0.0, 0.0, 0.0)
    assert upper == DayRange(wait_d, wait_d, wait_d, wait_d)
    assert found.finish.p50_d == pytest.approx(wait_d + oil_touch(bench, panel, wait_d).p50_d, rel=1e-3)


def test_the_odds_of_the_date_count_the_wait(bench: Bench) -> None:
    """Derived: due some days after the wait, the chance is that the oil is dry in so many; within the wait there is
    none."""
    wait_d = asking_long(bench)
    panel = oil_over_acrylic(bench, due_on=TODAY + (4 + wait_d) * DAY)
    touch = oil_touch(bench, panel, wait_d)
    assert 0.2 < odds_reached(touch, 4.0) < 0.95
    assert odds_of(bench, panel) == pytest.approx(odds_reached(touch, 4.0), abs=0.01)
    assert odds_of(bench, oil_over_acrylic(bench, due_on=TODAY + wait_d * DAY)) == 0.0


def planned(bench: Bench) -> dict[str, Any]:
    with bench.unit("Hours") as work:
        hours = planning.WorkTimeCreate(painter="Ada", weekdays="1234567", start="00:00", end="23:30")
        planning.create(work.session, bench.actor, hours)
    with bench.db.read() as session:
        asked = planning_make.read(session, bench.actor, PlanMake(), NOW, ZONE)
    return planning_make.work_out(asked, Effort(moves=50))


def test_a_plan_of_the_panel_counts_the_same_wait(bench: Bench) -> None:
    wait_d = asking_long(bench)
    panel = oil_over_acrylic(bench)
    content = planned(bench)
    [rest] = [sitting["rest"] for sitting in content["sittings"] if sitting["rest"]]
    starts = outlook_of(bench, panel).starts
    assert (rest["days"], rest["rule"], rest["is_stop"]) == (wait_d, "R24", True)
    assert starts[1].p50_d - starts[0].p50_d == rest["days"]


def test_what_a_slow_film_below_asks_is_counted_from_the_day_it_goes_on(bench: Bench) -> None:
    """R02 stops PW6 over thick PBk9, the slower one, until that is dry through nine times in ten. Both are to come over
    a layer that lies and is dry."""
    panel = bench.panel()
    bench.painted(panel, 90.0, mixes=[{"mix_uid": bench.black.uid}])
    slow = {"thickness_preset": None, "wet_thickness_um": 120, "mixes": [{"mix_uid": bench.black.uid}]}
    bench.layer(panel, kind="slow", **slow)
    bench.layer(panel, kind="quick")
    standing = standing_of(bench, panel)
    assert standing.standing is Standing.READY and standing.outlook is not None
    lower, upper = standing.outlook.starts
    forecast = forecast_on(standing.layers.to_come[0], TODAY, ZONE)
    assert isinstance(forecast, LayerEstimate)
    through_d, recoat_d = forecast.stages[Stage.DRY_THROUGH].p90_d, forecast.stages[Stage.DRY_TO_RECOAT].p50_d
    assert lower.p90_d == 0.0 and recoat_d < 0.8 * through_d
    assert upper.p10_d == upper.p50_d == pytest.approx(through_d, rel=1e-3)


def test_a_wait_over_what_lies_already_is_counted_from_its_painting(bench: Bench) -> None:
    wait_d = asking_long(bench)
    panel = bench.panel()
    bench.painted(panel, 2.0, material="acrylic", mixes=[])
    bench.layer(panel)
    [start] = outlook_of(bench, panel).starts
    # The day on which a rule stops no more counts from its beginning.
    day = (NOW + (wait_d - 2.0) * DAY).date()
    assert start.p10_d == start.p90_d == pytest.approx(wait_d - 2.0, abs=1.0)
    assert fact_of(bench, panel).rest.allowed_from == day


def test_what_a_rule_asks_of_a_film_that_is_soft_still_counts_too(bench: Bench) -> None:
    """While it is wet the film's own softness stops all; R02 asks for longer than that."""
    panel = bench.panel()
    slow = {"thickness_preset": None, "wet_thickness_um": 120, "mixes": [{"mix_uid": bench.black.uid}]}
    bench.painted(panel, 0.1, **slow)
    bench.layer(panel, kind="quick")
    standing = standing_of(bench, panel)
    assert standing.outlook is not None and standing.top is not None
    through_d = standing.top.film.stages[Stage.DRY_THROUGH].p90_d
    [start] = standing.outlook.starts
    assert start.p10_d == pytest.approx(through_d, abs=1.0)


def test_oil_on_a_ground_laid_yesterday_waits_for_the_ground(bench: Bench) -> None:
    """R24 of the bare ground: its age is counted from the day it was laid."""
    panel = bench.panel(ground_on=TODAY - DAY)
    bench.layer(panel)
    fact = fact_of(bench, panel)
    assert fact.standing is Standing.STOPPED and fact.stop is None
    assert fact.rest.allowed_from == TODAY + (WAIT_D - 1) * DAY
    assert outlook_of(bench, panel).starts[0].p50_d == WAIT_D - 1


def test_a_plan_waits_for_a_young_ground_as_well(bench: Bench) -> None:
    panel = bench.panel(ground_on=TODAY - DAY)
    bench.layer(panel)
    content = planned(bench)
    assert content["left_out"] == []
    [sitting] = content["sittings"]
    assert datetime.fromisoformat(sitting["start_at"]).date() == TODAY + (WAIT_D - 1) * DAY


def test_what_no_waiting_cures_has_no_odds_and_names_its_rule(bench: Bench) -> None:
    """R23: acrylic does not hold on oil, however old."""
    panel = bench.panel(due_on=TODAY + 300 * DAY)
    bench.layer(panel, kind="oil")
    acrylic(bench, panel)
    bench.layer(panel, kind="over it")
    page = fact_of(bench, panel)
    assert page.due is not None and page.stop is not None
    assert (page.due.odds, page.due.at_risk, page.finish) == (None, True, None)
    assert (page.stop.kind, page.stop.rule) == ("acrylic", "R23")
    with bench.db.read() as session:
        seen = board.panel_page(session, bench.actor, panel.uid, NOW, ZONE)
        [row] = board.calendar(session, bench.actor, NOW, ZONE).rows
    assert [layer.earliest is not None for layer in seen.layers] == [True, False, False]
    assert seen.layers[1].over is not None and seen.layers[1].over.findings[0].rule == "R23"
    assert [layer.kind for layer in row.layers] == ["oil"]


def test_paint_into_wet_paint_waits_for_no_rule(bench: Bench) -> None:
    """The same two films as over each other, where R02 stops the upper one for weeks."""
    panel = bench.panel()
    slow = {"thickness_preset": None, "wet_thickness_um": 120, "mixes": [{"mix_uid": bench.black.uid}]}
    bench.layer(panel, kind="slow", **slow)
    bench.layer(panel, kind="quick", wet_in_wet=True)
    found = outlook_of(bench, panel)
    assert found.stopped is None
    assert found.starts == (DayRange(0.0, 0.0, 0.0, 0.0),) * 2


def test_a_caution_puts_nothing_off(bench: Bench) -> None:
    """PW6 over thin PBk9 is cautioned against for weeks; it goes on when that is dry to recoat."""
    panel = bench.panel()
    bench.layer(panel, kind="slow", mixes=[{"mix_uid": bench.black.uid}])
    bench.layer(panel, kind="quick")
    forecast = forecast_on(standing_of(bench, panel).layers.to_come[0], TODAY, ZONE)
    assert isinstance(forecast, LayerEstimate)
    start = outlook_of(bench, panel).starts[1]
    assert start.p50_d == pytest.approx(forecast.stages[Stage.DRY_TO_RECOAT].p50_d, rel=0.01)


def test_what_lies_already_has_waited_for_a_part_of_years(bench: Bench) -> None:
    """PBk9 laid 400 µm thick is dry through, nine times in ten by our drying model, after some 3.2 years: of these
    2.5 are over, and the rest is an appointment."""
    panel = bench.panel(due_on=TODAY + 2000 * DAY)
    slow = {"thickness_preset": None, "wet_thickness_um": 400, "mixes": [{"mix_uid": bench.black.uid}]}
    bench.painted(panel, 900.0, **slow)
    bench.layer(panel, kind="quick")
    fact = fact_of(bench, panel)
    assert fact.standing is Standing.STOPPED and fact.rest.allowed_from is not None
    assert 100 < (fact.rest.allowed_from - TODAY).days < LONGEST_REST_D
    assert fact.stop is None
    assert odds_of(bench, panel) == pytest.approx(1.0, abs=0.05)
