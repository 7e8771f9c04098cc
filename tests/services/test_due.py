"""A panel's date: what lies between its last layer and it, with a plan in use and without one.

The days expected are those of the rules R35 and R36 at their defaults, and plain counting of days.
"""

from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlmodel import select

from server.services import board, finish
from server.services.board.due_step import DueFact, Misfit
from server.services.board.films import panel_layers
from server.services.board.leaving import handling_of
from server.services.board.plan_finish import final_wait
from server.services.board.plan_problem import Extra, panel_job
from server.services.board.rows import load
from server.services.board.standing import standings
from server.services.board.today import moment_at
from server.services.finish import FinishStepCreate
from server.store.tables import FinishStep, Panel
from tests.services.conftest import NOW, Bench

PRAGUE = ZoneInfo("Europe/Prague")
TODAY = NOW.astimezone(PRAGUE).date()
DAY = timedelta(days=1)


def due_of(bench: Bench, panel: Panel) -> DueFact:
    with bench.db.read() as session:
        found = board.panel_page(session, bench.actor, panel.uid, NOW, PRAGUE).panel.due
    assert found is not None
    return found


def plan_step(bench: Bench, panel: Panel, action: str, **values: Any) -> FinishStep:
    with bench.unit("Planned a step") as work:
        command = FinishStepCreate(**({"action": action} | values))
        return finish.create(work.session, bench.actor, panel.uid, command, NOW)


def picture(bench: Bench, due_in: int, days_ago: float = 75.0, **values: Any) -> Panel:
    """Painted to the end, thin and dry to the touch for weeks, due in so many days; collected."""
    values = {"packing_d": 0, "finished_on": (NOW - timedelta(days=days_ago)).date()} | values
    panel = bench.panel(due_on=TODAY + due_in * DAY, **values)
    bench.painted(panel, days_ago)
    return panel


def odds_of(bench: Bench, **values: Any) -> float:
    """Of a panel whose one layer lies since a day, and is dry in about three: due in eight days."""
    panel = bench.panel(**({"due_on": TODAY + 8 * DAY, "packing_d": 0} | values))
    bench.painted(panel, 1.0)
    odds = due_of(bench, panel).odds
    assert odds is not None
    return odds


def test_packing_and_days_on_the_way_count_without_a_plan(bench: Bench) -> None:
    bare = odds_of(bench)
    assert bare > odds_of(bench, packing_d=3) > odds_of(bench, packing_d=3, transit_d=2)
    assert odds_of(bench, packing_d=3, transit_d=2) == odds_of(bench, packing_d=0, due_on=TODAY + 3 * DAY)
    assert odds_of(bench, packing_d=9) == 0.0


def test_days_on_the_way_count_for_a_picture_that_is_long_dry_and_packed(bench: Bench) -> None:
    assert due_of(bench, picture(bench, due_in=0, packing_d=5)).odds == 1.0
    assert due_of(bench, picture(bench, due_in=1, transit_d=2)).odds == 0.0
    assert due_of(bench, picture(bench, due_in=2, transit_d=2)).odds == 1.0


def test_the_plan_counts_the_same_days(bench: Bench) -> None:
    panel = bench.panel(due_on=TODAY + 90 * DAY, packing_d=3, transit_d=4)
    bench.painted(panel, 1.0)
    bench.layer(panel)
    with bench.db.read() as session:
        rows = load(session, bench.actor)
    assert rows is not None
    moment = moment_at(NOW, PRAGUE)
    [standing] = standings(rows, panel_layers(rows, moment), moment)
    job = panel_job(standing, rows, moment, (0.9, Extra()))
    assert job is not None
    assert job.handling_d == handling_of(rows.panels[0]).days == 7
    assert (standing.due.packing_d, standing.due.transit_d) == (3, 4) if standing.due else False


def test_a_varnish_planned_before_its_day_puts_the_date_at_risk(bench: Bench) -> None:
    panel = picture(bench, due_in=90)
    assert (due_of(bench, panel).odds, due_of(bench, panel).at_risk) == (1.0, False)
    plan_step(bench, panel, "final_varnish", planned_on=TODAY + 80 * DAY)
    due = due_of(bench, panel)
    assert due.at_risk and due.odds is not None and due.odds < 0.05
    assert due.step is not None
    assert (due.step.action, due.step.misfit, due.step.planned_on) == (
        "final_varnish",
        Misfit.EARLY,
        TODAY + 80 * DAY,
    )
    # Half a year after a thin last layer at the earliest (R35).
    assert due.step.opens_on is not None and due.step.by_rule
    assert due.step.opens_on >= (NOW - timedelta(days=75)).date() + timedelta(days=180)


