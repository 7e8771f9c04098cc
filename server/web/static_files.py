"""Static files under addresses that hold a hash of their content: ``/static/umberday.3f9c2a1b7d.css``.

An address with the right hash may be kept for ever, for a changed file has another address. The plain address works
too and is asked for again each time.
"""

import hashlib
import os
import re
from functools import cache
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

HASH_LENGTH = 10
FOR_EVER = "public, max-age=31536000, immutable"
ASK_AGAIN = "no-cache"
_HASHED = re.compile(rf"(?P<stem>.+)\.(?P<hash>[0-9a-f]{{{HASH_LENGTH}}})(?P<suffix>\.[A-Za-z0-9]+)")


class HashedFiles(StaticFiles):
    """Serves a folder and knows the hashed address of each file in it."""

    def __init__(self, directory: Path, prefix: str = "/static") -> None:
        super().__init__(directory=directory)
        self.folder = directory
        self.prefix = prefix
        self._hashes: dict[str, tuple[int, str]] = {}  # by name: modification time, hash

    def url(self, name: str) -> str:
        """The address of ``umberday.css``. Raises FileNotFoundError for a file that is not there."""
        stem, suffix = os.path.splitext(name)
        return f"{self.prefix}/{stem}.{self.hash(name)}{suffix}"

    def hash(self, name: str) -> str:
        path = self.folder / name
        modified = path.stat().st_mtime_ns
        known = self._hashes.get(name)
        if known is None or known[0] != modified:
            known = modified, hashlib.sha256(path.read_bytes()).hexdigest()[:HASH_LENGTH]
            self._hashes[name] = known
        return known[1]

    async def get_response(self, path: str, scope: Scope) -> Response:
        found = _HASHED.fullmatch(path)
        if found is None:
            response = await super().get_response(path, scope)
            response.headers["Cache-Control"] = ASK_AGAIN
            return response
        plain = found["stem"] + found["suffix"]
        response = await super().get_response(plain, scope)
        # A page of an earlier version may still ask for its old file: an honest 404 beats the wrong content for ever.
        if found["hash"] != self.hash(plain):
            raise HTTPException(404)
        response.headers["Cache-Control"] = FOR_EVER
        return response


@cache
def hashed_files(directory: Path) -> HashedFiles:
    """The files of a folder, hashed once in a process however many apps it makes."""
    return HashedFiles(directory)
