"""Seeds of one-time codes: a copy of the database alone tells none; the key may be lost, and is shared by processes.

The cipher is AES-256-GCM (NIST SP 800-38D), from a library; what is held here is that nothing readable is stored.
"""

import base64
import os
import shutil
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pyotp
import pytest
from sqlmodel import col, select

from server.services.people import one_time_codes, sealing
from server.services.people.sessions import Identity
from server.store.db import Database
from server.store.tables import Person
from tests.services.conftest import NOW, Bench


@pytest.fixture
def key(bench: Bench, tmp_path: Path) -> Path:
    """On either engine the key's file is in a folder of its own."""
    bench.db.secret_file = tmp_path / "kept" / "studio.key"
    return bench.db.secret_file


def add(bench: Bench, name: str, seed: str | None = None) -> Identity:
    with bench.db.write() as session:
        person = Person(name=name, email=f"{name}@studio.example", password_hash="-", code_seed=seed)
        session.add(person)
        session.flush()
        return Identity(0, person.id or 0, person.uid, name, person.email, NOW, None)


def begin(bench: Bench, who: Identity) -> str:
    """Take codes into use; the seed that the device keeps."""
    with bench.db.write() as session:
        one_time_codes.begin(session, who)
    with bench.db.read() as session:
        seed = one_time_codes.seed_in(one_time_codes.address_to_scan(session, who)).replace(" ", "")
    with bench.db.write() as session:
        one_time_codes.confirm(session, who, pyotp.TOTP(seed).at(NOW), NOW)
    return seed


def stored(bench: Bench, who: Identity) -> str:
    with bench.db.read() as session:
        return session.get_one(Person, who.person_id).code_seed or ""


def lets_in(bench: Bench, who: Identity, code: str) -> bool:
    with bench.db.write() as session:
        return one_time_codes.is_taken(session, one_time_codes.locked(session, who.person_id), code, NOW)


def later(seed: str) -> str:
    return pyotp.TOTP(seed).at(NOW + timedelta(seconds=one_time_codes.STEP_S))


def test_the_database_tells_no_seed(bench: Bench, key: Path) -> None:
    ana, ben = add(bench, "ana"), add(bench, "ben")
    seed, other = begin(bench, ana), begin(bench, ben)
    found = stored(bench, ana)
    assert len(found) == sealing.SEALED_LENGTH
    assert seed not in found and base64.b32decode(seed) not in base64.urlsafe_b64decode(found)
    assert found[:16] != stored(bench, ben)[:16]  # a nonce of its own
    assert os.stat(key).st_mode & 0o777 == 0o600
    assert lets_in(bench, ana, later(seed)) and lets_in(bench, ben, later(other))


def test_a_seed_is_its_persons_alone(bench: Bench, key: Path) -> None:
    """Whoever may write rows cannot put a seed that they know in another's place."""
    ana, ben = add(bench, "ana"), add(bench, "ben")
    seed = begin(bench, ana)
    begin(bench, ben)
    taken = stored(bench, ana)
    with bench.db.write() as session:
        session.get_one(Person, ben.person_id).code_seed = taken
    assert not lets_in(bench, ben, later(seed))
    assert lets_in(bench, ana, later(seed))


def test_without_the_key_recovery_codes_let_in_and_codes_begin_anew(bench: Bench, key: Path) -> None:
    ana = add(bench, "ana")
    seed = begin(bench, ana)
    with bench.db.write() as session:
        recovery, *_ = one_time_codes.new_recovery_codes(session, ana, NOW)
    kept = key.read_bytes()
    for lost in (None, b"", b"no key\n", base64.urlsafe_b64encode(b"k" * 32)):
        key.unlink(missing_ok=True)
        if lost is not None:
            key.write_bytes(lost)
        assert not lets_in(bench, ana, later(seed)), lost
        assert sealing.seal_all(bench.db) == 1
    key.write_bytes(kept)
    assert sealing.seal_all(bench.db) == 0  # put back, it opens what it sealed
    key.unlink()
    assert lets_in(bench, ana, recovery)
    with bench.db.write() as session:
        one_time_codes.stop(session, ana, NOW)
        session.get_one(Person, ana.person_id).code_step = 0
    assert lets_in(bench, ana, later(begin(bench, ana)))


def test_what_was_readable_is_sealed_at_the_start(bench: Bench, key: Path) -> None:
    seed = pyotp.random_base32()
    ana = add(bench, "ana", seed)
    assert lets_in(bench, ana, pyotp.TOTP(seed).at(NOW))  # readable still: from before
    assert sealing.seal_all(bench.db) == 0
    found = stored(bench, ana)
    assert seed not in found and len(found) == sealing.SEALED_LENGTH
    assert sealing.seal_all(bench.db) == 0
    assert stored(bench, ana) == found  # sealed once
    assert lets_in(bench, ana, later(seed))


def test_processes_that_start_at_once_make_one_key(tmp_path: Path) -> None:
    path = tmp_path / "studio.key"
    with ThreadPoolExecutor(16) as pool:
        keys = set(pool.map(lambda _: sealing._key(path, make=True), range(64)))
    assert len(keys) == 1
    assert [each.name for each in tmp_path.iterdir()] == ["studio.key"]


def test_a_database_file_has_its_key_beside_it_and_a_moved_pair_opens(tmp_path: Path, bench: Bench) -> None:
    if not bench.db.is_sqlite:
        assert bench.db.secret_file is None  # the settings say where it is then
        return
    assert bench.db.secret_file == Path(bench.db.url.database or "").with_suffix(".key")
    ana = add(bench, "ana")
    seed = begin(bench, ana)
    with bench.db.write() as session:
        session.get_one(Person, ana.person_id).code_step = 0
    bench.db.close()
    for suffix in (".db", ".key"):
        shutil.copy(Path(bench.db.url.database or "").with_suffix(suffix), tmp_path / f"moved{suffix}")
    moved = Database(f"sqlite:///{tmp_path / 'moved.db'}")
    there = replace(bench, db=moved)
    assert lets_in(there, ana, later(seed))
    moved.close()
    alone = Database(f"sqlite:///{tmp_path / 'moved.db'}", secret_file=tmp_path / "nothing.key")
    with alone.read() as session:
        assert sealing.opened(session, session.scalars(select(Person).where(col(Person.name) == "ana")).one()) is None
    alone.close()
