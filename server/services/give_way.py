"""Who is waited for goes first.

What is made ahead of time (``web/ahead.py``) shares the interpreter with the pages that somebody waits for, and takes
half of it while it works, for the interpreter knows no priorities. So it asks at every small step: where an answer is
under way it rests until that is given, but never for long, so that it comes to an end in a busy hour too. Nothing here
changes what is worked out, only when.
"""

import threading
from collections.abc import Iterator
from contextlib import contextmanager

MOST_S = 0.05  # that one step is put off


class Road:
    """Who is on the way to an answer, and who lets them pass. ``most_s`` bounds how long a step is put off."""

    def __init__(self, most_s: float = MOST_S) -> None:
        self._most_s = most_s
        self._changed = threading.Condition()
        self._answering = 0
        self._held_up = 0  # of those that wait for a turn: what holds the turn must not wait for them
        self._behind: set[int] = set()  # threads

    @property
    def is_clear(self) -> bool:
        return self._answering <= self._held_up

    @property
    def is_behind(self) -> bool:
        """Whether this thread gives way."""
        return threading.get_ident() in self._behind

    @contextmanager
    def answering(self) -> Iterator[None]:
        """Somebody waits for what is done within."""
        self._count(1)
        try:
            yield
        finally:
            self._count(-1)

    @contextmanager
    def resting(self) -> Iterator[None]:
        """Within ``answering``: nothing is worked out meanwhile, such as while the body of a request is on its way."""
        self._count(-1)
        try:
            yield
        finally:
            self._count(1)

    def _count(self, change: int) -> None:
        with self._changed:
            self._answering += change
            self._changed.notify_all()

    @contextmanager
    def behind_others(self) -> Iterator[None]:
        """What this thread does within gives way."""
        me = threading.get_ident()
        self._behind.add(me)
        try:
            yield
        finally:
            self._behind.discard(me)

    def give_way(self) -> None:
        """Between two steps of work that can wait. Does nothing in a thread that somebody waits for."""
        if self._answering and self.is_behind:
            with self._changed:
                self._changed.wait_for(lambda: self.is_clear, self._most_s)

    @contextmanager
    def in_turn(self, lock: threading.Lock) -> Iterator[None]:
        """Holds ``lock``, within which others may give way: while one waits for it, whoever has it does not."""
        if not lock.acquire(blocking=False):
            self._hold_up(1)
            try:
                lock.acquire()
            finally:
                self._hold_up(-1)
        try:
            yield
        finally:
            lock.release()

    def _hold_up(self, change: int) -> None:
        with self._changed:
            self._held_up += change
            self._changed.notify_all()


ROAD = Road()  # of this process
give_way = ROAD.give_way
