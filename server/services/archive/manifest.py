"""The manifest of an archive: what it holds, and the sums that vouch for each of its files."""

import json
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from server.services.errors import Refused

PROGRAM_VERSION = "0.1.0"
FORMAT_NAME = "umberday-archive"
FORMAT_VERSION = 1
MANIFEST = "manifest.json"
MAX_MANIFEST_BYTES = 64_000_000

Count = Annotated[int, Field(ge=0, le=2**62)]
Name = Annotated[str, Field(min_length=1, max_length=300, pattern=r"^[A-Za-z0-9_.-]+(/[A-Za-z0-9_.-]+)*$")]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)


class FileSum(_Part):
    """``sha256`` is of the file's own bytes, before they are packed."""

    bytes: Count
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class TableSum(_Part):
    """``last_id``: the highest id the table ever gave, so that one that is gone is never given again."""

    rows: Count
    last_id: Count = 0


class Manifest(_Part):
    """``holds``: the whole install, or one studio. ``left_out``: tables that stayed where they were."""

    format: Literal["umberday-archive"]
    format_version: Annotated[int, Field(ge=1)]
    program_version: Annotated[str, Field(max_length=32)]
    schema_revision: Annotated[str, Field(min_length=1, max_length=32)]
    made_at: Annotated[str, Field(max_length=40)]
    holds: Literal["install", "studio"]
    tables: dict[Annotated[str, Field(pattern=r"^[a-z_]{1,63}$")], TableSum]
    left_out: list[str]
    files: dict[Name, FileSum]


def table_file(name: str) -> str:
    return f"tables/{name}.jsonl"


def to_json(manifest: Manifest) -> bytes:
    return json.dumps(manifest.model_dump(), indent=1, ensure_ascii=False).encode()


def from_json(data: bytes) -> Manifest:
    """Raises ``Refused``: not ours, or written by a newer version of the program."""
    try:
        read: Any = json.loads(data)
    except (ValueError, RecursionError):
        raise Refused("The list of contents in this archive cannot be read.") from None
    if not isinstance(read, dict) or read.get("format") != FORMAT_NAME:
        raise Refused("This is no archive of Umberday.")
    version = read.get("format_version")
    if isinstance(version, int) and version > FORMAT_VERSION:
        raise Refused("This archive was made by a newer version of Umberday. Please update the program.")
    try:
        return Manifest.model_validate(read)
    except ValidationError as fault:
        place = ".".join(str(part) for part in fault.errors()[0]["loc"])
        raise Refused(f"The list of contents in this archive is damaged (at {place[:80]}).") from None
