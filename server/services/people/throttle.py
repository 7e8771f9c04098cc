"""How often somebody may try to sign in.

Threat: passwords guessed by the thousand, for one account from many places, or for many accounts from one. Tries that
went wrong are counted for the account and for the address, in the database, so that a restart or a second process
forgets none. After some free ones each costs a wait that doubles up to a quarter of an hour; a day without one forgets
them. Nobody is ever shut out for good: a device that signed in before is counted apart from strangers who try the same
account, so that they cannot keep its owner waiting.
"""

import ipaddress
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col

from server.services.people.tokens import hash_of
from server.store.tables import SignInTry

FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(minutes=15)
FORGOTTEN_AFTER = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Counter:
    """What tries are counted under; ``free`` of them cost no wait."""

    key: str
    free: int

    def wait(self, failures: int) -> timedelta:
        """How long after the last try the next may come, once so many went wrong."""
        if failures < self.free:
            return timedelta()
        return min(LONGEST_WAIT, FIRST_WAIT * 2 ** min(failures - self.free, 16))


def of_account(email: str) -> Counter:
    return Counter(f"account:{email}", free=5)


def of_device(email: str, known_device_hash: str) -> Counter:
    """For a device that signed in to the account before."""
    return Counter(f"device:{known_device_hash}:{email}", free=5)


def of_address(address: str) -> Counter:
    """For where a request comes from; a whole network counts as one where an address has so many (IPv6, /64)."""
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return Counter(f"address:{address[:64]}", free=30)
    bits = 64 if parsed.version == 6 else 32
    return Counter(f"address:{ipaddress.ip_network((parsed, bits), strict=False)}", free=30)


def take_turn(session: Session, counters: Sequence[Counter], now: datetime) -> timedelta:
    """Count one try under each counter, before it is known how it goes: tries at the same moment count too.

    Answers nothing to wait, or how long to wait; then nothing was counted. Needs a session that writes.
    """
    session.execute(delete(SignInTry).where(col(SignInTry.last_at) < now - FORGOTTEN_AFTER))
    rows = [_row(session, counter, now) for counter in sorted(counters, key=lambda each: each.key)]
    ordered = {row.key_hash: row for row in rows}
    waits = [
        row.last_at + counter.wait(row.failures) - now
        for counter in counters
        if (row := ordered[hash_of(counter.key)]).failures
    ]
    longest = max(waits, default=timedelta())
    if longest > timedelta():
        return longest
    for row in rows:
        row.failures += 1
        row.last_at = now
    session.flush()
    return timedelta()


def give_back(session: Session, counter: Counter) -> None:
    """The try that was counted went well, though others from there may not have."""
    row = _find(session, counter)
    if row is not None and row.failures:
        row.failures -= 1
        session.flush()


def forget(session: Session, counter: Counter) -> None:
    """Begin to count anew."""
    row = _find(session, counter)
    if row is not None:
        row.failures = 0
        session.flush()


def _find(session: Session, counter: Counter) -> SignInTry | None:
    query = select(SignInTry).where(col(SignInTry.key_hash) == hash_of(counter.key)).with_for_update()
    return session.scalars(query.execution_options(populate_existing=True)).first()


def _row(session: Session, counter: Counter, now: datetime) -> SignInTry:
    found = _find(session, counter)
    if found is not None:
        return found
    try:
        with session.begin_nested():
            session.add(SignInTry(key_hash=hash_of(counter.key), last_at=now))
            session.flush()
    except IntegrityError:
        pass  # somebody else counted there at this very moment
    found = _find(session, counter)
    assert found is not None
    return found
