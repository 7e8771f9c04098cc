"""A painter's own calendar: whose sittings it has, which panels, and when its address opens nothing any more.

Read by ``icalendar`` (RFC 5545). Which panels concern a painter is our own rule.
"""

import re
from datetime import datetime
from typing import Any

import icalendar
import pytest
from fastapi import FastAPI
from sqlalchemy import select
from starlette.testclient import TestClient

from server.services.people.tokens import hash_of
from server.store.db import Database
from server.store.tables import OwnFeed
from tests.web.test_api_plans import Program, make_studio

HERE = "http://127.0.0.1"
FIRST, SECOND = "First painter", "Second painter"


@pytest.fixture
def program(client: TestClient) -> Program:
    """Two painters with their plan in use; "Quince" and more panels to be painted."""
    program = Program(client)
    studio = make_studio(program)
    for name in (FIRST, SECOND):
        hours = {"painter": name, "weekdays": "12345", "start": "09:00", "end": "11:15"}
        program.done("/working-hours", hours)
    for title in ("Pear", "Plum"):
        body = {"title": title, "place_uid": studio.place, "due_on": "2026-12-24"}
        size = {"width_cm": 60, "height_cm": 50, "support": "hardboard"}
        ground = {"ground_kind": "acrylic", "ground_surface": "matte"}
        panel = program.done("/panels", body | size | ground)["uid"]
        layer = {"kind": f"of the {title.lower()}", "wet_thickness_um": 40, "sitting_min": 80}
        program.done(f"/panels/{panel}/layers", layer | {"mixes": [{"mix_uid": studio.mix}]})
    plan = program.done("/plans", {})
    program.done(f"/plans/{plan['uid']}/accept")
    assert {each["painter"] for each in plan["sittings"]} == {FIRST, SECOND}
    return program


def sittings_of(program: Program) -> dict[str, set[str]]:
    """Of each painter the titles and kinds of the sittings in the plan."""
    [plan] = program.get("/plans")["items"]
    found: dict[str, set[str]] = {FIRST: set(), SECOND: set()}
    for each in plan["sittings"]:
        found[each["painter"]].add(f"{each['title']}: {each['kind']}")
    return found


def entries(client: TestClient, address: str) -> list[Any]:
    answer = client.get(address.removeprefix(HERE))
    assert answer.status_code == 200
    return list(icalendar.Calendar.from_ical(answer.content).walk())


def busy(found: list[Any]) -> set[str]:
    """The summaries of what takes time, without the painter's name."""
    events = [each for each in found if each.name == "VEVENT" and isinstance(each["DTSTART"].dt, datetime)]
    return {str(each["SUMMARY"]).partition(", with")[0] for each in events if each.get("TRANSP") == "OPAQUE"}


def test_each_has_their_own_sittings_and_nobody_elses(program: Program) -> None:
    expected = sittings_of(program)
    for name in (FIRST, SECOND):
        made = program.done("/own-feeds", program.example("OwnFeedCreate") | {"painter": name})
        found = entries(program.client, made["address"])
        assert busy(found) == expected[name]
        assert name in str(found[0].get("X-WR-CALNAME") or found[0].get("NAME"))
        tasks = {
            str(each["SUMMARY"]) for each in entries(program.client, made["tasks_address"]) if each.name == "VTODO"
        }
        theirs = {line.replace(": ", ": paint the ") for line in expected[SECOND if name == FIRST else FIRST]}
        assert not tasks & theirs


def test_days_are_told_of_the_panels_that_concern_them(program: Program) -> None:
    expected = sittings_of(program)
    nobodys = program.done(
        "/panels",
        {
            **{"title": "Left over", "width_cm": 20, "height_cm": 20, "support": "hardboard"},
            **{"ground_kind": "acrylic", "ground_surface": "matte", "due_on": "2027-01-10"},
            "place_uid": program.get("/places")["items"][0]["uid"],
        },
    )
    assert nobodys["uid"]
    for name in (FIRST, SECOND):
        made = program.done("/own-feeds", {"label": name, "painter": name})
        due = {
            str(each["SUMMARY"]).partition(":")[0]
            for each in entries(program.client, made["address"])
            if each.name == "VEVENT" and "due" in str(each["SUMMARY"])
        }
        assert due == {line.partition(":")[0] for line in expected[name]} | {"Left over"}


