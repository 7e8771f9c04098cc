"""Passwords: which are taken, and how they are kept.

Threats: guessing (short and common ones are refused; every other rule only makes people predictable), a stolen database
(Argon2id, ASVS 5.0 6.4.2 and RFC 9106: at least 19 MiB, two passes, one lane), a flood of sign-ins that fills the
memory (two hashes at a time), and finding out who has an account by how long an answer takes (an unknown name is
checked against a hash too). A password is checked exactly as it was typed.
"""

import re
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from server.services.errors import Invalid

LEAST, MOST = 8, 128  # characters; ASVS 5.0 6.2.1 and 6.2.9: at least 8, and 64 must be taken
HASHES_AT_ONCE = 2
_hasher = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)
_turns = BoundedSemaphore(HASHES_AT_ONCE)

# What guessers try first; from memory, no source. Compared in small letters, figures at the ends left aside.
COMMON = frozenset(Path(__file__).with_name("common_passwords.txt").read_text(encoding="utf-8").split())
_ENDS = re.compile(r"^[\W\d_]+|[\W\d_]+$")
_APART = re.compile(r"[\W_]+")


def check_new(password: str, names: Iterable[str] = (), field: str = "password") -> None:
    """Raises ``Invalid`` at ``field`` unless the password may be taken; ``names``: of the person and their studios."""
    if len(password) < LEAST:
        raise Invalid.at(field, f"Use at least {LEAST} characters. A few words in a row are good and easy to keep.")
    if len(password) > MOST:
        raise Invalid.at(field, f"Keep to {MOST} characters at most.")
    if _is_common(password, names):
        raise Invalid.at(field, "This is one of the first that somebody would try. Choose another one.")


def _is_common(password: str, names: Iterable[str]) -> bool:
    plain = password.casefold()
    core = _ENDS.sub("", plain)
    if len(set(plain)) == 1 or {plain, core} & COMMON:
        return True
    told = {word for name in names for word in (name, *_APART.split(name), name.partition("@")[0])}
    known = {_APART.sub("", word.casefold()) for word in told} - {""}
    return bool({_APART.sub("", plain), _APART.sub("", core)} & known)


def make_hash(password: str) -> str:
    with _turns:
        return _hasher.hash(_bytes(password))


def is_right(password_hash: str | None, password: str) -> bool:
    """Whether the password belongs to the hash; None, nobody of that name, takes as long and is never right."""
    known = password_hash if password_hash is not None else _nobody()
    with _turns:
        try:
            _hasher.verify(known, _bytes(password[: MOST + 1]))
        except (VerificationError, InvalidHashError):
            return False
    return password_hash is not None


def prepare() -> None:
    """Work out what unknown names are checked against, so that the first of them is not told by a longer wait."""
    _nobody()


def is_outdated(password_hash: str) -> bool:
    """Whether the hash was made with less work than is asked for now."""
    return _hasher.check_needs_rehash(password_hash)


def _bytes(password: str) -> bytes:
    return password.encode("utf-8", "surrogatepass")


@cache
def _nobody() -> str:
    return _hasher.hash(b"nobody has this password")
