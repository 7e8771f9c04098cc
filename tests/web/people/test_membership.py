"""Coming in and going: the first owner, invitations, roles, several studios in one install."""

import re
import threading
from datetime import datetime, timezone

import pytest
from fastapi import FastAPI
from sqlmodel import col, select
from starlette.testclient import TestClient

from server.services.people import console, members
from server.services.people.members import RoleUpdate
from server.services.people.tokens import hash_of
from server.store.db import Database
from server.store.tables import Change, Invitation, Membership, PeopleEvent, Person, Studio
from server.web import serve
from server.web.app import create_app
from server.web.settings import Settings
from tests.services.conftest import Bench
from tests.web.people.conftest import PASSWORD, Clock, Enter, add_person, browser, sign_in

LINK = re.compile(r"http://127\.0\.0\.1/join/([\w-]{43})")
UNDO = re.compile(r'action="(/people/events/[^"]+/undo)"')
NEW = {"name": "Newcomer Invented", "email": "New@Studio.example ", "password": "a ladder by the window"}


def membership_of(db: Database, person: Person, bench: Bench) -> Membership:
    with db.read() as session:
        query = select(Membership).where(
            col(Membership.person_id) == person.id, col(Membership.studio_id) == bench.actor.studio_id
        )
        return session.scalars(query).one()


def invite(owner: TestClient, role: str = "assistant", **fields: str) -> str:
    answer = owner.post("/people/invite", data={"role": role, "meant_for": "", **fields})
    assert answer.status_code == 200, answer.text
    assert answer.headers["Cache-Control"] == "no-store"
    found = LINK.search(answer.text)
    assert found is not None
    return f"/join/{found[1]}"


# ---- the first owner ----
def test_the_first_owner_comes_in_by_the_console(app: FastAPI, nobody: TestClient, db: Database, clock: Clock, bench):
    assert nobody.get("/").headers["Location"] == "/sign-in"
    assert nobody.get("/sign-in").headers["Location"] == "/first-owner"
    code = console.first_owner_code(db, clock.now)
    assert code is not None
    wrong = nobody.post("/first-owner", data={**NEW, "code": "0" * 24})
    assert wrong.status_code == 422
    assert "Newcomer Invented" in wrong.text  # nothing typed is lost
    assert NEW["password"] not in wrong.text
    taken = nobody.post("/first-owner", data={**NEW, "code": code.lower().replace("-", " ")})
    assert taken.status_code == 303
    assert nobody.get("/people").status_code == 200
    assert console.first_owner_code(db, clock.now) is None
    assert browser(app).post("/first-owner", data={**NEW, "code": code}).status_code == 404
    assert browser(app).get("/first-owner").headers["Location"] == "/sign-in"


def test_the_code_of_the_console_ends_with_its_hour_and_with_the_next_start(nobody: TestClient, db, clock: Clock):
    first = console.first_owner_code(db, clock.now)
    second = console.first_owner_code(db, clock.now)
    assert nobody.post("/first-owner", data={**NEW, "code": first}).status_code == 422  # a new start made another
    clock.go_on(minutes=60)
    assert nobody.post("/first-owner", data={**NEW, "code": second}).status_code == 422
    third = console.first_owner_code(db, clock.now)
    clock.go_on(minutes=59)
    assert nobody.post("/first-owner", data={**NEW, "code": third}).status_code == 303


def test_the_first_owner_owns_what_the_single_painter_had(app: FastAPI, db: Database, clock: Clock, bench: Bench):
    panel = bench.panel()
    client = browser(app)
    client.post("/first-owner", data={**NEW, "code": console.first_owner_code(db, clock.now)})
    assert client.get(f"/panels/{panel.uid}").status_code == 200