def test_its_token_is_shown_once_kept_as_a_hash_and_revoked_by_itself(program: Program, db: Database) -> None:
    client = program.client
    shown = client.post("/calendar/own", data={"painter": FIRST, "label": "Telephone", "command_key": "k" * 12})
    assert shown.headers["Cache-Control"] == "no-store"
    address = re.search(r'id="address"[^>]*value="([^"]+)"', shown.text)
    assert address
    path = address[1].removeprefix(HERE)
    token = path.split("/")[2]
    assert client.get(path).status_code == 200
    other = program.done("/own-feeds", {"label": "Laptop", "painter": FIRST})["address"].removeprefix(HERE)
    page = client.get("/calendar/own").text
    assert token not in page
    assert "Telephone" in page and "last opened today" in page and "never opened" in page
    with db.read() as session:
        assert hash_of(token) in {row.token_hash for row in session.scalars(select(OwnFeed))}
    uid = next(each["uid"] for each in program.get("/own-feeds")["items"] if each["label"] == "Telephone")
    assert client.post(f"/calendar/own/{uid}/revoke", data={"command_key": "r" * 12}).status_code == 303
    assert "opens nothing any more" in client.get("/calendar/own?done=revoked").text
    gone, never = client.get(path), client.get("/f/umo_" + "x" * 43 + "/calendar.ics")
    link = client.get("/f/" + "x" * 43 + "/calendar.ics")
    assert (gone.status_code, gone.content) == (404, never.content)
    assert gone.content == link.content
    assert client.get(other).status_code == 200


def test_the_same_form_sent_twice_makes_one_calendar(program: Program) -> None:
    first, again = (program.done("/own-feeds", program.example("OwnFeedCreate"), key="k") for _ in range(2))
    assert first["uid"] == again["uid"]
    assert [each["uid"] for each in program.get("/own-feeds")["items"]] == [first["uid"]]
    statuses = [program.client.get(each["address"].removeprefix(HERE)).status_code for each in (first, again)]
    assert statuses == [404, 200]
    other = program.send("/own-feeds", program.example("OwnFeedCreate") | {"label": "Laptop"}, key="k")
    assert (other.status_code, other.json()["errors"][0]["path"]) == (422, "Idempotency-Key")
    program.done(f"/own-feeds/{first['uid']}/revoke")
    assert program.send("/own-feeds", program.example("OwnFeedCreate"), key="k").status_code == 409


def test_what_makes_no_calendar_comes_back_with_its_fault(program: Program, app: FastAPI) -> None:
    answer = program.client.post("/calendar/own", data={"painter": "", "label": "x" * 90})
    assert answer.status_code == 422
    assert answer.text.count('class="fault"') == 2
    assert "x" * 90 in answer.text
    for _ in range(20):
        program.done("/own-feeds", program.example("OwnFeedCreate"))
    assert program.client.post("/calendar/own", data={"painter": FIRST, "label": "One more"}).status_code == 409


def test_a_calendar_follows_its_painter_to_another_name_and_back(program: Program) -> None:
    expected, client = sittings_of(program), program.client
    own = program.done("/own-feeds", program.example("OwnFeedCreate") | {"painter": FIRST})
    before = {str(each["UID"]) for each in entries(client, own["address"]) if "UID" in each}
    assert busy(entries(client, own["address"])) == expected[FIRST] != set()
    command = program.example("PainterRename")
    assert command["painter"] == FIRST
    assert program.done("/working-hours/rename", command) == {"done": True}
    found = entries(client, own["address"])
    assert busy(found) == expected[FIRST]
    assert {str(each["UID"]) for each in found if "UID" in each} == before
    assert command["name"] in str(found[0].get("X-WR-CALNAME") or found[0].get("NAME"))
    assert program.get("/own-feeds")["items"][0]["painter"] == command["name"]
    [plan] = program.get("/plans")["items"]
    assert {each["painter"] for each in plan["sittings"]} == {command["name"], SECOND}
    assert {each["painter"] for each in program.get("/working-hours")["items"]} == {command["name"], SECOND}
    newest = program.get("/history")["items"][0]
    program.done(f"/history/{newest['uid']}/undo")
    assert busy(entries(client, own["address"])) == expected[FIRST]
    assert {each["painter"] for each in program.get("/working-hours")["items"]} == {FIRST, SECOND}
    assert client.post("/api/v1/working-hours/rename", json=command | {"painter": "Nobody"}).status_code == 404
    taken = client.post("/api/v1/working-hours/rename", json=command | {"name": SECOND})
    assert (taken.status_code, taken.json()["errors"][0]["path"]) == (422, "name")


def test_a_calendar_made_before_the_hours_follows_as_well(program: Program) -> None:
    """Somebody may make a calendar before anybody wrote down their hours."""
    own = program.done("/own-feeds", program.example("OwnFeedCreate") | {"painter": "Third painter"})
    program.done("/working-hours", {"painter": "Third painter", "weekdays": "67", "start": "09:00", "end": "11:15"})
    program.done("/working-hours/rename", {"painter": "Third painter", "name": "The third"})
    [listed] = program.get("/own-feeds")["items"]
    assert (listed["uid"], listed["painter"]) == (own["uid"], "The third")
