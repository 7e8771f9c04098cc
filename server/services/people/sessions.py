"""Sessions on the server: which browser is signed in as whom, in which studio, and until when.

Threats: a session token that was given to the browser by somebody else (every sign-in makes a new one and ends the one
before), one that is stolen from the database (only its hash is there), one that lives for ever (it ends after a week
unused, after thirty days in any case), and one that cannot be ended from afar (each is listed and can be).
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from sqlalchemy import and_, select, update
from sqlmodel import Session, col

from server.services.access import Actor
from server.services.errors import NotFound
from server.services.people.tokens import hash_of, new_token
from server.store.db import Database
from server.store.tables import Membership, Person, Role, SignIn, Studio

IDLE = timedelta(days=7)
LONGEST = timedelta(days=30)
SEEN_EVERY = timedelta(minutes=5)
MARK_LENGTH = 16


@dataclass(frozen=True, slots=True)
class Browser:
    """What comes with a request: its name as it calls itself, where it comes from, and the marks it carries.

    ``device_token`` says that this browser signed in before; ``session_token`` is the session it has now.
    """

    name: str
    address: str
    session_token: str = ""
    device_token: str = ""


@dataclass(frozen=True, slots=True)
class Opened:
    """A session just begun: what the browser keeps."""

    session_token: str
    device_token: str
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class ChosenStudio:
    """The studio a session is in, with what every page tells of it."""

    id: int
    uid: str
    name: str
    time_zone: str
    is_invented: bool
    role: Role
    membership_uid: str


@dataclass(frozen=True, slots=True)
class Identity:
    """Who is signed in. ``studio`` None: in no studio, for none was chosen yet, or the person belongs to none."""

    sign_in_id: int
    person_id: int
    person_uid: str
    name: str
    email: str
    seen_at: datetime
    studio: ChosenStudio | None

    @property
    def mark(self) -> str:
        """Which person in which studio, for a browser to keep their things apart; it tells nothing else."""
        told = f"{self.person_uid}:{self.studio.uid if self.studio else ''}"
        return sha256(told.encode()).hexdigest()[:MARK_LENGTH]

    @property
    def actor(self) -> Actor:
        """The person in the chosen studio. Raises ``NotFound`` where there is none."""
        if self.studio is None:
            raise NotFound
        return Actor(self.name, self.studio.id, self.studio.role, self.person_id)


@dataclass(frozen=True, slots=True)
class SessionFacts:
    """A session as it is listed. ``is_this``: the one that asks."""

    uid: str
    device: str
    since: datetime
    seen_at: datetime
    is_this: bool


def begin(session: Session, person: Person, browser: Browser, now: datetime, studio_id: int | None = None) -> Opened:
    """Sign a person in: a new token, in ``studio_id`` or where they were last. The browser's session before ends."""
    assert person.id is not None
    end_by_token(session, browser.session_token, now)
    token = new_token()
    device_token = browser.device_token if knows_device(session, person.id, browser.device_token) else new_token()
    session.add(
        SignIn(
            token_hash=hash_of(token),
            known_device_hash=hash_of(device_token),
            person_id=person.id,
            studio_id=studio_id or _where_last(session, person.id),
            created_at=now,
            seen_at=now,
            expires_at=now + LONGEST,
            device=browser.name[:80],
        )
    )
    session.flush()
    return Opened(token, device_token, now + LONGEST)


def renew(session: Session, sign_in_id: int, now: datetime) -> str:
    """Another token for a running session, after what it may do has changed."""
    token = new_token()
    row = session.get_one(SignIn, sign_in_id)
    row.token_hash, row.seen_at = hash_of(token), now
    session.flush()
    return token


def knows_device(session: Session, person_id: int, device_token: str) -> bool:
    """Whether the person signed in before on the browser that carries this mark."""
    if not device_token:
        return False
    query = select(col(SignIn.id)).where(
        col(SignIn.known_device_hash) == hash_of(device_token), col(SignIn.person_id) == person_id
    )
    return session.scalars(query.limit(1)).first() is not None


def _where_last(session: Session, person_id: int) -> int | None:
    """The studio of the last session, else the only one; None: there is a choice to make, or none."""
    own = select(col(Membership.studio_id)).where(
        col(Membership.person_id) == person_id, col(Membership.ended_at).is_(None)
    )
    belongs = list(session.scalars(own))
    last = select(col(SignIn.studio_id)).where(col(SignIn.person_id) == person_id, col(SignIn.studio_id).in_(belongs))
    found = session.scalars(last.order_by(col(SignIn.id).desc()).limit(1)).first()
    return found or (belongs[0] if len(belongs) == 1 else None)


