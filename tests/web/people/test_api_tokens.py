"""Tokens for programs: what one opens and what it does not, whose it is, and when it ends."""

import re

import pytest
from fastapi import FastAPI
from sqlalchemy import select
from sqlmodel import col
from starlette.testclient import TestClient

from server.services.people.tokens import hash_of
from server.store.db import Database
from server.store.tables import ApiToken, Membership, Person
from tests.services.conftest import Bench
from tests.web.people.conftest import Clock, Enter, browser


def make(client: TestClient, role: str = "viewer", lasts: str = "year", label: str = "Rack list") -> str:
    answer = client.post("/account/tokens", data={"label": label, "role": role, "lasts": lasts})
    assert answer.status_code == 200, answer.text
    assert answer.headers["Cache-Control"] == "no-store"
    found = re.search(r"umd_[\w-]{43}", answer.text)
    assert found
    return found[0]


def carrying(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}


def test_a_token_reads_the_studio_of_its_person_and_opens_no_page(app: FastAPI, enter: Enter, bench: Bench):
    token = make(enter("owner"))
    program = browser(app)
    today = program.get("/api/v1/today", headers=carrying(token))
    assert today.status_code == 200
    assert program.get("/api/v1/openapi.json", headers=carrying(token)).status_code == 200
    for path in ("/", "/panels", "/account", "/account/tokens", "/people"):
        assert program.get(path, headers=carrying(token)).status_code == 303, path
    assert program.post("/account/tokens", headers=carrying(token), data={"label": "x"}).status_code == 401
    assert program.get("/api/v1/today").status_code == 401


def test_only_its_hash_is_kept_and_it_is_shown_once(enter: Enter, db: Database):
    owner = enter("owner")
    token = make(owner)
    with db.read() as session:
        assert session.scalars(select(col(ApiToken.token_hash))).all() == [hash_of(token)]
    assert token not in owner.get("/account/tokens").text
    assert "Rack list" in owner.get("/account/tokens").text
    assert token not in owner.get("/history").text


@pytest.mark.parametrize("role", ["painter", "assistant", "viewer"])
def test_a_token_may_never_do_more_than_its_person(enter: Enter, role: str):
    client = enter(role)
    answer = client.post("/account/tokens", data={"label": "x", "role": "owner", "lasts": "year"})
    assert answer.status_code == 409
    assert "a program of yours cannot be more" in answer.text
    assert 'value="owner"' not in client.get("/account/tokens").text


def test_a_token_may_do_what_its_role_may(app: FastAPI, enter: Enter):
    owner, program = enter("owner"), browser(app)
    looks, tests, paints = (carrying(make(owner, role)) for role in ("viewer", "assistant", "painter"))
    thinner = {"label": "Jar", "solvent": "odourless_mineral_spirits"}
    for headers, status in ((looks, 403), (tests, 403), (paints, 201)):
        assert program.post("/api/v1/thinners", json=thinner, headers=headers).status_code == status
    studio = program.get("/api/v1/studio", headers=paints)
    assert studio.status_code == 200
    change = {name: value for name, value in studio.json().items() if name != "version"}
    headers = paints | {"If-Match": studio.headers["ETag"]}
    assert program.put("/api/v1/studio", json=change, headers=headers).status_code == 403
    assert "(Rack list)" in owner.get("/history").text


def test_a_token_loses_what_its_person_loses(app: FastAPI, enter: Enter, db: Database, people: dict[str, Person]):
    token = carrying(make(enter("painter"), "painter"))
    program = browser(app)
    thinner = {"label": "Jar", "solvent": "odourless_mineral_spirits"}

    def belong(**values: object) -> None:
        with db.write() as session:
            query = select(Membership).where(col(Membership.person_id) == people["painter"].id)
            for row in session.scalars(query):
                for name, value in values.items():
                    setattr(row, name, value)

    assert program.post("/api/v1/thinners", json=thinner, headers=token).status_code == 201
    belong(role="viewer")
    assert program.post("/api/v1/thinners", json=thinner, headers=token).status_code == 403
    assert program.get("/api/v1/today", headers=token).status_code == 200
    belong(ended_at=people["painter"].created_at)
    assert program.get("/api/v1/today", headers=token).status_code == 401


def test_a_token_ends_when_it_is_revoked_and_when_its_time_is_over(
    app: FastAPI, enter: Enter, db: Database, clock: Clock
):
    owner, program = enter("owner"), browser(app)
    token, month, ever = make(owner), make(owner, lasts="month"), make(owner, lasts="ever")
    with db.read() as session:
        uid = session.scalars(select(col(ApiToken.uid)).where(col(ApiToken.token_hash) == hash_of(token))).one()
    stranger = enter("stranger")
    assert stranger.post(f"/account/tokens/{uid}/revoke").status_code == 404
    assert program.get("/api/v1/today", headers=carrying(token)).status_code == 200
    for _ in range(2):
        assert owner.post(f"/account/tokens/{uid}/revoke").status_code == 303
    revoked = program.get("/api/v1/today", headers=carrying(token))
    assert (revoked.status_code, revoked.headers["WWW-Authenticate"]) == (401, "Bearer")
    assert program.get("/api/v1/today", headers=carrying(month)).status_code == 200
    clock.go_on(days=31)
    late = program.get("/api/v1/today", headers=carrying(month))
    assert late.status_code == 401
    assert program.get("/api/v1/today", headers=carrying(ever)).status_code == 200
    unknown = program.get("/api/v1/today", headers=carrying("umd_" + "a" * 43))
    assert unknown.json() == late.json() == revoked.json()


