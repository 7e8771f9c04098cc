"""Signing in and out.

Threats: guessing (``throttle.py``), learning which names have accounts (the same words, and the same work, for a wrong
name, password or code), a code used twice, and a session handed over by somebody else (``sessions.py``).
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlmodel import Session, col

from server.services.errors import ServiceError
from server.services.people import events, one_time_codes, passwords, sessions, throttle
from server.services.people.events import About
from server.services.people.sessions import Browser, Identity, Opened
from server.services.people.throttle import Counter
from server.services.people.tokens import hash_of
from server.store.db import Database
from server.store.tables import Person

WRONG = "These do not go together: e-mail, password, and the one-time code where one is in use. Look at them again."


class NotSignedIn(ServiceError):
    """The credentials are not right; nothing tells which of them."""

    def __init__(self) -> None:
        super().__init__(WRONG)


class TooManyTries(ServiceError):
    """No more tries for a while, whatever the credentials."""

    def __init__(self, wait: timedelta) -> None:
        self.wait_s = max(1, round(wait.total_seconds()))
        minutes = -(-self.wait_s // 60)
        told = f"{self.wait_s} seconds" if self.wait_s < 60 else "a minute" if minutes == 1 else f"{minutes} minutes"
        super().__init__(f"That went wrong too often. Wait {told}, then try again.")


@dataclass(frozen=True, slots=True)
class Credentials:
    """As they were typed; ``code`` is of the device or for recovery, "" where none was given."""

    email: str
    password: str
    code: str = ""


def sign_in(db: Database, given: Credentials, browser: Browser, now: datetime) -> Opened:
    """A new session for the person of these credentials. Raises ``NotSignedIn`` and ``TooManyTries``."""
    email = as_name(given.email)
    counters = _count_try(db, email, browser, now)
    with db.read() as session:
        found = _by_email(session, email)
        known_hash = found.password_hash if found else None
    if not passwords.is_right(known_hash, given.password) or found is None or found.id is None:
        raise NotSignedIn
    with db.write() as session:
        person = one_time_codes.locked(session, found.id)
        if person.password_hash != known_hash:
            raise NotSignedIn  # changed since it was looked at
        if person.codes_since is not None and not one_time_codes.is_taken(session, person, given.code, now):
            raise NotSignedIn
        if passwords.is_outdated(person.password_hash):
            person.password_hash = passwords.make_hash(given.password)
        _tries_went_well(session, counters)
        events.note(session, About(person_id=person.id), person.name, f"Signed in on {browser.name}", now)
        return sessions.begin(session, person, browser, now)


def sign_out(db: Database, token: str, now: datetime) -> None:
    """End the session of a token; ending it twice is the same as once."""
    with db.write() as session:
        sessions.end_by_token(session, token, now)


def confirm_password(db: Database, who: Identity, password: str, browser: Browser, now: datetime) -> bool:
    """Whether the signed-in person knows their password, before something that matters. Raises ``TooManyTries``."""
    counters = _count_try(db, who.email, browser, now)
    with db.read() as session:
        known_hash = session.get_one(Person, who.person_id).password_hash
    if not passwords.is_right(known_hash, password):
        return False
    with db.write() as session:
        _tries_went_well(session, counters)
    return True


def as_name(email: str) -> str:
    """An e-mail address as accounts are found by it."""
    return email.strip().lower()


def find_by_email(session: Session, email: str) -> Person | None:
    return _by_email(session, as_name(email))


def _by_email(session: Session, email: str) -> Person | None:
    if "\x00" in email:
        return None  # no database takes it
    return session.scalars(select(Person).where(col(Person.email) == email)).first()


def _count_try(db: Database, email: str, browser: Browser, now: datetime) -> tuple[Counter, Counter]:
    with db.write() as session:
        person = _by_email(session, email)
        is_known = person is not None and sessions.knows_device(session, person.id or 0, browser.device_token)
        own = throttle.of_device(email, hash_of(browser.device_token)) if is_known else throttle.of_account(email)
        counters = (own, throttle.of_address(browser.address))
        wait = throttle.take_turn(session, counters, now)
    if wait > timedelta():
        raise TooManyTries(wait)
    return counters


def _tries_went_well(session: Session, counters: tuple[Counter, Counter]) -> None:
    own, address = counters
    throttle.forget(session, own)
    throttle.give_back(session, address)
