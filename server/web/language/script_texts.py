"""The messages of the scripts: what stands in ``say("…")`` of our own files in ``static/``."""

import re
from collections.abc import Iterator
from pathlib import Path

SCRIPTS = ("umberday.js", "worker.js")
_SAID = re.compile(r'\bsay\("((?:[^"\\]|\\.)+)"')


def texts(static: Path) -> Iterator[tuple[str, str]]:
    """(script, message) for every message."""
    for name in SCRIPTS:
        for found in _SAID.finditer((static / name).read_text(encoding="utf-8")):
            yield name, found[1]