def test_the_console_tells_the_code_and_helps_who_forgot(capsys, monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.delenv("DATABASE_URL", raising=False)
    settings = serve.studio_settings("127.0.0.1", 0, shared=True)
    serve.make_folder()
    assert serve.bring_up_to_date(settings)
    db = Database(settings.database_url)
    app = create_app(settings, db)
    serve.tell_first_owner(db, "http://127.0.0.1:8000/")
    told = capsys.readouterr().out
    code = re.search(r"^\s+([0-9A-Z-]{29})$", told, re.MULTILINE)
    assert code is not None
    client = browser(app)
    assert client.post("/first-owner", data={**NEW, "code": code[1]}).status_code == 303
    serve.tell_first_owner(db, "http://127.0.0.1:8000/")
    assert capsys.readouterr().out == ""
    assert serve.new_password("nobody@studio.example") == 1
    assert serve.new_password("new@studio.example") == 0
    again = re.search(r"([0-9A-Z]{4}-){5}[0-9A-Z]{4}", capsys.readouterr().out)
    assert again is not None
    chosen = {"code": again[0], "password": "another ladder, another window"}
    assert browser(app).post("/new-password", data=chosen).status_code == 303
    assert client.get("/account").status_code == 303  # every session ended
    assert browser(app).post("/new-password", data=chosen).status_code == 422  # once
    assert sign_in(browser(app), "new", "another ladder, another window").status_code == 303
    db.close()


# ---- invitations ----
def test_an_invitation_lets_one_person_in_with_its_role(app: FastAPI, enter: Enter, db: Database, bench: Bench):
    link = invite(enter("owner"), "assistant", meant_for="the new one")
    newcomer = browser(app)
    offered = newcomer.get(link)
    assert offered.status_code == 200
    assert "as <strong>assistant</strong>" in offered.text
    assert newcomer.get(link).status_code == 200  # looking uses nothing up
    joined = newcomer.post(link, data=NEW)
    assert joined.status_code == 303
    assert newcomer.get("/mixes/new").status_code == 200
    assert newcomer.get("/panels/new").status_code == 403
    replayed = browser(app).post(link, data={**NEW, "email": "third@studio.example"})
    assert replayed.status_code == 404
    with db.read() as session:
        person = session.scalars(select(Person).where(col(Person.email) == "new@studio.example")).one()
        assert (
            session.scalars(select(Membership.role).where(col(Membership.person_id) == person.id)).one() == "assistant"
        )
        kept = session.scalars(select(Invitation)).one()
    assert kept.token_hash == hash_of(link.rpartition("/")[2])


def test_links_that_open_nothing_all_look_the_same(app: FastAPI, enter: Enter, clock: Clock, db: Database):
    owner = enter("owner")
    used, revoked, expired = (invite(owner) for _ in range(3))
    browser(app).post(used, data=NEW)
    uid = re.findall(r"/people/invitations/([\w-]+)/revoke", owner.get("/people").text)[-1]
    assert owner.post(f"/people/invitations/{uid}/revoke").status_code == 303
    assert owner.post(f"/people/invitations/{uid}/revoke").status_code == 303  # twice is the same as once
    with db.read() as session:
        row = session.scalars(select(Invitation).where(col(Invitation.uid) == uid)).one()
    revoked, expired = (
        (revoked, expired) if row.token_hash == hash_of(revoked.rpartition("/")[2]) else (expired, revoked)
    )
    clock.go_on(days=7)
    texts = set()
    for link in (used, revoked, expired, "/join/" + "x" * 43, "/join/x"):
        for answer in (browser(app).get(link), browser(app).post(link, data=NEW)):
            assert answer.status_code == 404, link
            texts.add(answer.text.replace(answer.headers["X-Request-ID"], ""))
    assert len(texts) == 1


def test_an_invitation_is_open_to_its_last_moment(app: FastAPI, enter: Enter, clock: Clock):
    link = invite(enter("owner"))
    clock.go_on(days=6, hours=23, minutes=59)
    assert browser(app).post(link, data=NEW).status_code == 303


def test_the_same_sending_again_leaves_one_link(app: FastAPI, enter: Enter, db: Database):
    owner = enter("owner")
    first = invite(owner, command_key="invite-0123456789")
    second = invite(owner, command_key="invite-0123456789")
    assert first != second
    assert browser(app).get(first).status_code == 404
    assert browser(app).get(second).status_code == 200
    with db.read() as session:
        assert len(session.scalars(select(Invitation)).all()) == 1


def test_an_invitation_that_was_taken_back_is_not_made_again_by_its_first_sending(enter: Enter):
    owner = enter("owner")
    form = {"role": "assistant", "meant_for": "", "command_key": "invite-0123456789"}
    assert owner.post("/people/invite", data=form).status_code == 200
    uid = re.search(r"/people/invitations/([\w-]+)/revoke", owner.get("/people").text)
    assert uid
    owner.post(f"/people/invitations/{uid[1]}/revoke")
    again = owner.post("/people/invite", data=form)
    assert again.status_code == 409
    assert not LINK.search(again.text)


def test_somebody_with_an_account_joins_another_studio_with_it(
    enter: Enter, people, db, elsewhere: Bench, bench: Bench
):
    stranger, owner = enter("stranger"), enter("owner")
    panel, theirs = bench.panel(title="Here"), elsewhere.panel(title="There")
    assert stranger.get(f"/panels/{panel.uid}").status_code == 404
    assert stranger.post(invite(owner, "viewer")).status_code == 303
    assert stranger.get(f"/panels/{panel.uid}").status_code == 200
    assert stranger.get("/panels/new").status_code == 403  # a viewer here
    assert stranger.get(f"/panels/{theirs.uid}").status_code == 404  # in one studio at a time
    with db.read() as session:
        home = session.get_one(Studio, elsewhere.actor.studio_id)
    assert stranger.post(f"/studios/{home.uid}/choose").status_code == 303
    assert stranger.get(f"/panels/{theirs.uid}").status_code == 200
    assert stranger.get("/panels/new").status_code == 200  # an owner there
    assert stranger.get(f"/panels/{panel.uid}").status_code == 404


def test_an_e_mail_that_is_taken_is_told_at_its_field(app: FastAPI, enter: Enter):
    answer = browser(app).post(invite(enter("owner")), data={**NEW, "email": "VIEWER@studio.example"})
    assert answer.status_code == 422
    assert "Sign in, then open the link again" in answer.text


@pytest.mark.parametrize(
    ("field", "value"), [("name", ""), ("email", "no address"), ("email", ""), ("password", "short")]
)
def test_what_is_missing_is_told_and_nothing_typed_is_lost(app: FastAPI, enter: Enter, field: str, value: str):
    link = invite(enter("owner"))
    answer = browser(app).post(link, data={**NEW, field: value})
    assert answer.status_code == 422
    assert f'id="e-{field}"' in answer.text
    if field != "name":
        assert "Newcomer Invented" in answer.text
    assert NEW["password"] not in answer.text
    assert browser(app).post(link, data=NEW).status_code == 303  # the invitation was not used up


@pytest.mark.parametrize(
    "hostile", ["<script>alert(1)</script>", "\x00", "\u202eturned", "a" * 100_000, "'; drop table person"]
)
def test_hostile_text_in_the_forms_of_people(app: FastAPI, enter: Enter, hostile: str):
    owner = enter("owner")
    link = invite(owner)
    asked = {
        "/sign-in": ("email", "password", "code", "next"),
        "/new-password": ("code", "password"),
        link: ("name", "email", "password"),
    }
    answers = [browser(app).post(path, data=dict.fromkeys(names, hostile)) for path, names in asked.items()]
    answers += [
        owner.post("/people/invite", data={"role": hostile, "meant_for": hostile}),
        owner.post("/account/name", data={"name": hostile}),
        owner.post("/account/password", data={"password": hostile, "new_password": hostile}),
        owner.post("/studios/new", data={"name": hostile}),
        owner.get("/account", params={"done": hostile[:500]}),
        owner.get("/people", params={"done": hostile[:500]}),
    ]
    for answer in answers:
        assert answer.status_code in {200, 303, 404, 409, 422, 429}
        assert "<script>alert" not in answer.text
        assert "\x00" not in answer.text


# ---- roles and leaving ----
def test_a_role_takes_hold_at_once(enter: Enter, people, db: Database, bench: Bench):
    owner, viewer = enter("owner"), enter("viewer")
    uid = membership_of(db, people["viewer"], bench).uid
    assert viewer.get("/panels/new").status_code == 403
    assert owner.post(f"/people/{uid}/role", data={"role": "painter"}).status_code == 303
    assert viewer.get("/panels/new").status_code == 200
    assert owner.post(f"/people/{uid}/remove").status_code == 303
    assert viewer.get("/panels").headers["Location"] == "/studios"
    assert "You belong to no studio" in viewer.get("/studios").text
    assert viewer.get("/account").status_code == 200  # the account stays


def test_a_press_after_the_removal_is_refused_and_no_page_comes_in_its_place(
    enter: Enter, people, db: Database, bench: Bench
):
    """A page that was open is led nowhere by a part of it: htmx would put all of the other page into a card."""
    owner, assistant = enter("owner"), enter("assistant")
    layer = bench.painted(bench.panel(), 20)
    uid = membership_of(db, people["assistant"], bench).uid
    assert owner.post(f"/people/{uid}/remove").status_code == 303
    htmx = {"HX-Request": "true", "HX-Request-Type": "partial"}
    press = assistant.post(f"/layers/{layer.uid}/tests", data={"stage": "tacky"}, headers=htmx)
    assert (press.status_code, "<html" in press.text) == (403, False)
    assert "taken out of this one" in press.text
    assert assistant.get("/?card=x", headers=htmx).status_code == 403
    assert assistant.post(f"/layers/{layer.uid}/tests", data={"stage": "tacky"}).status_code == 403
    assert assistant.get("/api/v1/today").status_code == 403
    assert assistant.get("/").headers["Location"] == "/studios"


def test_the_last_owner_can_neither_go_nor_step_down(enter: Enter, people, db: Database, bench: Bench):
    owner = enter("owner")
    own, painter = (membership_of(db, people[name], bench).uid for name in ("owner", "painter"))
    for action, data in (("remove", {}), ("role", {"role": "viewer"})):
        refused = owner.post(f"/people/{own}/{action}", data=data)
        assert refused.status_code == 409
        assert "only owner" in refused.text
    owner.post(f"/people/{painter}/role", data={"role": "owner"})
    assert owner.post(f"/people/{own}/role", data={"role": "painter"}).headers["Location"] == "/"
    assert owner.get("/people").status_code == 403


def test_two_owners_who_demote_each_other_leave_one(people, db: Database, bench: Bench, enter: Enter):
    with db.write() as session:
        row = session.scalars(select(Membership).where(col(Membership.person_id) == people["painter"].id)).one()
        row.role = "owner"
    uids = [membership_of(db, people[name], bench).uid for name in ("owner", "painter")]
    now = datetime(2026, 11, 25, 9, 0, tzinfo=timezone.utc)

    def demote(uid: str) -> None:
        try:
            with db.write() as session:
                members.set_role(session, bench.actor, uid, RoleUpdate(role="viewer"), now)
        except Exception as fault:
            refused.append(fault)

    refused: list[Exception] = []
    threads = [threading.Thread(target=demote, args=(uid,)) for uid in uids]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(refused) == 1
    assert {membership_of(db, people[name], bench).role for name in ("owner", "painter")} == {"owner", "viewer"}


def test_people_of_another_studio_are_not_there(enter: Enter, people, db: Database, bench: Bench):
    stranger, owner = enter("stranger"), enter("owner")
    uid = membership_of(db, people["viewer"], bench).uid
    invite(owner)
    invitation = re.findall(r"/people/invitations/([\w-]+)/revoke", owner.get("/people").text)[0]
    assert stranger.post(f"/people/{uid}/role", data={"role": "owner"}).status_code == 404
    assert stranger.post(f"/people/{uid}/remove").status_code == 404
    assert stranger.post(f"/people/invitations/{invitation}/revoke").status_code == 404
    with db.read() as session:
        studio = session.get_one(Studio, bench.actor.studio_id)
    assert stranger.post(f"/studios/{studio.uid}/choose").status_code == 404
    assert "viewer@studio.example" not in stranger.get("/people").text


def test_an_owner_sets_up_another_studio_and_nothing_crosses(enter: Enter, bench: Bench):
    owner, viewer = enter("owner"), enter("viewer")
    panel = bench.panel()
    assert viewer.post("/studios/new", data={"name": "Second room"}).status_code == 403
    assert owner.post("/studios/new", data={"name": "Second room"}).status_code == 303
    assert "Second room" in owner.get("/panels").text
    assert owner.get(f"/panels/{panel.uid}").status_code == 404
    assert owner.get("/history").text.count("Added a panel") == 0


def test_working_hours_are_planned_as_before(enter: Enter):
    painter = enter("painter")
    hours = {"painter": "Mornings", "on_date": "2026-12-01", "start": "09:00", "end": "12:00"}
    assert painter.post("/plan/hours", data=hours).status_code == 303
    assert "Mornings" in painter.get("/plan/hours").text
    assert "Mornings" in enter("viewer").get("/plan/hours").text


def test_what_happened_to_people_is_told_to_owners_and_kept_out_of_the_history(enter: Enter, app, db: Database):
    owner = enter("owner")
    browser(app).post(invite(owner, "viewer", meant_for="the gallery"), data=NEW)
    told = owner.get("/people").text
    assert "Invited the gallery as viewer" in told
    assert "Newcomer Invented came in as viewer" in told
    with db.read() as session:
        assert session.scalars(select(PeopleEvent)).all()
        images = [image for row in session.scalars(select(Change)) for image in (row.before, row.after) if image]
        hashes = {p.password_hash for p in session.scalars(select(Person))}
    assert not any(secret in str(image) for image in images for secret in hashes)


def test_no_token_stands_in_the_log(app: FastAPI, enter: Enter, caplog: pytest.LogCaptureFixture):
    link = invite(enter("owner"))
    with caplog.at_level("INFO", logger="umberday.access"):
        browser(app).get(link)
    assert "GET /join/" in caplog.text
    assert link.rpartition("/")[2] not in caplog.text


def test_a_single_user_install_asks_nobody(tmp_path, db: Database):
    app = create_app(Settings(str(db.url)), db)
    client = TestClient(app, base_url="http://127.0.0.1", follow_redirects=False)
    assert client.get("/").status_code == 200
    assert client.get("/panels/new").status_code == 200
    assert "Umberday-Who" not in client.get("/").headers
    for path in ("/sign-in", "/people", "/account", "/account/codes", "/studios", "/first-owner", "/new-password"):
        assert "--shared" in client.get(path).text
    for path in ("/sign-in", "/sign-out", "/first-owner", "/people/invite", "/studios/new", "/account/name"):
        assert client.post(path).status_code == 404


def test_somebody_in_two_studios_begins_where_they_were_last(app: FastAPI, db: Database, bench, elsewhere: Bench):
    add_person(db, "both", (bench.actor.studio_id, "viewer"), (elsewhere.actor.studio_id, "owner"))
    client = browser(app)
    sign_in(client, "both")
    assert client.get("/panels").headers["Location"] == "/studios"  # a choice to make
    with db.read() as session:
        there = session.get_one(Studio, elsewhere.actor.studio_id)
    client.post(f"/studios/{there.uid}/choose")
    again = browser(app)
    sign_in(again, "both", PASSWORD)
    assert there.name in again.get("/panels").text


def told(owner: TestClient) -> list[tuple[str, str]]:
    """What happened to people by the page, newest first, each with where its undo is sent, "" for none."""
    page = owner.get("/people").text
    blocks = page[page.index("Who came and went") :].split('<li class="row-of"><span>')[1:]
    return [
        (block.partition(" <small")[0], found[1] if (found := UNDO.search(block.partition("</li>")[0])) else "")
        for block in blocks
    ]


def role_of(db: Database, person: Person, bench: Bench) -> str | None:
    found = membership_of(db, person, bench)
    return None if found.ended_at is not None else found.role


def test_a_role_and_a_removal_are_taken_back_and_again(enter: Enter, people, db: Database, bench: Bench):
    owner, painter = enter("owner"), people["painter"]
    uid = membership_of(db, painter, bench).uid
    assert owner.post(f"/people/{uid}/role", data={"role": "viewer"}).status_code == 303
    label, undo = told(owner)[0]
    assert label == "Painter is now viewer" and undo
    assert owner.post(undo, data={}).headers["location"] == "/people?done=undone"
    assert role_of(db, painter, bench) == "painter"
    assert owner.post(undo, data={}).status_code == 303  # sent twice is once
    assert told(owner)[0][0] == "Undid: Painter is now painter"
    assert told(owner)[1][1] == ""  # only the last thing done to somebody can be taken back
    assert owner.post(told(owner)[0][1], data={}).status_code == 303
    assert role_of(db, painter, bench) == "viewer"
    assert owner.post(f"/people/{uid}/remove", data={}).status_code == 303
    assert role_of(db, painter, bench) is None
    assert owner.post(told(owner)[0][1], data={}).status_code == 303
    assert role_of(db, painter, bench) == "viewer"
    assert told(owner)[0][0] == "Undid: Took Painter back into the studio"


def test_what_was_changed_since_is_not_taken_back(enter: Enter, people, db: Database, bench: Bench):
    owner = enter("owner")
    uid = membership_of(db, people["painter"], bench).uid
    owner.post(f"/people/{uid}/role", data={"role": "viewer"})
    undo = told(owner)[0][1]
    owner.post(f"/people/{uid}/role", data={"role": "assistant"})
    refused = owner.post(undo, data={})
    assert refused.status_code == 409 and "changed since" in refused.text
    assert role_of(db, people["painter"], bench) == "assistant"
    owner.post(f"/people/{uid}/remove", data={})
    assert owner.post(undo, data={}).status_code == 409


def test_an_undo_leaves_the_studio_an_owner(enter: Enter, people, db: Database, bench: Bench):
    owner = enter("owner")
    uid = membership_of(db, people["painter"], bench).uid
    owner.post(f"/people/{uid}/role", data={"role": "owner"})
    undo = told(owner)[0][1]
    enter("painter").post(f"/people/{membership_of(db, people['owner'], bench).uid}/role", data={"role": "viewer"})
    assert owner.post(undo, data={}).status_code == 403
    refused = enter("painter").post(undo, data={})
    assert refused.status_code == 409 and "only owner" in refused.text
    assert role_of(db, people["painter"], bench) == "owner"


def test_an_invitation_is_taken_back_and_opens_again(app: FastAPI, enter: Enter, people, db: Database, bench: Bench):
    owner = enter("owner")
    link = invite(owner)
    assert owner.post(told(owner)[0][1], data={}).status_code == 303
    assert browser(app).get(link).status_code == 404
    assert told(owner)[0][0].startswith("Undid: Took back the invitation")
    assert owner.post(told(owner)[0][1], data={}).status_code == 303
    assert browser(app).get(link).status_code == 200


def test_people_of_another_studio_are_not_undone(enter: Enter, people, db: Database, bench: Bench):
    owner = enter("owner")
    owner.post(f"/people/{membership_of(db, people['painter'], bench).uid}/role", data={"role": "viewer"})
    undo = told(owner)[0][1]
    assert enter("stranger").post(undo, data={}).status_code == 404
    assert enter("assistant").post(undo, data={}).status_code == 403
    assert owner.post("/people/events/no-such-event-00/undo", data={}).status_code == 404
    assert role_of(db, people["painter"], bench) == "viewer"
