"""What a program sends to the interfaces of records: a JSON body, the version it changes, the key of one sending."""

import hashlib
import json
import re
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Header
from pydantic import ValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request

from server.formats.calls import CallProblem
from server.formats.calls.command import parse_json
from server.services.errors import FieldError, Invalid
from server.services.fields import Command
from server.services.people.sessions import Identity
from server.web import plain_words

JSON = "application/json"
MOST_KEY = 200
ONE_VERSION = 'If-Match is one version as the ETag gave it, such as "3"'
_TAG = re.compile(r'(?:W/)?"([0-9]{1,9})"|([0-9]{1,9})')
_HALF = 31  # characters of each half of a command key, with a dot between them

C = TypeVar("C", bound=Command)


def media_type(request: Request) -> str:
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


@dataclass(frozen=True, slots=True)
class Sent:
    """A request that changes something: ``body`` as parsed (None where there is none) and the key it came with."""

    body: Any
    key: str | None

    def command(self, kind: type[C], **added: Any) -> C:
        """The body as a command; ``added`` are fields that came another way. Raises ``Invalid`` at the fields."""
        if not isinstance(self.body, dict):
            raise Invalid.at("", "Send one JSON object.")
        given = {name: value for name, value in self.body.items() if name not in added}
        if len(given) < len(self.body):
            raise Invalid([FieldError(name, "This field is not known here.") for name in added if name in self.body])
        try:
            # From JSON and strictly: 2.5 in quotes is no number, while a date is a text there.
            return kind.model_validate_json(json.dumps(given | added), strict=True)
        except ValidationError as fault:
            raise Invalid(
                [
                    FieldError(".".join(str(part) for part in error["loc"]), plain_words.message_for(error))
                    for error in fault.errors(include_url=False, include_input=False)
                ]
            ) from None


async def sent(request: Request, idempotency_key: Annotated[str | None, Header()] = None) -> Sent:
    """Raises 415 for another media type, 400 for what is not JSON or a key that is none."""
    raw = await request.body()
    body = None
    if raw:
        if media_type(request) != JSON:
            raise HTTPException(415, "send the request as application/json")
        try:
            body = parse_json(raw)
        except CallProblem as fault:
            raise HTTPException(400, f"the body {fault.errors[0].message}") from None
    return Sent(body, _command_key(request, idempotency_key, raw))


def _command_key(request: Request, key: str | None, raw: bytes) -> str | None:
    """A key for the history: one half says which sending of whom, the other what was sent to change which version.

    Programs choose plain keys, such as "1": those of two people must not be one.
    """
    if key is None:
        return None
    if not key.strip() or len(key) > MOST_KEY or not key.isprintable():
        raise HTTPException(400, f"an Idempotency-Key has 1 to {MOST_KEY} characters that can be seen")
    who: Identity | None = getattr(request.state, "identity", None)
    which = f"{who.person_uid if who else ''}\n{key}"
    seen = request.headers.get("if-match", "")
    told = b"\n".join([request.method.encode(), request.url.path.encode(), seen.encode("utf-8", "replace"), raw])
    return f"{_digest(which.encode('utf-8', 'backslashreplace'))}.{_digest(told)}"


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:_HALF]


def version_wanted(if_match: Annotated[str | None, Header()] = None) -> int:
    """The version of the record that the sender saw. Raises 428 without one, 400 for one that cannot be read."""
    if if_match is None:
        raise HTTPException(428, 'send If-Match with the version you read, such as If-Match: "3"')
    version = _version(if_match)
    if version < 1:
        raise HTTPException(400, ONE_VERSION)
    return version


def version_seen(if_match: Annotated[str | None, Header()] = None) -> int | None:
    """The version that the sender saw, None where they do not say. Raises 400 for one that cannot be read."""
    return None if if_match is None or if_match.strip() == "*" else _version(if_match)


def _version(if_match: str) -> int:
    found = _TAG.fullmatch(if_match.strip())
    if found is None:
        raise HTTPException(400, ONE_VERSION)
    return int(found[1] or found[2])


def hold_to(version: int, seen: int | None) -> None:
    """Raises 412 where the sender saw another version than there is (RFC 9110, 13.1.1)."""
    if seen is not None and seen != version:
        detail = f"This was changed since: it is at version {version}. Read it again. Nothing was done."
        raise HTTPException(412, detail, {"ETag": f'"{version}"'})


Sending = Annotated[Sent, Depends(sent)]
VersionWanted = Annotated[int, Depends(version_wanted)]
VersionSeen = Annotated[int | None, Depends(version_seen)]