def test_a_bad_token_is_not_saved_by_a_good_cookie(enter: Enter):
    owner = enter("owner")
    assert owner.get("/api/v1/today").status_code == 200
    assert owner.get("/api/v1/today", headers=carrying("umd_wrong")).status_code == 401


def test_a_token_of_one_studio_finds_nothing_of_another(app: FastAPI, enter: Enter):
    program = browser(app)
    mine, theirs = carrying(make(enter("owner"), "painter")), carrying(make(enter("stranger"), "painter"))
    thinner = {"label": "Jar", "solvent": "odourless_mineral_spirits"}
    uid = program.post("/api/v1/thinners", json=thinner, headers=mine).json()["uid"]
    assert program.get(f"/api/v1/thinners/{uid}", headers=mine).status_code == 200
    assert program.get(f"/api/v1/thinners/{uid}", headers=theirs).status_code == 404
    assert uid not in program.get("/api/v1/thinners", headers=theirs).text


def test_the_same_sending_makes_one_token_and_the_last_answer_is_the_one_that_works(app: FastAPI, enter: Enter):
    owner, program = enter("owner"), browser(app)
    form = {"label": "Rack list", "role": "viewer", "lasts": "year", "command_key": "one-sending-of-a-form-0001"}
    first, second = (
        re.search(r"umd_[\w-]{43}", owner.post("/account/tokens", data=form).text)[0]  # type: ignore[index]
        for _ in range(2)
    )
    assert first != second
    assert program.get("/api/v1/today", headers=carrying(first)).status_code == 401
    assert program.get("/api/v1/today", headers=carrying(second)).status_code == 200


def test_a_token_that_was_revoked_is_not_made_again_by_its_first_sending(app: FastAPI, enter: Enter):
    owner = enter("owner")
    form = {"label": "Rack list", "role": "viewer", "lasts": "year", "command_key": "one-sending-of-a-form-0001"}
    assert owner.post("/account/tokens", data=form).status_code == 200
    uid = re.search(r"/account/tokens/([\w-]+)/revoke", owner.get("/account/tokens").text)
    assert uid
    owner.post(f"/account/tokens/{uid[1]}/revoke")
    again = owner.post("/account/tokens", data=form)
    assert again.status_code == 409
    assert "umd_" not in again.text


def test_keys_of_two_people_are_two_sendings(app: FastAPI, enter: Enter):
    """Programs choose plain keys: that of one must not stand for the other's, nor keep it from working."""
    mine, theirs = (carrying(make(enter(role), role)) | {"Idempotency-Key": "1"} for role in ("owner", "painter"))
    program = browser(app)
    thinner = {"label": "Jar", "solvent": "odourless_mineral_spirits"}
    made = [program.post("/api/v1/thinners", json=thinner, headers=of).json()["uid"] for of in (mine, theirs, mine)]
    assert made[0] != made[1]
    assert made[2] == made[0]
    assert program.post("/api/v1/thinners", json={**thinner, "label": "Tin"}, headers=theirs).status_code == 422
    feed = {"label": "Telephone", "painter": "First painter"}
    feeds = [program.post("/api/v1/own-feeds", json=feed, headers=of) for of in (mine, theirs)]
    assert [answer.status_code for answer in feeds] == [201, 201]


def test_who_comes_in_again_finds_old_tokens_and_calendars_shut(app: FastAPI, enter: Enter):
    """A token that got away may be why somebody was taken out; an undo of the removal brings all back as it was."""
    owner, painter = enter("owner"), enter("painter")
    token = carrying(make(painter, "painter"))
    program = browser(app)
    feed = {"label": "Telephone", "painter": "First painter"}
    calendar = "/f/" + program.post("/api/v1/own-feeds", json=feed, headers=token).json()["address"].partition("/f/")[2]

    def opened() -> set[int]:
        return {program.get("/api/v1/today", headers=token).status_code, program.get(calendar).status_code}

    assert opened() == {200}
    owners = carrying(make(owner, "owner"))
    members = program.get("/api/v1/members", headers=owners).json()["items"]
    uid = next(each["uid"] for each in members if each["role"] == "painter")
    removed = program.post(f"/api/v1/members/{uid}/remove", headers=owners)
    assert removed.status_code == 200
    assert opened() == {401, 404}
    invited = program.post("/api/v1/invitations", json={"role": "viewer"}, headers=owners).json()
    assert painter.post("/join/" + invited["address"].rpartition("/")[2]).status_code == 303
    assert painter.get("/panels").status_code == 200
    assert opened() == {401, 404}
    assert "Telephone" not in painter.get("/calendar/own").text
    assert "Rack list" not in painter.get("/account/tokens").text


def test_the_last_use_is_kept_once_in_a_few_minutes(app: FastAPI, enter: Enter, db: Database, clock: Clock):
    token = carrying(make(enter("owner")))
    program = browser(app)

    def used() -> object:
        with db.read() as session:
            return session.scalars(select(col(ApiToken.used_at))).one()

    assert used() is None
    program.get("/api/v1/today", headers=token)
    first = used()
    assert first == clock.now
    clock.go_on(minutes=1)
    program.get("/api/v1/today", headers=token)
    assert used() == first
    clock.go_on(minutes=10)
    program.get("/api/v1/today", headers=token)
    assert used() == clock.now


@pytest.mark.parametrize(("field", "value"), [("label", ""), ("label", "x" * 61), ("role", "king"), ("lasts", "week")])
def test_bad_input_is_told_in_the_form(enter: Enter, field: str, value: str):
    form = {"label": "Rack list", "role": "viewer", "lasts": "year"} | {field: value}
    assert enter("owner").post("/account/tokens", data=form).status_code == 422
