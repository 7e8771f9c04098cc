"""The planner's search of a running app: one at a time, plain at first, compiled as soon as that is ready."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Lock, Semaphore

from server.planning.schedule import compiled
from server.services.errors import Refused

EVERY_S, LOOKS = 5.0, 120
AT_WORK = 4  # one searches, the others wait for their turn; more would keep the threads that pages need


class Turns:
    """Searches one after the other, so that each has its time, and no more that wait than ``at_work`` less one."""

    def __init__(self, at_work: int = AT_WORK) -> None:
        self._places = Semaphore(at_work)
        self._turn = Lock()

    @contextmanager
    def take(self) -> Iterator[None]:
        """Wait for one's turn. Raises ``Refused`` where too many wait already."""
        if not self._places.acquire(blocking=False):
            raise Refused("Several plans are being worked out already. Try again in a minute.")
        try:
            with self._turn:
                yield
        finally:
            self._places.release()


TURNS = Turns()


def prepare(data: Path) -> None:
    """Have the search compiled in a process of its own, once for this machine, and take it when it is there.

    Meant for a thread: it comes back after ten minutes at the latest, when plans go on being made the plain way.
    """
    compiled.compile_aside(data)
    for _ in range(LOOKS):
        if compiled.choose(data).is_compiled or not compiled.is_available():
            return
        time.sleep(EVERY_S)
