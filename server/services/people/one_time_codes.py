"""One-time codes of a device (TOTP, RFC 6238), and recovery codes for when it is gone.

Threats: a code read over a shoulder and used again (no step of 30 seconds is taken twice, nor one before it), a lost
device that shuts its owner out (ten recovery codes, shown once, each good for one sign-in).
"""

import hmac
from datetime import datetime
from urllib.parse import parse_qs, urlsplit

import pyotp
from sqlalchemy import Select, select
from sqlmodel import Session, col

from server.services.errors import Invalid, NotFound, Refused
from server.services.people import events, sealing
from server.services.people.events import About
from server.services.people.sessions import Identity
from server.services.people.tokens import hash_of_code, new_code
from server.store.tables import Person, RecoveryCode

STEP_S = 30  # RFC 6238, section 5.2: the recommended step
DRIFT_STEPS = 1  # section 5.2: at most one step for the way there
ISSUER = "Umberday"
RECOVERY_CODES = 10
FIGURES = 6


def begin(session: Session, who: Identity) -> None:
    """Make a seed that waits to be confirmed. Raises ``Refused`` when codes are in use already."""
    person = locked(session, who.person_id)
    if person.codes_since is not None:
        raise Refused("One-time codes are in use already. Stop them first to set up another device.")
    person.code_seed = sealing.seal(session, person, pyotp.random_base32())
    session.flush()


def address_to_scan(session: Session, who: Identity) -> str:
    """What a device scans, while its seed waits to be confirmed. Raises ``NotFound`` otherwise."""
    person = session.get_one(Person, who.person_id)
    seed = sealing.opened(session, person)
    if seed is None or person.codes_since is not None:
        raise NotFound
    return pyotp.TOTP(seed, interval=STEP_S).provisioning_uri(name=person.email, issuer_name=ISSUER)


def seed_in(address: str) -> str:
    """The seed of an address to scan, in groups of four to type by hand; "" where there is none."""
    seed = parse_qs(urlsplit(address).query).get("secret", [""])[0]
    return " ".join(seed[start : start + 4] for start in range(0, len(seed), 4))


def confirm(session: Session, who: Identity, code: str, now: datetime) -> list[str]:
    """Take codes into use once the device's first one is right; answers the recovery codes.

    Raises ``Invalid`` at ``code``, and ``NotFound`` where nothing waits to be confirmed.
    """
    person = locked(session, who.person_id)
    if person.code_seed is None or person.codes_since is not None:
        raise NotFound
    if not take(person, sealing.opened(session, person), code, now):
        raise Invalid.at("code", "This is not the code of this moment. Look at the device again, and at its clock.")
    person.codes_since = now
    events.note(session, About(person_id=person.id), person.name, "Took one-time codes into use", now)
    return new_recovery_codes(session, who, now)


def stop(session: Session, who: Identity, now: datetime) -> None:
    """Sign in without codes from now on. Twice is the same as once."""
    person = locked(session, who.person_id)
    was_in_use = person.codes_since is not None
    person.code_seed = person.codes_since = None
    _replace_recovery_codes(session, who.person_id, now)
    if was_in_use:
        events.note(session, About(person_id=person.id), person.name, "Stopped one-time codes", now)
    session.flush()


def new_recovery_codes(session: Session, who: Identity, now: datetime) -> list[str]:
    """Ten new ones in the place of all before. Raises ``Refused`` when no one-time codes are in use."""
    if session.get_one(Person, who.person_id).codes_since is None:
        raise Refused("Recovery codes belong to one-time codes, and none are in use.")
    _replace_recovery_codes(session, who.person_id, now)
    made = [new_code() for _ in range(RECOVERY_CODES)]
    session.add_all(RecoveryCode(person_id=who.person_id, code_hash=hash_of_code(code)) for code in made)
    session.flush()
    return made


def recovery_codes_left(session: Session, person_id: int) -> int:
    return len(session.scalars(_unused(person_id)).all())


def is_taken(session: Session, person: Person, typed: str, now: datetime) -> bool:
    """Whether a code, of the device or for recovery, lets the person in; it is used up by this."""
    if take(person, sealing.opened(session, person), typed, now):
        session.flush()
        return True
    assert person.id is not None
    query = _unused(person.id).where(col(RecoveryCode.code_hash) == hash_of_code(typed)).with_for_update()
    row = session.scalars(query).first()
    if row is None:
        return False
    row.used_at = now
    events.note(session, About(person_id=person.id), person.name, "Used a recovery code", now)
    return True


def take(person: Person, seed: str | None, typed: str, now: datetime) -> bool:
    """Whether ``typed`` is a code of about now that is later than every code taken before; it is then taken."""
    figures = "".join(typed.split())
    if seed is None or len(figures) != FIGURES or not (figures.isascii() and figures.isdigit()):
        return False
    device = pyotp.TOTP(seed, digits=FIGURES, interval=STEP_S)
    this_step = int(now.timestamp()) // STEP_S
    for step in range(this_step - DRIFT_STEPS, this_step + DRIFT_STEPS + 1):
        if step > person.code_step and hmac.compare_digest(device.generate_otp(step), figures):
            person.code_step = step
            return True
    return False


def locked(session: Session, person_id: int) -> Person:
    """The person's row, read afresh and held until the transaction ends."""
    query = select(Person).where(col(Person.id) == person_id).with_for_update()
    return session.scalars(query.execution_options(populate_existing=True)).one()


def _unused(person_id: int) -> Select[RecoveryCode]:
    return select(RecoveryCode).where(
        col(RecoveryCode.person_id) == person_id,
        col(RecoveryCode.used_at).is_(None),
        col(RecoveryCode.replaced_at).is_(None),
    )


def _replace_recovery_codes(session: Session, person_id: int, now: datetime) -> None:
    for row in session.scalars(_unused(person_id)):
        row.replaced_at = now
    session.flush()
