"""People of a shared install: who they are, which studios they belong to, and the ways they come in.

The threat is a copy of the database in a stranger's hands: passwords, tokens and codes stand here only as hashes
(Argon2id for what a person made up, SHA-256 for random texts of 120 bits and more, which nobody can guess through).
The seed of one-time codes has to be read to check a code: it is sealed by a key outside the database. All rows are
``Private``: the history keeps no image of them, and what happened to people is told in ``PeopleEvent`` instead.
"""

from datetime import datetime
from typing import Literal

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from server.store.tables.base import KEEP_IDS, Named, Private, UtcDateTime, new_uid, one_of, utc_now

Role = Literal["owner", "painter", "assistant", "viewer"]
CodeKind = Literal["first_owner", "new_password"]


class Person(Private, table=True):
    """Somebody with an account. ``email`` is the name to sign in with, in lower case."""

    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(default_factory=new_uid, max_length=32, unique=True)
    created_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    name: str = Field(sa_type=Named(120))
    email: str = Field(max_length=254, unique=True)
    password_hash: str = Field(max_length=200)
    password_set_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    # One-time codes (RFC 6238): in use once confirmed; no step of 30 s is taken twice.
    code_seed: str | None = Field(default=None, max_length=64)  # sealed, see services/people/sealing.py
    codes_since: datetime | None = Field(default=None, sa_type=UtcDateTime)
    code_step: int = Field(default=0)


class Membership(Private, table=True):
    """A person in a studio. ``ended_at``: taken out of it; the row stays and may be opened again."""

    __table_args__ = (UniqueConstraint("person_id", "studio_id"), one_of("role", Role), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(default_factory=new_uid, max_length=32, unique=True)
    person_id: int = Field(foreign_key="person.id")
    studio_id: int = Field(foreign_key="studio.id", index=True)
    role: str = Field(max_length=16)
    since: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    ended_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class SignIn(Private, table=True):
    """A session on the server: a browser that is signed in, in one studio. ``device`` is its name, shortened."""

    __tablename__ = "sign_in"
    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(default_factory=new_uid, max_length=32, unique=True)
    token_hash: str = Field(max_length=64, unique=True)
    known_device_hash: str = Field(max_length=64, index=True)  # of the mark that outlives the session
    person_id: int = Field(foreign_key="person.id", index=True)
    studio_id: int | None = Field(default=None, foreign_key="studio.id")
    created_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    seen_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)
    device: str = Field(default="", max_length=80)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class Invitation(Private, table=True):
    """A link into a studio. ``made_by_key`` is the sending it came from: sent again, the new link replaces this one."""

    __table_args__ = (UniqueConstraint("studio_id", "made_by_key"), one_of("role", Role), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(default_factory=new_uid, max_length=32, unique=True)
    token_hash: str = Field(max_length=64, unique=True)
    studio_id: int = Field(foreign_key="studio.id", index=True)
    role: str = Field(max_length=16)
    meant_for: str = Field(default="", sa_type=Named(120))
    made_by: str = Field(sa_type=Named(120))
    made_by_key: str | None = Field(default=None, max_length=64)
    created_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class RecoveryCode(Private, table=True):
    """One of the codes that let a person in once without the device that makes one-time codes."""

    __tablename__ = "recovery_code"
    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    code_hash: str = Field(max_length=64, unique=True)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    replaced_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class ConsoleCode(Private, table=True):
    """A code told on the console, to whoever runs the server: for the first owner, or for a forgotten password."""

    __tablename__ = "console_code"
    __table_args__ = (one_of("kind", CodeKind), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    code_hash: str = Field(max_length=64, unique=True)
    kind: str = Field(max_length=16)
    person_id: int | None = Field(default=None, foreign_key="person.id")
    created_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    expires_at: datetime = Field(sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)


class SignInTry(Private, table=True):
    """How often signing in went wrong of late, by account, by address, or by known device (``key_hash``)."""

    __tablename__ = "sign_in_try"
    id: int | None = Field(default=None, primary_key=True)
    key_hash: str = Field(max_length=64, unique=True)
    failures: int = Field(default=0)
    last_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)


class PeopleEvent(Private, table=True):
    """What happened to people, append-only: who came, who was let in, whose role changed.

    What may be taken back has a ``what``, the uid of the membership or invitation it was done to, and its role before
    and after; ``undoes_uid`` is the event that this one took back.
    """

    __tablename__ = "people_event"
    id: int | None = Field(default=None, primary_key=True)
    studio_id: int | None = Field(default=None, foreign_key="studio.id", index=True)
    person_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    actor: str = Field(max_length=120)
    label: str = Field(max_length=300)
    uid: str | None = Field(default_factory=new_uid, max_length=32, index=True, unique=True)
    what: str | None = Field(default=None, max_length=16)
    subject_uid: str | None = Field(default=None, max_length=32)
    before: str | None = Field(default=None, max_length=16)
    after: str | None = Field(default=None, max_length=16)
    undoes_uid: str | None = Field(default=None, max_length=32)


class ApiToken(Private, table=True):
    """What a program of a person's carries: it acts as them in one studio, with ``role`` at the most.

    ``made_by_key`` is the sending it came from: sent again, the new token replaces this one.
    """

    __tablename__ = "api_token"
    __table_args__ = (UniqueConstraint("person_id", "made_by_key"), one_of("role", Role), KEEP_IDS)
    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(default_factory=new_uid, max_length=32, unique=True)
    token_hash: str = Field(max_length=64, unique=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    studio_id: int = Field(foreign_key="studio.id", index=True)
    role: str = Field(max_length=16)
    label: str = Field(sa_type=Named(60))
    made_by_key: str | None = Field(default=None, max_length=64)
    created_at: datetime = Field(default_factory=utc_now, sa_type=UtcDateTime)
    expires_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    used_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
    revoked_at: datetime | None = Field(default=None, sa_type=UtcDateTime)
