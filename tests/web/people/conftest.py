"""A shared install over HTTP: two studios, somebody of each role, a stranger, and nobody."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.services.people import passwords
from server.store.db import Database
from server.store.tables import Membership, Person, Role, Studio
from server.web.app import create_app
from server.web.settings import Settings
from tests.services.conftest import Bench, make_bench
from tests.web.conftest import NOW

PASSWORD = "two pears on a ledge"
ROLES: tuple[Role, ...] = ("owner", "painter", "assistant", "viewer")
OTHER_BROWSER = "Mozilla/5.0 (X11; Linux x86_64) Elsewhere/1.0"


@cache
def password_hash(password: str = PASSWORD) -> str:
    return passwords.make_hash(password)


@dataclass
class Clock:
    """The moment the app believes in; a test moves it on."""

    now: datetime = NOW

    def __call__(self) -> datetime:
        return self.now

    def go_on(self, **time: float) -> None:
        self.now += timedelta(**time)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(f"sqlite:///{tmp_path / 'studio.db'}", shared=True)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def bench(db: Database) -> Bench:
    """The studio everybody is in."""
    return make_bench(db)


@pytest.fixture
def elsewhere(bench: Bench) -> Bench:
    """The stranger's studio in the same install."""
    return make_bench(bench.db)


@pytest.fixture
def app(settings: Settings, db: Database, bench: Bench, clock: Clock) -> FastAPI:
    made = create_app(settings, db)
    made.state.clock = clock
    return made


Enter = Callable[..., TestClient]


def add_person(db: Database, name: str, *belongs: tuple[int, Role]) -> Person:
    """Somebody with an account and memberships: (studio id, role)."""
    with db.write() as session:
        person = Person(
            name=name.capitalize(),
            email=f"{name}@studio.example",
            password_hash=password_hash(),
            created_at=NOW,
            password_set_at=NOW,
        )
        session.add(person)
        session.flush()
        for studio_id, role in belongs:
            session.add(Membership(person_id=person.id or 0, studio_id=studio_id, role=role, since=NOW))
        return person


@pytest.fixture
def people(db: Database, bench: Bench, elsewhere: Bench) -> dict[str, Person]:
    made = {role: add_person(db, role, (bench.actor.studio_id, role)) for role in ROLES}
    return made | {"stranger": add_person(db, "stranger", (elsewhere.actor.studio_id, "owner"))}


@pytest.fixture
def nobody(app: FastAPI) -> Iterator[TestClient]:
    with browser(app) as made:
        yield made


def browser(app: FastAPI, address: str = "192.0.2.1") -> TestClient:
    """A browser with cookies of its own, at an address of its own (RFC 5737: for examples)."""
    return TestClient(app, base_url="http://127.0.0.1", follow_redirects=False, client=(address, 50000))


def sign_in(client: TestClient, name: str, password: str = PASSWORD, code: str = "", next: str = "/"):
    given = {"email": f"{name}@studio.example", "password": password, "code": code, "next": next}
    return client.post("/sign-in", data=given)


@pytest.fixture
def enter(app: FastAPI, people: dict[str, Person]) -> Enter:
    """A browser signed in as somebody."""

    def signed_in(name: str, address: str = "192.0.2.1") -> TestClient:
        client = browser(app, address)
        answer = sign_in(client, name)
        assert answer.status_code == 303, answer.text
        return client

    return signed_in


@pytest.fixture
def https_settings(settings: Settings) -> Settings:
    return replace(settings, https=True, host_names=(*settings.host_names, "studio.example"))


def studio_of(db: Database, bench: Bench) -> Studio:
    with db.read() as session:
        return session.get_one(Studio, bench.actor.studio_id)
