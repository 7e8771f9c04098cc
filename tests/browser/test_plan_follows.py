"""A plan set right in a large studio: its list of changes is there before all that is told of it, which then comes."""

from collections.abc import Iterator
from datetime import timedelta
from threading import Event
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Page, expect

from server.services import planning, planning_first, planning_make, planning_plans
from server.services.planning_asked import Effort, PlanMake
from server.store.db import Database
from server.web.app import create_app
from server.web.settings import Settings
from tests.browser.conftest import RunningServer, run_server
from tests.services.conftest import NOW, Bench, make_bench

LATEST_MS, UTC = 60_000, ZoneInfo("UTC")
PRESS = "Leave this day free"


@pytest.fixture
def may_follow(monkeypatch: pytest.MonkeyPatch) -> Iterator[Event]:
    """Set, it lets what follows be entered in the plan."""
    wait, enter = Event(), planning_first._enter

    def later(*args: Any) -> Any:
        assert wait.wait(LATEST_MS / 1000)
        return enter(*args)

    monkeypatch.setattr(planning_first, "_enter", later)
    yield wait
    wait.set()


@pytest.fixture
def studio(db: Database, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[RunningServer, Bench]]:
    bench = make_bench(db)
    for number in range(2):
        panel = bench.panel(title=f"Pears {number}", due_on=NOW.date() + timedelta(days=20))
        bench.layer(panel, kind="block-in", sitting_min=60)
    with bench.unit("Hours") as work:
        hours = planning.WorkTimeCreate(painter="Ada", weekdays="12345", start="09:00", end="12:30")
        planning.create(work.session, bench.actor, hours)
    with db.read() as session:
        content = planning_make.work_out(
            planning_make.read(session, bench.actor, PlanMake(), NOW, UTC), Effort(moves=0)
        )
    with bench.unit("Took a plan") as work:
        planning_plans.accept(work.session, bench.actor, planning_plans.propose(work.session, bench.actor, content).uid)
    app = create_app(Settings(str(db.url)), db)
    app.state.clock = lambda: NOW
    for server in run_server(app, db):
        monkeypatch.setattr(planning_first.FIRSTS, "least", 1)
        yield server, bench


def test_what_follows_comes_by_itself(studio: tuple[RunningServer, Bench], may_follow: Event, phone: Page) -> None:
    server, _ = studio
    phone.goto(server.url + "/plan")
    phone.get_by_role("button", name=PRESS).first.tap()
    waits = phone.locator("#waits")
    expect(waits.get_by_text("Being worked out")).to_be_visible(timeout=LATEST_MS)
    phone.evaluate("window.is_the_same_page = true")
    # What is read stays as it is while nothing came, and what was put the focus on, or opened, when it comes.
    phone.evaluate("document.querySelector('#waits h3').is_read = true")
    waits.get_by_role("button", name="Take this plan").focus()
    with phone.expect_response(lambda answer: "following=" in answer.url and answer.status == 204, timeout=LATEST_MS):
        pass
    assert phone.evaluate("document.querySelector('#waits h3').is_read") is True
    may_follow.set()
    expect(waits.get_by_text("Being worked out")).to_have_count(0, timeout=LATEST_MS)
    expect(waits.get_by_text("Why this day?").first).to_be_attached()
    assert phone.evaluate("window.is_the_same_page") is True
    assert phone.evaluate("document.activeElement.textContent") == "Take this plan"


def test_without_script_a_link_shows_what_followed(
    studio: tuple[RunningServer, Bench], may_follow: Event, plain_page: Page
) -> None:
    server, bench = studio
    plain_page.goto(server.url + "/plan")
    plain_page.get_by_role("button", name=PRESS).first.click()
    told = plain_page.locator("#waits").get_by_text("Being worked out")
    expect(told).to_be_visible(timeout=LATEST_MS)
    may_follow.set()
    assert planning_first.FIRSTS.wait(bench.actor.studio_id, LATEST_MS / 1000)
    plain_page.get_by_role("link", name="look again").click()
    expect(told).to_have_count(0)
