"""What somebody is looking at is made again aside, so that their next look finds it ready.

A touch test moves the dates of a whole studio, and every ten minutes all that is told is told anew. Whoever looks next
would wait for it. So one thread watches which studios changed, in this process or another, and makes anew what was
looked at there within the last minutes; and towards the end of ten minutes it makes, bit by bit, what the next ten will
show. It goes behind whoever waits for an answer (``services/give_way.py``), and only fills what is kept under keys that
hold everything an answer depends on: where it is late or does not run, the same is worked out when it is asked for.
"""

import logging
import threading
from collections.abc import Callable, Hashable
from contextlib import AbstractContextManager
from contextvars import Context, copy_context
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import Any, Protocol, TypeVar
from zoneinfo import ZoneInfo

from sqlmodel import Session
from starlette.requests import Request

from server.services import board
from server.services.access import Actor
from server.services.board.snapshot import last_changes
from server.services.board.today import moment_of
from server.services.give_way import ROAD
from server.web.manner import manner

WATCHED_FOR = timedelta(minutes=6)  # a wall looks every five
SOON = timedelta(minutes=3)  # before the next ten minutes begin
LOOK_EVERY_S = 0.1
REST_S = 0.005
MOST = 400
UTC = ZoneInfo("UTC")
log = logging.getLogger("umberday.server")


class Asked(Protocol):
    """A request as it is watched: a page of a member, or of a link."""

    request: Request
    now: datetime

    @property
    def actor(self) -> Actor: ...

    @property
    def zone(self) -> Any: ...

    def at(self, now: datetime) -> Any: ...


P = TypeVar("P", bound=Asked)


@dataclass
class _Watched:
    """``make`` makes it at a moment, ``prepare`` what can be made of it before that moment has come."""

    page: Any
    make: Callable[[Any], object]
    prepare: Callable[[Any], object]
    told_at: datetime  # for which ten minutes it was made
    seen_at: datetime
    context: Context


class Ahead:
    """Watches and makes. ``turn`` is one round; ``start`` lets a thread go round until ``stop``."""

    def __init__(self, read: Callable[[], AbstractContextManager[Session]], clock: Callable[[], datetime]) -> None:
        """``read``: opens a session that reads."""
        self._read = read
        self._clock = clock
        self._watched: dict[tuple[int, Hashable], _Watched] = {}
        self._entries: frozenset[int] | None = None  # not asked yet
        self._stale: dict[tuple[int, Hashable], None] = {}
        self._prepared_at = datetime.min.replace(tzinfo=timezone.utc)
        self._lock = threading.Lock()
        self._wake = threading.Event()
        self._ends = False
        self._thread: threading.Thread | None = None

    def watch(self, key: Hashable, asked: P, make: Callable[[P], object], prepare: Callable[[P], object]) -> None:
        """From now on, for some minutes, keep ready what ``asked`` asked for."""
        told_at = moment_of(asked.now, asked.zone).at
        watched = _Watched(asked, make, prepare, told_at, asked.now, copy_context())
        with self._lock:
            before = self._watched.pop((asked.actor.studio_id, key), None)
            if before is not None:
                watched.told_at = max(told_at, before.told_at)
            self._watched[asked.actor.studio_id, key] = watched
            while len(self._watched) > MOST:
                del self._watched[next(iter(self._watched))]
        self._wake.set()

    def turn(self) -> bool:
        """Make one thing that changed, or one of the next ten minutes. Whether anything is watched."""
        now = self._clock()
        with self._lock:
            for key in [key for key, each in self._watched.items() if now - each.seen_at > WATCHED_FOR]:
                del self._watched[key]
            watched = dict(self._watched)
        if not watched:
            self._entries, self._stale = None, {}
            return False
        changed = self._changed()
        self._stale |= {key: None for key in watched if key[0] in changed}
        self._stale = {key: None for key in self._stale if key in watched}
        if self._stale:
            # Who looked longest ago will look soonest.
            first = min(self._stale, key=lambda key: watched[key].seen_at)
            del self._stale[first]
            _run(watched[first], watched[first].make, now)
        else:
            self._prepare_one(watched, now)
        return True

    def _prepare_one(self, watched: dict[tuple[int, Hashable], _Watched], now: datetime) -> None:
        """One of those whose next ten minutes come soon, so spread out that the last is ready in time."""
        next_from = moment_of(now, UTC).at + timedelta(microseconds=1)
        next_at = moment_of(next_from, UTC).at
        left = [each for each in watched.values() if each.told_at < next_at]
        spare = next_from - now
        if left and spare <= SOON and now - self._prepared_at >= spare / (2 * len(left)):
            left[0].told_at = next_at
            self._prepared_at = now
            _run(left[0], left[0].prepare, next_from)

    def _changed(self) -> set[int]:
        """The studios in whose history something was entered since this was asked last."""
        with self._read() as session:
            found = last_changes(session)
        before, self._entries = self._entries, frozenset(found)
        return set() if before is None else {studio for entry, studio in found.items() if entry not in before}

    def start(self) -> None:
        self._thread = threading.Thread(target=self._go_round, name="ahead", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._ends = True
        self._wake.set()
        if self._thread is not None:
            self._thread.join(timeout=10)

    def _go_round(self) -> None:
        pause = threading.Event()
        while not self._ends:
            try:
                is_busy = self.turn()
            except Exception:  # a database that is away for a moment, say: pages tell it themselves
                log.exception("ahead")
                is_busy = True
            if is_busy:
                pause.wait(REST_S if self._stale else LOOK_EVERY_S)
            else:
                self._wake.clear()
                self._wake.wait()


def _run(watched: _Watched, make: Callable[[Any], object], now: datetime) -> None:
    try:
        with ROAD.behind_others():
            watched.context.copy().run(make, watched.page.at(now))
    except Exception:
        # A studio that is gone, say. Whoever looks is told so by the page itself.
        log.exception("ahead")


def keep_today_ready(asked: Any) -> None:
    """The same for whatever is drawn of today's board each time it is looked at, such as a wall."""
    keep_ready("board", asked, _todays_board)


def _todays_board(asked: Any) -> None:
    with asked.db.read() as session:
        board.today(session, asked.actor, asked.now, asked.zone, None)


def keep_ready(
    key: Hashable, asked: P, make: Callable[[P], object], prepare: Callable[[P], object] | None = None
) -> None:
    """Let the next look at what ``asked`` asked for be quick; nothing where the server does not work ahead."""
    ahead: Ahead | None = getattr(asked.request.app.state, "ahead", None)
    if ahead is not None:
        ahead.watch((key, manner()), asked, make, prepare or make)
