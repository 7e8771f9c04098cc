"""People on both engines, and at the same moment: what may happen once happens once, however many ask for it."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pyotp
import pytest
from sqlmodel import col, select

from server.services.errors import ServiceError
from server.services.people import console, invitations, members, passwords, sessions, signing_in, throttle
from server.services.people.account import AccountCreate
from server.services.people.console import NewPassword
from server.services.people.invitations import InvitationCreate, Newcomer
from server.services.people.members import RoleUpdate
from server.services.people.sessions import Browser
from server.services.people.signing_in import Credentials, NotSignedIn, TooManyTries
from server.store.db import Database
from server.store.tables import Membership, Person, Role, SignIn, SignInTry
from tests.services.conftest import NOW, Bench

AT_ONCE = 8
PASSWORD = "two pears on a ledge"
HERE = Browser("A browser", "192.0.2.1")


@pytest.fixture(scope="module")
def password_hash() -> str:
    return passwords.make_hash(PASSWORD)


@pytest.fixture
def add(bench: Bench, password_hash: str) -> Callable[..., Person]:
    def added(name: str, role: Role = "viewer", **values: Any) -> Person:
        with bench.db.write() as session:
            person = Person(name=name, email=f"{name}@studio.example", password_hash=password_hash, **values)
            session.add(person)
            session.flush()
            session.add(Membership(person_id=person.id or 0, studio_id=bench.actor.studio_id, role=role))
            return person

    return added


def together(act: Callable[[int], object]) -> list[object]:
    """What each of so many at the same moment gets: an answer or a refusal."""

    def tried(number: int) -> object:
        try:
            return act(number)
        except ServiceError as refusal:
            return refusal

    with ThreadPoolExecutor(AT_ONCE) as pool:
        return list(pool.map(tried, range(AT_ONCE)))


def newcomer(number: int, password_hash: str) -> Newcomer:
    command = AccountCreate(name=f"Person {number}", email=f"person-{number}@studio.example")
    return Newcomer(command, password_hash)


def test_an_invitation_lets_one_in_of_many_at_the_same_moment(bench: Bench, password_hash: str):
    with bench.db.write() as session:
        made = invitations.invite(session, bench.actor, InvitationCreate(role="painter"), None, NOW)

    with bench.db.read() as session:
        assert invitations.offer(session, made.token, NOW).role == "painter"  # looking locks nothing

    def join(number: int) -> object:
        with bench.db.write() as session:
            return invitations.accept_as_new(session, newcomer(number, password_hash), made.token, HERE, NOW)

    answers = together(join)
    assert sum(isinstance(answer, sessions.Opened) for answer in answers) == 1
    with bench.db.read() as session:
        assert len(session.scalars(select(Membership)).all()) == 1
        assert len(session.scalars(select(Person)).all()) == 1  # a refused one leaves no account behind


def test_one_of_many_becomes_the_first_owner(bench: Bench, password_hash: str):
    code = console.first_owner_code(bench.db, NOW)
    assert code is not None

    def own(number: int) -> object:
        chosen = NewPassword(PASSWORD, password_hash)
        command = newcomer(number, password_hash).account
        with bench.db.write() as session:
            return console.become_first_owner(session, code, command, chosen, (HERE, NOW))

    answers = together(own)
    assert sum(isinstance(answer, sessions.Opened) for answer in answers) == 1
    with bench.db.read() as session:
        assert console.has_owner(session)
        assert len(session.scalars(select(Person)).all()) == 1


def test_a_one_time_code_lets_one_in_of_many_at_the_same_moment(bench: Bench, add: Callable[..., Person]):
    seed = pyotp.random_base32()
    add("ana", code_seed=seed, codes_since=NOW)
    given = Credentials("ana@studio.example", PASSWORD, pyotp.TOTP(seed).at(NOW))
    places = [Browser("A browser", f"192.0.2.{number}") for number in range(AT_ONCE)]
    answers = together(lambda number: signing_in.sign_in(bench.db, given, places[number], NOW))
    assert sum(isinstance(answer, sessions.Opened) for answer in answers) == 1
    assert all(isinstance(answer, sessions.Opened | NotSignedIn | TooManyTries) for answer in answers)


def test_tries_at_the_same_moment_are_all_counted(bench: Bench, add: Callable[..., Person]):
    add("ana")
    wrong = Credentials("ana@studio.example", "a guess")
    answers = together(lambda number: signing_in.sign_in(bench.db, wrong, HERE, NOW))
    guessed = sum(isinstance(answer, NotSignedIn) for answer in answers)
    assert guessed == throttle.of_account("x").free == 5
    assert sum(isinstance(answer, TooManyTries) for answer in answers) == AT_ONCE - guessed


def test_owners_who_all_step_down_at_once_leave_one(bench: Bench, add: Callable[..., Person]):
    for number in range(AT_ONCE):
        add(f"owner-{number}", "owner")
    with bench.db.read() as session:
        uids = list(session.scalars(select(col(Membership.uid)).order_by(col(Membership.id))))

    def step_down(number: int) -> object:
        with bench.db.write() as session:
            return members.set_role(session, bench.actor, uids[number], RoleUpdate(role="viewer"), NOW)

    answers = together(step_down)
    assert sum(isinstance(answer, ServiceError) for answer in answers) == 1
    with bench.db.read() as session:
        owners = session.scalars(select(Membership).where(col(Membership.role) == "owner")).all()
    assert len(owners) == 1


def test_signing_in_and_out(bench: Bench, add: Callable[..., Person]):
    add("ana", "painter")
    opened = signing_in.sign_in(bench.db, Credentials(" ANA@studio.example", PASSWORD), HERE, NOW)
    with bench.db.read() as session:
        who = sessions.identity(session, opened.session_token, NOW)
        assert who is not None
        assert (who.name, who.actor.role, who.actor.studio_id) == ("ana", "painter", bench.actor.studio_id)
        kept = session.scalars(select(SignIn)).one()
        assert opened.session_token not in str(kept.model_dump())
        assert opened.device_token not in str(kept.model_dump())
    sessions.note_seen(bench.db, who, NOW + timedelta(minutes=6))
    signing_in.sign_out(bench.db, opened.session_token, NOW)
    with bench.db.read() as session:
        assert sessions.identity(session, opened.session_token, NOW) is None
        assert session.scalars(select(SignIn)).one().seen_at == NOW + timedelta(minutes=6)


def test_old_tries_are_forgotten(database: Database):
    counter = throttle.of_account("ana@studio.example")
    for minutes in (0, 1, 24 * 60 + 2):
        with database.write() as session:
            throttle.take_turn(session, (counter,), NOW + timedelta(minutes=minutes))
    with database.read() as session:
        assert session.scalars(select(SignInTry.failures)).one() == 1
