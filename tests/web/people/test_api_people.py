"""People, by programs: what the page does, with the same refusals; a token of less than an owner sees none of it."""

from fastapi import FastAPI

from server.store.db import Database
from server.web.api.record_examples import EXAMPLES
from tests.web.people.conftest import Enter, browser
from tests.web.people.test_api_tokens import carrying, make
from tests.web.people.test_purging_of_people import take_out

API = "/api/v1"


def test_an_owners_program_invites_and_takes_back(app: FastAPI, enter: Enter) -> None:
    token = carrying(make(enter("owner"), "owner"))
    program = browser(app)
    key = token | {"Idempotency-Key": "monday"}
    first, again = (program.post(f"{API}/invitations", json=EXAMPLES["InvitationCreate"], headers=key) for _ in "ab")
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.headers["Cache-Control"] == "no-store"
    other = program.post(f"{API}/invitations", json={"role": "viewer"}, headers=key)
    assert (other.status_code, other.json()["errors"][0]["path"]) == (422, "Idempotency-Key")
    [pending] = program.get(f"{API}/invitations", headers=token).json()["items"]
    assert (pending["role"], pending["meant_for"]) == ("assistant", "whoever mixes on Mondays")
    paths = [answer.json()["address"].partition("/join/")[2] for answer in (first, again)]
    assert [browser(app).get(f"/join/{path}").status_code for path in paths] == [404, 200]
    assert program.post(f"{API}/invitations/{pending['uid']}/revoke", headers=token).json() == {"done": True}
    assert browser(app).get(f"/join/{paths[1]}").status_code == 404


def test_an_owners_program_gives_roles_and_never_takes_the_last_owner(app: FastAPI, enter: Enter) -> None:
    enter("painter")
    token = carrying(make(enter("owner"), "owner"))
    program = browser(app)
    members = {each["role"]: each for each in program.get(f"{API}/members", headers=token).json()["items"]}
    owner, painter = members["owner"], members["painter"]
    assert (owner["is_me"], owner["is_only_owner"]) == (True, True)
    role = EXAMPLES["RoleUpdate"]
    assert program.post(f"{API}/members/{owner['uid']}/role", json=role, headers=token).status_code == 409
    viewer = program.post(f"{API}/members/{painter['uid']}/role", json={"role": "viewer"}, headers=token)
    assert viewer.status_code == 200
    assert program.post(f"{API}/members/{painter['uid']}/remove", headers=token).status_code == 200
    left = program.get(f"{API}/members", headers=token).json()["items"]
    assert painter["uid"] not in {each["uid"] for each in left}
    told = [each["label"] for each in program.get(f"{API}/members/events", headers=token).json()["items"]]
    assert any("out of the studio" in label for label in told)


def test_the_history_of_a_link_is_for_those_who_see_links(app: FastAPI, enter: Enter) -> None:
    """Its fields tell what it shows and for whom it was made, which its own address tells to owners alone."""
    program = browser(app)
    owner, painter = (carrying(make(enter(role), role)) for role in ("owner", "painter"))
    assert program.post(f"{API}/share-links", json={"label": "For one buyer"}, headers=owner).status_code == 201
    uid = program.get(f"{API}/share-links", headers=owner).json()["items"][0]["uid"]
    at = f"{API}/history/of/share_link/{uid}"
    assert "For one buyer" in program.get(at, headers=owner).text
    refused = program.get(at, headers=painter)
    assert (refused.status_code, "For one buyer" in refused.text) == (403, False)
    assert program.get(f"{API}/share-links/{uid}", headers=painter).status_code == 403


def test_a_lesser_token_of_an_owner_sees_no_people(app: FastAPI, enter: Enter) -> None:
    token = carrying(make(enter("owner"), "painter"))
    program = browser(app)
    for path in ("members", "members/events", "invitations"):
        assert program.get(f"{API}/{path}", headers=token).status_code == 403


def test_an_owners_program_purges_who_left(app: FastAPI, enter: Enter, db: Database):
    owner = enter("owner")
    program, token = browser(app), carrying(make(owner, "owner"))
    take_out(owner, db, "Painter")
    [left] = program.get(f"{API}/members/left", headers=token).json()["items"]
    assert left["name"] == "Painter"
    at = f"{API}/members/{left['uid']}/purge"
    goes = program.get(at, headers=token).json()
    assert goes == {"uid": left["uid"], "name": "Painter", "entries": 0, "hangs": []}
    wrong = program.post(at, json={"name": "Somebody"}, headers=token)
    assert (wrong.status_code, wrong.json()["errors"][0]["path"]) == (422, "name")
    key = token | {"Idempotency-Key": "once"}
    for _ in "ab":
        answer = program.post(at, json=EXAMPLES["PersonPurge"], headers=key)
        assert (answer.status_code, answer.json()) == (200, {"purged": True})
    assert program.get(at, headers=token).status_code == 404
    assert program.get(f"{API}/members/left", headers=token).json()["items"] == []


def test_a_lesser_token_of_an_owner_purges_nobody(app: FastAPI, enter: Enter, db: Database):
    owner = enter("owner")
    page = take_out(owner, db, "Painter")
    token = carrying(make(owner, "painter"))
    at = f"{API}/members/{page.split('/')[2]}/purge"
    assert browser(app).get(at, headers=token).status_code == 403
    assert browser(app).post(at, json=EXAMPLES["PersonPurge"], headers=token).status_code == 403
