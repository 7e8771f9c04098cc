"""Purging somebody who left: no way in and no name is left, and what they did still stands and can be undone."""

import sqlite3
import zipfile
from datetime import timedelta
from io import BytesIO
from pathlib import Path

import pytest
from sqlalchemy import select as select_rows
from sqlmodel import col, select

from server.services import history, own_feeds, panels, planning, upkeep
from server.services.access import Actor
from server.services.archive.pack import pack
from server.services.errors import Forbidden, Invalid, NotFound, Refused
from server.services.images import sql_table
from server.services.own_feeds import OwnFeedCreate, Whose
from server.services.people import account, api_tokens, invitations, members, one_time_codes, purging, sessions, tokens
from server.services.people.account import NameUpdate
from server.services.people.api_tokens import TokenCreate
from server.services.people.forgetting import NAMELESS
from server.services.people.invitations import InvitationCreate
from server.services.people.sessions import Browser, Identity
from server.services.people.throttle import of_account
from server.services.planning import WorkTimeCreate
from server.services.unit import unit
from server.store.copies import copy_sqlite
from server.store.db import Database
from server.store.tables import ChangeSet, Membership, PeopleEvent, Person, Quote, Role, SignInTry, StudioPlan, Table
from tests.services.conftest import NOW, Bench

# Invented names, rare enough to be found.
FORMER, NAME, EMAIL = "Orlandine Vint", "Orlandine Quistwater", "orlandine@studio.example"
SEED = "JBSWY3DPEHPK3PXP"
TRACES = ("Orlandine", "orlandine", "Quistwater")


def stored(db: Database) -> str:
    """All that is stored, as text."""
    with db.read() as session:
        return "\n".join(
            repr(dict(row))
            for table in Table.metadata.sorted_tables
            for row in session.execute(select_rows(table)).mappings()
        )


def add(db: Database, name: str, *belongs: tuple[int, Role]) -> Person:
    with db.write() as session:
        is_theirs = name in (FORMER, NAME)
        email = EMAIL if is_theirs else f"{name.lower().replace(' ', '-')}-{len(belongs)}@studio.example"
        person = Person(
            name=name, email=email, password_hash="-", created_at=NOW, code_seed=SEED if is_theirs else None
        )
        session.add(person)
        session.flush()
        for studio_id, role in belongs:
            session.add(Membership(person_id=person.id or 0, studio_id=studio_id, role=role, since=NOW))
        return person


def acting(person: Person, bench: Bench, role: Role = "owner") -> Actor:
    return Actor(person.name, bench.actor.studio_id, role, person.id)


def membership(bench: Bench, person: Person) -> str:
    with bench.db.read() as session:
        query = select(Membership).where(
            col(Membership.person_id) == person.id, col(Membership.studio_id) == bench.actor.studio_id
        )
        return session.scalars(query).one().uid


def leave(bench: Bench, person: Person) -> str:
    uid = membership(bench, person)
    with bench.db.write() as session:
        members.remove(session, bench.actor, uid, NOW)
    return uid


def identity_of(person: Person) -> Identity:
    return Identity(0, person.id or 0, person.uid, person.name, person.email, NOW, None)


def lived(bench: Bench) -> tuple[Person, str]:
    """Somebody who did all that leaves a name, under two names, and left. With them what entry of theirs is there."""
    person = add(bench.db, FORMER, (bench.actor.studio_id, "owner"))
    actor, who = acting(person, bench), identity_of(person)
    with unit(bench.db, actor, label=f"Added hours of {FORMER}", now=NOW) as work:
        hours = WorkTimeCreate(painter=FORMER, weekdays="12345", start="09:00", end="12:30")
        line = planning.create(work.session, actor, hours)
    with unit(bench.db, actor, label=f"Took away hours of {FORMER}", now=NOW) as work:
        planning.archive(work.session, actor, line.uid)
    with unit(bench.db, actor, label="Made a plan and a promise", now=NOW) as work:
        content = {"sittings": [{"painter": FORMER, "title": "Pears"}], "reasons": [f"{FORMER} has no day before."]}
        work.session.add(StudioPlan(studio_id=actor.studio_id, content_json=content))
        work.session.add(Quote(studio_id=actor.studio_id, title="Pears", content_json=content))
    with bench.db.write() as session:
        account.rename(session, who, NameUpdate(name=NAME))
        session.get_one(Person, person.id).codes_since = NOW
        one_time_codes.new_recovery_codes(session, who, NOW)
        sessions.begin(session, session.get_one(Person, person.id), Browser("A browser", "192.0.2.1"), NOW)
        own_feeds.make(session, Whose(actor, person.id), OwnFeedCreate(label="Telephone", painter=FORMER), None, NOW)
        mine = OwnFeedCreate(label="On the wall", painter=FORMER)  # somebody else looks at their days
        own_feeds.make(session, Whose(bench.actor, None), mine, None, NOW)
        invitations.invite(session, acting(person, bench), InvitationCreate(role="viewer"), None, NOW)
        invitations.invite(session, bench.actor, InvitationCreate(role="viewer", meant_for=NAME), None, NOW)
        session.add(SignInTry(key_hash=tokens.hash_of(of_account(EMAIL).key), last_at=NOW))
    with bench.db.read() as session:
        person = session.get_one(Person, person.id)
    by_program = Actor(f"{NAME} (a script)", bench.actor.studio_id, "owner", person.id)
    with unit(bench.db, by_program, label="Added a panel", now=NOW + timedelta(minutes=1)) as work:
        panels.create(work.session, by_program, bench.panel_command(title="Two quinces"))
    leave(bench, person)
    return person, work.change_uid


