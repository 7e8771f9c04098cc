"""Seeds of one-time codes, sealed by a key that is not in the database.

The threat: a copy of the database alone, a backup on a stick, a file that was mailed. With readable seeds whoever has
it makes everybody's one-time codes for ever. So a seed is stored encrypted (AES-256-GCM, NIST SP 800-38D), bound to its
person, by a key in a file of its own that only the server's user may read. Whoever has the machine has both: nothing
here is against that. Where the key is lost, recovery codes still work, and a new password set from the console does
away with the old codes.
"""

import base64
import os
import secrets
from pathlib import Path

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from sqlalchemy import select
from sqlmodel import Session, col

from server.services.errors import Refused
from server.store.db import Database, database_of
from server.store.tables import Person

NO_KEY = "The key that seals one-time codes cannot be read. Ask whoever runs this server."
KEY_BYTES = 32
NONCE_BYTES = 12  # SP 800-38D, 8.2.2: drawn anew for each seed
SEALED_LENGTH = 64  # 12 of the nonce, 20 of the seed, 16 of the tag, in base64; a readable seed has 32 letters


def seal(session: Session, person: Person, seed: str) -> str:
    """What is stored of a seed (base32, 160 bits); the seed itself where this database has no file for a key.

    Raises ``Refused`` where the key's file cannot be made or read.
    """
    path = database_of(session).secret_file
    if path is None:
        return seed
    nonce = secrets.token_bytes(NONCE_BYTES)
    sealed = AESGCM(_key(path, make=True)).encrypt(nonce, base64.b32decode(seed), person.uid.encode())
    return base64.urlsafe_b64encode(nonce + sealed).decode()


def opened(session: Session, person: Person) -> str | None:
    """The person's seed; None where there is none, and where the key is lost or another one."""
    stored = person.code_seed
    if stored is None or len(stored) != SEALED_LENGTH:
        return stored
    path = database_of(session).secret_file
    try:
        if path is None:
            return None
        raw = base64.urlsafe_b64decode(stored)
        seed = AESGCM(_key(path)).decrypt(raw[:NONCE_BYTES], raw[NONCE_BYTES:], person.uid.encode())
    except (InvalidTag, Refused):
        return None
    return base64.b32encode(seed).decode()


def seal_all(db: Database) -> int:
    """Seal the seeds that are readable still, from before there was a key; answers how many cannot be opened."""
    if db.secret_file is None:
        return 0
    with db.write() as session:
        people = session.scalars(select(Person).where(col(Person.code_seed).is_not(None)).with_for_update()).all()
        for person in people:
            if person.code_seed is not None and len(person.code_seed) != SEALED_LENGTH:
                person.code_seed = seal(session, person, person.code_seed)
        return sum(opened(session, person) is None for person in people)


def _key(path: Path, *, make: bool = False) -> bytes:
    """Raises ``Refused`` where there is no key, or something else in its file."""
    try:
        if make and not path.exists():
            _make(path)
        key = base64.urlsafe_b64decode(path.read_text("ascii").strip())
    except (OSError, ValueError):
        raise Refused(NO_KEY) from None
    if len(key) != KEY_BYTES:
        raise Refused(NO_KEY)
    return key


def _make(path: Path) -> None:
    """A new key, whole or not at all; where another process was quicker, theirs stands."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    unfinished = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    written = os.open(unfinished, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    try:
        os.write(written, base64.urlsafe_b64encode(secrets.token_bytes(KEY_BYTES)) + b"\n")
        os.fsync(written)
        os.close(written)
        os.link(unfinished, path)
    except FileExistsError:
        pass
    finally:
        unfinished.unlink()
