"""Calendars of members' own: anybody of the studio has theirs, nobody another's, and none outlives a membership."""

from fastapi import FastAPI

from tests.web.people.conftest import Enter, browser
from tests.web.people.test_api_tokens import carrying, make

API = "/api/v1"
BODY = {"label": "Telephone", "painter": "First painter"}


def own_feed(app: FastAPI, token: dict[str, str]) -> dict[str, str]:
    answer = browser(app).post(f"{API}/own-feeds", json=BODY, headers=token)
    assert answer.status_code == 201, answer.text
    found: dict[str, str] = answer.json()
    return found


def path_of(made: dict[str, str]) -> str:
    return "/f/" + made["address"].partition("/f/")[2]


def test_a_viewer_has_one_and_sees_nobody_elses(app: FastAPI, enter: Enter) -> None:
    viewer, painter = (carrying(make(enter(role), "viewer")) for role in ("viewer", "painter"))
    mine, theirs = own_feed(app, viewer), own_feed(app, painter)
    program = browser(app)
    assert [each["uid"] for each in program.get(f"{API}/own-feeds", headers=viewer).json()["items"]] == [mine["uid"]]
    assert program.post(f"{API}/own-feeds/{theirs['uid']}/revoke", headers=viewer).status_code == 404
    assert {program.get(path_of(each)).status_code for each in (mine, theirs)} == {200}
    assert "Telephone" in enter("viewer").get("/calendar/own").text


def test_it_ends_with_the_membership(app: FastAPI, enter: Enter) -> None:
    owner = carrying(make(enter("owner"), "owner"))
    made = own_feed(app, carrying(make(enter("painter"), "viewer")))
    program = browser(app)
    assert program.get(path_of(made)).status_code == 200
    members = program.get(f"{API}/members", headers=owner).json()["items"]
    uid = next(each["uid"] for each in members if each["role"] == "painter")
    assert program.post(f"{API}/members/{uid}/remove", headers=owner).status_code == 200
    assert program.get(path_of(made)).status_code == 404


def test_another_studios_calendar_cannot_be_revoked(app: FastAPI, enter: Enter) -> None:
    made = own_feed(app, carrying(make(enter("owner"), "viewer")))
    stranger = carrying(make(enter("stranger"), "owner"))
    assert browser(app).post(f"{API}/own-feeds/{made['uid']}/revoke", headers=stranger).status_code == 404
    assert browser(app).get(path_of(made)).status_code == 200
