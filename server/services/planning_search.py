"""The planner's search of a running app: plain at first, compiled as soon as that is ready."""

import time
from pathlib import Path

from server.planning.schedule import compiled

EVERY_S, LOOKS = 5.0, 120


def prepare(data: Path) -> None:
    """Have the search compiled in a process of its own, once for this machine, and take it when it is there.

    Meant for a thread: it comes back after ten minutes at the latest, when plans go on being made the plain way.
    """
    compiled.compile_aside(data)
    for _ in range(LOOKS):
        if compiled.choose(data).is_compiled or not compiled.is_available():
            return
        time.sleep(EVERY_S)
