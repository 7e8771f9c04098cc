"""Random texts that let somebody in, and the hashes they are found by.

Threat: a token guessed, read out of the database, or told by how long a look-up takes. Tokens are random (256 bits),
codes to type have 120; both are kept as their SHA-256, and looked up by it, so that no comparison ever runs along a
secret. Texts that random need no slower hash (ASVS 5.0, 6.5.2 asks for one below 112 bits).
"""

import hashlib
import secrets

TOKEN_BYTES = 32
# Thirty-two figures and letters without those that look alike; what is typed in their place is read as meant.
_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_LOOK_ALIKE = str.maketrans({"O": "0", "I": "1", "L": "1"})
CODE_LENGTH = 24  # of 5 bits each
_GROUP = 4


def new_token() -> str:
    """A random text of 256 bits that can stand in an address or a cookie."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def hash_of(token: str) -> str:
    """What is kept of a token: 64 hexadecimal figures."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def new_code() -> str:
    """A random code of 120 bits to type: six groups of four."""
    figures = "".join(secrets.choice(_ALPHABET) for _ in range(CODE_LENGTH))
    return "-".join(figures[start : start + _GROUP] for start in range(0, CODE_LENGTH, _GROUP))


def hash_of_code(typed: str) -> str:
    """The hash of a code however it was typed: small letters, spaces and missing strokes do not count."""
    figures = "".join(character for character in typed.upper().translate(_LOOK_ALIKE) if character in _ALPHABET)
    return hash_of(f"code:{figures}")
