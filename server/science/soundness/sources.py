"""Where the rules come from: keys to short citations."""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

TABLE = Path(__file__).parents[1] / "data" / "soundness_sources.toml"


@dataclass(frozen=True, slots=True)
class Source:
    """``read``: how much of it was seen: excerpt, second-hand or none."""

    key: str
    cite: str
    read: str


SOURCES = {
    key: Source(key, row["cite"], row["read"]) for key, row in tomllib.loads(TABLE.read_text(encoding="utf-8")).items()
}


def cite(keys: Sequence[str]) -> str:
    """The citations of some keys in one line. Raises ``KeyError`` for an unknown key."""
    return "; ".join(
        SOURCES[key].cite + (" (second-hand)" if SOURCES[key].read == "second-hand" else "") for key in keys
    )