def purge(bench: Bench, uid: str, name: str = NAME, actor: Actor | None = None) -> str:
    with bench.unit(purging.PURGED) as work:
        purging.purge(work.session, actor or bench.actor, uid, name)
    return work.change_uid


def no_trace(text: str) -> None:
    for trace in TRACES:
        at = text.find(trace)
        assert at < 0, text[max(0, at - 300) : at + 100]


def test_no_way_in_and_no_name_is_left(bench: Bench, database_url: str, tmp_path: Path) -> None:
    add(bench.db, "Owner", (bench.actor.studio_id, "owner"))
    person, entry = lived(bench)
    uid = membership(bench, person)
    before = stored(bench.db)
    assert all(trace in before for trace in TRACES)
    with bench.db.read() as session:
        goes = purging.look(session, bench.actor, uid)
    assert (goes.name, goes.hangs) == (NAME, ())
    assert goes.entries == 4
    purged = purge(bench, uid)
    left = stored(bench.db)
    no_trace(left)
    assert person.uid not in left
    assert SEED in before and SEED not in left
    assert upkeep.check(database_url).faults == ()
    with bench.db.read() as session:
        for kind in purging.OF_A_PERSON:
            table = sql_table(kind)
            assert not session.execute(select_rows(table).where(table.c.person_id == person.id)).all()
        assert session.scalars(select(SignInTry)).all() == []
        told = history.recent(session, bench.actor)
        assert [each.label for each in told if each.actor == NAMELESS] == [
            "Added a panel",
            "Made a plan and a promise",
            f"Took away hours of {NAMELESS}",
            f"Added hours of {NAMELESS}",
        ]
        assert next(each for each in told if each.uid == purged).action == ""
        made = BytesIO()
        pack(session, made, NOW)
    with zipfile.ZipFile(made) as archive:
        for name in archive.namelist():
            no_trace(name + archive.read(name).decode("utf-8", "replace"))
    if bench.db.url.get_backend_name() == "sqlite":
        copy_sqlite(Path(bench.db.url.database or ""), tmp_path / "copy.db")
        no_trace((tmp_path / "copy.db").read_bytes().decode("latin-1"))
        assert sqlite3.connect(tmp_path / "copy.db").execute("select count(*) from change_set").fetchone()[0] > 4
    with bench.unit("Undid", now=NOW + timedelta(minutes=5)) as work:  # what they did can be taken back still
        history.undo(work.session, bench.actor, entry)
    with bench.db.read() as session:
        assert panels.all_open(session, bench.actor) == []
    with pytest.raises(Refused, match="gone for good"), bench.unit("Undid") as work:
        history.undo(work.session, bench.actor, purged)


def test_hours_come_back_under_the_neutral_name(bench: Bench) -> None:
    add(bench.db, "Owner", (bench.actor.studio_id, "owner"))
    person, _ = lived(bench)
    purge(bench, membership(bench, person))
    with bench.db.read() as session:
        took = next(each for each in history.recent(session, bench.actor) if each.label.startswith("Took away"))
    with bench.unit("Undid") as work:
        history.undo(work.session, bench.actor, took.uid)
    with bench.db.read() as session:
        assert [row.painter for row in planning.all_open(session, bench.actor)] == [NAMELESS]


def test_what_painters_wrote_and_a_namesake_stay(bench: Bench) -> None:
    """A picture may bear the name of its sitter; somebody else of the name keeps what is told by the name alone."""
    add(bench.db, "Owner", (bench.actor.studio_id, "owner"))
    person, _ = lived(bench)
    namesake = add(bench.db, "Orlandine Vint ", (bench.actor.studio_id, "painter"))
    with bench.db.write() as session:
        session.get_one(Person, namesake.id).name = FORMER
    title = f"{FORMER} with a lemon"
    panel = bench.panel(title=title)
    with bench.unit(f"Took away hours of {FORMER}") as work:
        other = planning.create(
            work.session, bench.actor, WorkTimeCreate(painter=FORMER, weekdays="6", start="09:00", end="12:30")
        )
    purge(bench, membership(bench, person))
    with bench.db.read() as session:
        assert panels.get(session, bench.actor, panel.uid).title == title
        assert planning.get(session, bench.actor, other.uid).painter == FORMER
        assert session.get_one(Person, namesake.id).name == FORMER
        did = session.scalars(select(ChangeSet).where(col(ChangeSet.actor) == NAMELESS)).all()
        assert len(did) == 4  # theirs by their account, whatever the name
    no_trace(stored(bench.db).replace(FORMER, "").replace("Orlandine Vint".lower().replace(" ", "-"), ""))