def identity(session: Session, token: str, now: datetime) -> Identity | None:
    """Who carries this token; None when the session is unknown, ended, or too old. One query."""
    if not token:
        return None
    belongs = and_(
        col(Membership.person_id) == col(SignIn.person_id),
        col(Membership.studio_id) == col(SignIn.studio_id),
        col(Membership.ended_at).is_(None),
    )
    query = (
        select(SignIn, Person, Membership, Studio)
        .join(Person, col(Person.id) == col(SignIn.person_id))
        .outerjoin(Membership, belongs)
        .outerjoin(Studio, col(Studio.id) == col(Membership.studio_id))
        .where(col(SignIn.token_hash) == hash_of(token))
    )
    found = session.execute(query).first()
    if found is None or not _is_open(found[0], now):
        return None
    sign_in, person, membership, studio = found
    return Identity(
        sign_in_id=sign_in.id,
        person_id=person.id,
        person_uid=person.uid,
        name=person.name,
        email=person.email,
        seen_at=sign_in.seen_at,
        studio=_chosen(membership, studio),
    )


def _chosen(membership: Membership | None, studio: Studio | None) -> ChosenStudio | None:
    if membership is None or studio is None:
        return None
    assert studio.id is not None
    role: Role = membership.role  # type: ignore[assignment]
    return ChosenStudio(studio.id, studio.uid, studio.name, studio.time_zone, studio.is_invented, role, membership.uid)


def _is_open(row: SignIn, now: datetime) -> bool:
    return row.revoked_at is None and now < row.expires_at and now < row.seen_at + IDLE


def note_seen(db: Database, who: Identity, now: datetime) -> None:
    """Keep a session that is used from ending, once in a few minutes.

    Past the session's own bookkeeping: a look at a page is no change that kept answers would depend on.
    """
    if now - who.seen_at < SEEN_EVERY:
        return
    with db.write() as session:
        session.connection().execute(update(SignIn).where(col(SignIn.id) == who.sign_in_id).values(seen_at=now))


def all_open(session: Session, who: Identity, now: datetime) -> list[SessionFacts]:
    """The person's open sessions, the last used first."""
    query = select(SignIn).where(col(SignIn.person_id) == who.person_id, col(SignIn.revoked_at).is_(None))
    rows = session.scalars(query.order_by(col(SignIn.seen_at).desc(), col(SignIn.id).desc()))
    return [
        SessionFacts(row.uid, row.device, row.created_at, row.seen_at, row.id == who.sign_in_id)
        for row in rows
        if _is_open(row, now)
    ]


def end(session: Session, who: Identity, uid: str, now: datetime) -> None:
    """End one of the person's sessions; ending it twice is the same as once. Raises ``NotFound``."""
    query = select(SignIn).where(col(SignIn.uid) == uid, col(SignIn.person_id) == who.person_id)
    row = session.scalars(query).first()
    if row is None:
        raise NotFound
    row.revoked_at = row.revoked_at or now
    session.flush()


def end_all(session: Session, person_id: int, now: datetime, but_id: int | None = None) -> int:
    """End all open sessions of a person, except ``but_id``; answers how many."""
    query = select(SignIn).where(col(SignIn.person_id) == person_id, col(SignIn.revoked_at).is_(None))
    rows = [row for row in session.scalars(query) if row.id != but_id]
    for row in rows:
        row.revoked_at = now
    session.flush()
    return len([row for row in rows if now < min(row.expires_at, row.seen_at + IDLE)])


def end_by_token(session: Session, token: str, now: datetime) -> None:
    """End the session of that token, if there is one."""
    row = session.scalars(select(SignIn).where(col(SignIn.token_hash) == hash_of(token))).first() if token else None
    if row is not None:
        row.revoked_at = row.revoked_at or now
        session.flush()


def choose(session: Session, who: Identity, studio_uid: str) -> None:
    """Go on in another studio of the person's. Raises ``NotFound`` for one they do not belong to."""
    query = (
        select(Studio)
        .join(Membership, col(Membership.studio_id) == col(Studio.id))
        .where(
            col(Studio.uid) == studio_uid,
            col(Membership.person_id) == who.person_id,
            col(Membership.ended_at).is_(None),
        )
    )
    studio = session.scalars(query).first()
    if studio is None:
        raise NotFound
    session.get_one(SignIn, who.sign_in_id).studio_id = studio.id
    session.flush()
