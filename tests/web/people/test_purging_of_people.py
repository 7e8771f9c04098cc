"""Purging somebody who left, over HTTP: asked twice, the owner's alone, refused in plain words."""

from fastapi import FastAPI
from sqlmodel import col, select
from starlette.testclient import TestClient

from server.store.db import Database
from server.store.tables import Membership, Person
from tests.services.conftest import Bench
from tests.web.pages_of_records import form_to
from tests.web.people.conftest import Enter, add_person, browser


def membership_of(db: Database, name: str) -> str:
    with db.read() as session:
        query = select(col(Membership.uid)).join(Person).where(col(Person.name) == name)
        return session.scalars(query).first() or ""


def take_out(owner: TestClient, db: Database, name: str) -> str:
    uid = membership_of(db, name)
    assert owner.post(f"/people/{uid}/remove", data={}).status_code == 303
    return f"/people/{uid}/purge"


def test_the_owner_purges_who_left_by_their_name(enter: Enter, db: Database, bench: Bench):
    owner, painter = enter("owner"), enter("painter")
    rename = form_to(painter.get("/account"), "/account/name").filled(name="Wendeline Marsh")
    assert painter.post("/account/name", data=rename).status_code == 303
    added = painter.post("/plan/hours/away", data={"from_on": "2026-12-01", "until_on": "2026-12-02"})
    assert added.status_code == 303
    uid = membership_of(db, "Wendeline Marsh")
    assert owner.get(f"/people/{uid}/purge").status_code == 404  # still here
    page = take_out(owner, db, "Wendeline Marsh")
    assert f'href="{page}"' in owner.get("/people").text
    asked = owner.get(page)
    assert asked.status_code == 200 and "Purge Wendeline Marsh?" in asked.text and "1 note" in asked.text
    form = form_to(asked, page)
    wrong = owner.post(page, data=form.filled(name="Wendeline"))
    assert wrong.status_code == 422
    assert "This is not their name" in wrong.text and 'value="Wendeline"' in wrong.text
    sent = form.filled(name="Wendeline Marsh")
    for _ in "ab":  # sent twice is once
        done = owner.post(page, data=sent)
        assert (done.status_code, done.headers["location"]) == (303, "/people")
    for address in ("/people", "/history", "/plan/hours", "/account"):
        answer = owner.get(address)
        assert answer.status_code == 200
        assert "Wendeline" not in answer.text
    assert "someone who left" in owner.get("/history").text
    assert "Purged a person who left" in owner.get("/people").text
    assert owner.get(page).status_code == 404
    assert painter.get("/").status_code == 303  # to sign in, which is no use to them any more
    again = browser(painter.app, "192.0.2.9")  # type: ignore[arg-type]
    given = {"email": "painter@studio.example", "password": "two pears on a ledge", "code": "", "next": "/"}
    assert again.post("/sign-in", data=given).status_code == 422
    with db.read() as session:
        assert session.scalars(select(Person).where(col(Person.email) == "painter@studio.example")).all() == []


def test_whoever_belongs_elsewhere_is_told_of_and_stays(
    app: FastAPI, enter: Enter, db: Database, bench: Bench, elsewhere: Bench
):
    owner = enter("owner")
    add_person(db, "both", (bench.actor.studio_id, "viewer"), (elsewhere.actor.studio_id, "viewer"))
    uid = [each for each in owner.get("/people").text.split('"') if each.endswith("/remove")]
    with db.read() as session:
        query = select(Membership).join(Person).where(col(Person.name) == "Both")
        own = next(row.uid for row in session.scalars(query) if row.studio_id == bench.actor.studio_id)
    assert f"/people/{own}/remove" in uid
    assert owner.post(f"/people/{own}/remove", data={}).status_code == 303
    told = owner.get(f"/people/{own}/purge").text
    assert "They still belong to another studio here" in told and "Purge them for ever" not in told
    answer = owner.post(f"/people/{own}/purge", data={"name": "Both"})
    assert answer.status_code == 409
    assert "still belong to another studio" in answer.text
    assert enter("stranger").get(f"/people/{own}/purge").status_code == 404
