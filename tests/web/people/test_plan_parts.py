"""The parts of a large plan for who may only look: all that is told, and no button; to a stranger nothing."""

import re

from starlette.testclient import TestClient

from tests.services.conftest import Bench
from tests.web.large_plan import content, fill, moved, propose


def main_of(text: str) -> str:
    return re.sub(r"(?s)^.*?<main|</main>.*$", "", text)


def test_a_viewer_reads_every_part_without_its_buttons(bench: Bench, enter) -> None:
    sittings = fill(bench)
    propose(bench, content(sittings), taken=True)
    uid = propose(bench, content(moved(sittings, 5)), taken=False)
    parts = ("panels", f"panels/{sittings[0]['panel']}", "days/2027-01")
    addresses = ["/plan", "/plan/days", "/plan/days/2027-01", "/plan/panels", f"/plan/{uid}/changes"]
    addresses += [f"/plan/{uid}/{part}" for part in parts]
    painter: TestClient = enter("painter")
    viewer: TestClient = enter("viewer")
    stranger: TestClient = enter("stranger")
    offered = 0
    for address in addresses:
        answer = viewer.get(address)
        assert answer.status_code == 200, address
        assert "<form" not in main_of(answer.text) and "<button" not in main_of(answer.text), address
        offered += main_of(painter.get(address).text).count("<form")
        if uid in address:
            assert stranger.get(address).status_code == 404, address
    assert offered > 20
    helped = viewer.get(f"/plan/{uid}/panels/{sittings[0]['panel']}").text
    assert "Agree on another day" in helped and "Why this day" in viewer.get("/plan/days/2027-01").text


def test_today_asks_only_those_for_an_answer_who_may_give_one(bench: Bench, enter) -> None:
    propose(bench, content(fill(bench)), taken=False)
    told = {role: "A plan waits for your answer" in enter(role).get("/").text for role in ("painter", "viewer")}
    assert told == {"painter": True, "viewer": False}
