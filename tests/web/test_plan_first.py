"""The page of a plan that was answered with before all is told of it."""

import re
from collections.abc import Iterator
from datetime import timedelta
from threading import Event
from typing import Any

import pytest
from starlette.testclient import TestClient

from server.services import planning_first
from server.services.planning_ahead import Later
from server.services.planning_asked import Effort
from server.services.planning_first import FIRSTS
from server.services.search_pool import Ears
from server.services.search_worker import Part
from server.store.db import Database
from tests.services.conftest import Bench, make_bench
from tests.web.test_plan import accepted, late_panel, plans, words

LATEST_S = 60.0


class Slow:
    """Does what a search process does in this one, and the rest only once it may."""

    def __init__(self) -> None:
        self.may_go_on = Event()

    def run(self, work: Any, later: Later, _effort: None, ears: Ears) -> Any:
        def told(one: Any) -> bool:
            ears.told(one)
            return not isinstance(one, Part) or self.may_go_on.wait(LATEST_S)

        return work(later, Effort(moves=50), told)


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


@pytest.fixture
def slow(bare: Bench, monkeypatch: pytest.MonkeyPatch) -> Iterator[Slow]:
    made = Slow()
    monkeypatch.setattr(FIRSTS, "least", 1)
    monkeypatch.setattr(planning_first, "SEARCHES", made)
    yield made
    made.may_go_on.set()
    assert FIRSTS.wait(bare.actor.studio_id, LATEST_S)


def lose_a_day(client: TestClient, db: Database, bare: Bench) -> str:
    """A plan in use of a late panel, and a day without painting; the plan that waits then."""
    late_panel(bare)
    day = accepted(client, db)[0]["start_at"][:10]
    assert client.post("/plan/right", data={"event": "no_painting", "on": day}).status_code == 303
    return next(plan.uid for plan in plans(db) if plan.accepted_at is None)


def waiting_part(client: TestClient) -> str:
    found = re.search(r'(?s)<section id="waits".*?</section>', client.get("/plan").text)
    assert found is not None
    return found[0]


def test_what_changes_is_seen_before_the_rest_is_told_and_the_rest_comes_by_itself(
    bare: Bench, client: TestClient, db: Database, slow: Slow
) -> None:
    lose_a_day(client, db, bare)
    part = waiting_part(client)
    told = words(part)
    assert "becomes" in told and "Take this plan" in told
    assert "Being worked out" in told and 'hx-trigger="every 1s"' in part and 'hx-select="#waits"' in part
    assert "Not worked out yet." in told and "What would help" not in told and "%" not in told
    slow.may_go_on.set()
    assert FIRSTS.wait(bare.actor.studio_id, LATEST_S)
    told = words(waiting_part(client))
    assert "Being worked out" not in told and "Not worked out yet" not in told
    assert "What would help" in told and "becomes" in told


def test_while_nothing_came_of_the_rest_the_page_is_told_so_and_swaps_nothing(
    bare: Bench, client: TestClient, db: Database, slow: Slow
) -> None:
    uid = lose_a_day(client, db, bare)
    found = re.search(r'hx-get="(/plan\?following=[^"]+)"', waiting_part(client))
    assert found is not None and found[1].endswith(uid)
    ask = {"HX-Request": "true", "HX-Request-Type": "full"}
    assert (client.get(found[1], headers=ask).status_code, client.get(found[1], headers=ask).text) == (204, "")
    assert client.get(found[1]).status_code == 200  # followed as a link it is the page
    assert client.get("/plan?following=another", headers=ask).status_code == 200
    slow.may_go_on.set()
    assert FIRSTS.wait(bare.actor.studio_id, LATEST_S)
    answer = client.get(found[1], headers=ask)
    assert answer.status_code == 200 and "Being worked out" not in words(answer.text)


def test_taken_before_the_rest_is_told_its_pages_say_so(
    bare: Bench, client: TestClient, db: Database, slow: Slow
) -> None:
    uid = lose_a_day(client, db, bare)
    assert client.post(f"/plan/{uid}/accept").status_code == 303
    week = next(s["start_at"][:10] for plan in plans(db) for s in (plan.content_json or {})["sittings"])
    pages = [f"/plan/week?start={week}", "/plan", f"/?on={week}", "/calendar"]
    assert [client.get(page).status_code for page in pages] == [200] * 4
    assert all("Not worked out yet." in words(client.get(page).text) for page in pages[:3])
    slow.may_go_on.set()
    assert FIRSTS.wait(bare.actor.studio_id, LATEST_S)
    assert not any("Not worked out yet" in words(client.get(page).text) for page in pages)


def test_where_the_program_ended_before_the_rest_was_told_it_is_offered_to_work_it_out_again(
    bare: Bench, client: TestClient, db: Database, slow: Slow, monkeypatch: pytest.MonkeyPatch
) -> None:
    lose_a_day(client, db, bare)
    monkeypatch.setattr(FIRSTS, "is_running", lambda _: False)
    # Another process may be at it yet.
    assert "Being worked out" in words(waiting_part(client))
    monkeypatch.setattr(planning_first, "FOLLOWS_WITHIN", timedelta(0))
    told = words(waiting_part(client))
    assert "Not worked out" in told and "Work it out again" in told and "Being worked out" not in told


def test_programs_are_answered_with_the_whole(bare: Bench, client: TestClient, db: Database, slow: Slow) -> None:
    late_panel(bare)
    accepted(client, db)
    answer = client.post("/api/v1/plans/right", json={"event": "no_painting"}).json()
    assert answer["sittings"] and all(one["why"] for one in answer["sittings"])