def test_a_step_counts_on_the_day_it_is_planned_for(bench: Bench) -> None:
    panel = picture(bench, due_in=10, packing_d=2, transit_d=1)
    plan_step(bench, panel, "frame", planned_on=TODAY + 7 * DAY)
    assert (due_of(bench, panel).odds, due_of(bench, panel).step) == (1.0, None)
    late = picture(bench, due_in=10, packing_d=2, transit_d=1)
    plan_step(bench, late, "frame", planned_on=TODAY + 8 * DAY)
    due = due_of(bench, late)
    assert due.odds == 0.0 and due.at_risk
    assert due.step is not None and due.step.misfit is Misfit.PLANNED


def test_what_is_planned_for_after_the_date_is_told_and_not_counted(bench: Bench) -> None:
    panel = picture(bench, due_in=30)
    plan_step(bench, panel, "final_varnish", planned_on=TODAY + 300 * DAY)
    due = due_of(bench, panel)
    assert due.odds == 1.0 and not due.at_risk
    assert due.step is not None and due.step.misfit is Misfit.BEYOND
    # The panel itself says that it leaves varnished.
    named = picture(bench, due_in=30, finish="final_varnish")
    plan_step(bench, named, "final_varnish", planned_on=TODAY + 300 * DAY)
    assert due_of(bench, named).odds == 0.0


def test_what_the_panel_itself_names_counts_until_it_is_done(bench: Bench) -> None:
    panel = picture(bench, due_in=60, finish="final_varnish")
    due = due_of(bench, panel)
    assert due.at_risk
    assert due.step is not None and due.step.misfit is Misfit.OPENS
    ready = picture(bench, due_in=0, packing_d=1, finish="frame")
    assert due_of(bench, ready).odds == 0.0, "to be framed today, and a day for packing"
    plan_step(bench, ready, "frame", done_at=NOW - 2 * DAY)
    assert due_of(bench, ready).odds == 1.0


def test_a_picture_that_was_sent_arrives_after_its_days_on_the_way(bench: Bench) -> None:
    panel = picture(bench, due_in=-1, transit_d=3)
    assert (due_of(bench, panel).odds, due_of(bench, panel).at_risk) == (None, False)
    plan_step(bench, panel, "ship", done_at=NOW - 4 * DAY)
    assert due_of(bench, panel).odds == 1.0
    late = picture(bench, due_in=-1, transit_d=5)
    plan_step(bench, late, "ship", done_at=NOW - 4 * DAY)
    assert (due_of(bench, late).odds, due_of(bench, late).at_risk) == (0.0, False)  # too late, and nothing to be done


def test_a_finished_picture_with_something_to_do_is_late_once_its_date_is_past(bench: Bench) -> None:
    panel = picture(bench, due_in=-1)
    plan_step(bench, panel, "frame")
    assert due_of(bench, panel).is_late


@pytest.mark.parametrize("planned_on", [None, TODAY + 20 * DAY])
def test_a_plan_waits_for_planned_steps_as_the_date_does(bench: Bench, planned_on: date | None) -> None:
    panel = bench.panel(due_on=TODAY + 100 * DAY)
    bench.painted(panel, 1.0)
    bench.layer(panel)
    waits = []
    for _ in range(2):
        with bench.db.read() as session:
            rows = load(session, bench.actor)
        assert rows is not None
        moment = moment_at(NOW, PRAGUE)
        [standing] = standings(rows, panel_layers(rows, moment), moment)
        wait = final_wait(standing, rows, moment, None)
        waits.append(wait.calendar_d + wait.drying.p50_d)
        if len(waits) == 1:
            plan_step(bench, panel, "final_varnish", planned_on=planned_on)
    assert waits[0] == 0.0
    assert waits[1] >= 180
    due = due_of(bench, panel)
    assert due.odds == 0.0 and due.step is not None
    assert due.step.misfit is (Misfit.OPENS if planned_on is None else Misfit.EARLY)
    assert not due.step.by_rule


def test_nothing_is_done_before_the_day_that_a_rule_names(bench: Bench) -> None:
    """However soon the paint may be ready: thick paint spreads by months, and R35 stops up to its central day."""
    panel = bench.panel(due_on=TODAY + 10 * DAY, packing_d=0, finished_on=(NOW - 75 * DAY).date())
    bench.painted(panel, 75.0, thickness_preset=None, wet_thickness_um=100)
    plan_step(bench, panel, "final_varnish")
    step = due_of(bench, panel).step
    assert step is not None and step.opens_on is not None
    for days, is_possible in ((-1, False), (30, True)):
        with bench.unit("Another date") as work:
            work.session.exec(select(Panel).where(Panel.uid == panel.uid)).one().due_on = step.opens_on + days * DAY
        odds = due_of(bench, panel).odds
        assert odds is not None and (odds > 0.2) is is_possible and (odds > 0.0) is is_possible
