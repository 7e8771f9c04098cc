"""For how long a panel waits to share a mix is the studio's to say, in every plan made from then on."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from server.planning.schedule.odds import PanelOdds, odds_of
from server.planning.schedule.problem import FLOW_PRICE, SET_UP_PRICE, PanelJob, Problem
from server.services import planning, planning_make, planning_plans, planning_promise, planning_quiet, planning_sound
from server.services.board import plan_odds, plan_problem
from server.services.board.standing import PanelStanding
from server.services.plan_reading import in_use, share_wait_of
from server.services.planning_asked import Asked, Effort, PlanMake
from server.store.tables import Layer, Studio
from tests.services.conftest import NOW, Bench

ZONE = ZoneInfo("UTC")
APART = timedelta(days=20)
Problems = list[Problem]


@pytest.fixture
def apart(bench: Bench) -> tuple[Bench, Layer, Layer]:
    """Mornings every day. One panel is ready for its white; the white of the other follows only twenty days later."""
    with bench.unit("Hours") as work:
        hours = planning.WorkTimeCreate(painter="Ada", weekdays="1234567", start="09:00", end="12:30")
        planning.create(work.session, bench.actor, hours)
    first = bench.layer(bench.panel(title="Now"), kind="white")
    return bench, first, bench.layer(bench.panel(title="Later"), kind="white")


@pytest.fixture
def problems(monkeypatch: pytest.MonkeyPatch, apart: tuple[Bench, Layer, Layer]) -> Problems:
    """Every problem a plan is made from, with the second panel there only twenty days on."""
    made: Problems = []
    plain = plan_problem.panel_job

    def later(standing: PanelStanding, *rest: Any) -> PanelJob | None:
        job = plain(standing, *rest)
        if job is None or standing.layers.panel.title != "Later":
            return job
        return replace(job, release_on=NOW.date() + APART)

    def noted(build: Callable[..., Problem]) -> Callable[..., Problem]:
        def build_and_note(*given: Any) -> Problem:
            made.append(build(*given))
            return made[-1]

        return build_and_note

    monkeypatch.setattr(plan_problem, "panel_job", later)
    for module in (planning_sound, planning_promise):
        monkeypatch.setattr(module, "problem", noted(plan_problem.problem))
    return made


def lets_wait(bench: Bench, days: float) -> None:
    with bench.unit("Changed the studio's settings") as work:
        work.session.get_one(Studio, bench.actor.studio_id).share_wait_d = days


def asked_of(bench: Bench, **given: bool) -> Asked:
    with bench.db.read() as session:
        return planning_make.read(session, bench.actor, PlanMake.model_validate(given), NOW, ZONE)


def content_of(bench: Bench, **given: bool) -> dict[str, Any]:
    return planning_make.work_out(asked_of(bench, **given), Effort(moves=100))


def day_of(content: dict[str, Any], layer: Layer) -> date:
    return next(datetime.fromisoformat(s["start_at"]).date() for s in content["sittings"] if s["id"] == layer.uid)


def test_a_panel_does_not_wait_twenty_days_to_share_unless_the_studio_says_so(
    apart: tuple[Bench, Layer, Layer], problems: Problems
) -> None:
    bench, first, second = apart
    usual = content_of(bench)
    assert day_of(usual, second) - day_of(usual, first) >= timedelta(days=19)
    assert usual["share_wait_d"] == 7.0 and usual["objective"]["set_ups"] == 2
    lets_wait(bench, 30.0)
    longer = content_of(bench)
    assert day_of(longer, first) == day_of(longer, second)
    assert longer["share_wait_d"] == 30.0 and longer["objective"]["set_ups"] == 1
    told = next(s["why"] for s in longer["sittings"] if s["id"] == first.uid)
    assert told.startswith("shares the palette")
    assert {one.set_up_price for one in problems} == {7 * FLOW_PRICE, 30 * FLOW_PRICE}


def test_a_plan_set_right_and_its_odds_ask_by_the_same_price(
    apart: tuple[Bench, Layer, Layer], problems: Problems, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = apart[0]
    lets_wait(bench, 9.5)
    content = content_of(bench)
    with bench.unit("Took a plan") as work:
        uid = planning_plans.propose(work.session, bench.actor, content).uid
        planning_plans.accept(work.session, bench.actor, uid)
    problems.clear()
    content_of(bench)
    content_of(bench, anew=True)
    assert problems and {one.set_up_price for one in problems} == {9.5 * FLOW_PRICE}
    found: Problems = []

    def noted(question: Problem, *rest: Any) -> dict[str, PanelOdds]:
        found.append(question)
        return odds_of(question, *rest)

    monkeypatch.setattr(plan_odds, "odds_of", noted)
    asked = asked_of(bench)
    with bench.db.read() as session:
        plan = in_use(session, bench.actor.studio_id)
    assert plan is not None
    plan_odds._odds(asked.found, asked.board, plan, asked.moment)
    assert [one.set_up_price for one in found] == [9.5 * FLOW_PRICE]


def test_plans_from_before_studios_could_say_keep_the_price_they_had() -> None:
    assert FLOW_PRICE * share_wait_of({"format": 2}) == SET_UP_PRICE
    assert share_wait_of({"share_wait_d": 0.0}) == 0.0


def test_a_plan_made_by_another_price_is_compared_by_that_of_the_new_one() -> None:
    """By hand: 10 mixes at 50 days each are 1000 of the old total of 1040; at 7 days they are 140, so 180 in all. The
    plan found has 12 of them and no waiting: 168. That is better by 12 of 180, not by 872 of 1040."""
    terms = {"weighted_tardiness_d": 0.0, "moved": 0}
    base = {"objective": terms | {"total": 1040.0, "set_ups": 10, "flow_d": 20}, "unplaced": []}
    found = {"objective": terms | {"total": 168.0, "set_ups": 12, "flow_d": 0}, "unplaced": [], "share_wait_d": 7.0}
    for is_in_use in (False, True):
        read = planning_quiet._Read(None, 0, base, is_in_use)  # type: ignore[arg-type]
        assert planning_quiet._gain_pct(read, found) == pytest.approx(100 * 12 / 180)