def test_only_the_owner_only_who_left_only_by_their_name(bench: Bench, stranger: Bench) -> None:
    add(bench.db, "Owner", (bench.actor.studio_id, "owner"))
    person = add(bench.db, NAME, (bench.actor.studio_id, "painter"))
    with pytest.raises(NotFound):  # still here
        purge(bench, membership(bench, person))
    uid = leave(bench, person)
    before = stored(bench.db)
    for role in ("painter", "assistant", "viewer"):
        with pytest.raises(Forbidden):
            purge(bench, uid, actor=Actor("Somebody", bench.actor.studio_id, role))
    with pytest.raises(NotFound):
        purge(stranger, uid)
    for other in ("", "Orlandine", "no-such"):
        with pytest.raises(Invalid) as fault:
            purge(bench, uid, other)
        assert [error.field for error in fault.value.errors] == ["name"]
    with pytest.raises(NotFound):
        purge(bench, "no-such-uid")
    assert stored(bench.db) == before
    purge(bench, uid, f" {NAME} ")
    no_trace(stored(bench.db))


@pytest.mark.parametrize(
    ("role", "others", "reason"),
    [("owner", 0, "only owner of another studio"), ("owner", 1, "still belong"), ("viewer", 1, "still belong")],
)
def test_whoever_belongs_to_another_studio_stays(
    bench: Bench, stranger: Bench, role: Role, others: int, reason: str
) -> None:
    person = add(bench.db, NAME, (bench.actor.studio_id, "painter"), (stranger.actor.studio_id, role))
    for _ in range(others):
        add(bench.db, "Other owner", (stranger.actor.studio_id, "owner"))
    uid = leave(bench, person)
    with bench.db.read() as session:
        assert reason in purging.look(session, bench.actor, uid).hangs[0]
    with pytest.raises(Refused, match=reason):
        purge(bench, uid)
    with bench.db.read() as session:
        assert session.get_one(Person, person.id).name == NAME


def test_hours_that_stand_are_somebodys_decision_first(bench: Bench) -> None:
    person = add(bench.db, NAME, (bench.actor.studio_id, "painter"))
    with bench.unit("Added hours") as work:
        hours = WorkTimeCreate(painter=NAME, weekdays="12345", start="09:00", end="12:30")
        line = planning.create(work.session, bench.actor, hours)
    uid = leave(bench, person)
    with pytest.raises(Refused, match="Take those away first"):
        purge(bench, uid)
    with bench.unit("Took them away") as work:
        planning.archive(work.session, bench.actor, line.uid)
    purge(bench, uid)
    no_trace(stored(bench.db))


def test_another_studio_they_left_is_told_that_its_history_lost_a_name(bench: Bench, stranger: Bench) -> None:
    person = add(bench.db, NAME, (bench.actor.studio_id, "painter"), (stranger.actor.studio_id, "painter"))
    there = acting(person, stranger, "painter")
    with unit(bench.db, there, label="Added a panel", now=NOW) as work:
        panels.create(work.session, there, stranger.panel_command(title="Elsewhere"))
    leave(stranger, person)
    purge(bench, leave(bench, person))
    no_trace(stored(bench.db))
    with bench.db.read() as session:
        newest, did = history.recent(session, stranger.actor)
        assert (newest.actor, newest.label, newest.action) == (purging.ELSEWHERE, purging.PURGED, "")
        assert (did.actor, did.label, did.action) == (NAMELESS, "Added a panel", "undo")
        events = session.scalars(select(PeopleEvent).where(col(PeopleEvent.studio_id) == stranger.actor.studio_id))
        assert [event.label for event in events] == ["Took someone who left out of the studio", purging.PURGED]


def test_every_row_that_names_a_person_is_thought_of() -> None:
    named = {
        table.name
        for table in Table.metadata.sorted_tables
        for column in table.columns
        for key in column.foreign_keys
        if key.column.table.name == "person"
    }
    gone = {sql_table(kind).name for kind in purging.OF_A_PERSON}
    assert named == gone | {"change_set", "people_event"}


def test_a_token_of_theirs_opens_nothing(bench: Bench) -> None:
    person = add(bench.db, NAME, (bench.actor.studio_id, "owner"))
    add(bench.db, "Owner", (bench.actor.studio_id, "owner"))
    with bench.db.write() as session:
        in_studio = sessions.ChosenStudio(
            bench.actor.studio_id, "-", "-", "UTC", False, "owner", membership(bench, person)
        )
        who = Identity(0, person.id or 0, person.uid, NAME, EMAIL, NOW, in_studio)
        made = api_tokens.make(session, who, TokenCreate(label="A script", role="owner"), None, NOW)
    purge(bench, leave(bench, person))
    no_trace(stored(bench.db))
    with bench.db.read() as session:
        assert api_tokens.program(session, made.token, NOW) is None
