"""What a running program searches with: processes, the compiled search as soon as it is there, quiet searches.

A process that has not planned a studio before takes twice as long for it: every forecast and every verdict of the rules
is new to it. So it plans a large studio once, for itself, while somebody still looks at the page with the button.
"""

import logging
import os
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from threading import Event, Lock, Thread
from typing import Any
from zoneinfo import ZoneInfo

from server.planning.schedule import compiled, compiling
from server.planning.schedule.odds import odds_of
from server.services import planning_make
from server.services.access import Actor
from server.services.board.snapshot import snapshot
from server.services.errors import Refused
from server.services.planning_asked import Asked, Effort, PlanMake
from server.services.planning_first import FIRSTS, LARGE
from server.services.planning_quiet import QUIET, SECONDS
from server.services.search_pool import SEARCHES
from server.store.db import Database

log = logging.getLogger("umberday.searches")
_IS_PREPARED = Event()


class _Rehearsals:
    """Which process has planned which studio, and which studios are being planned for the first time."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._begun: set[int] = set()
        self._knows: dict[int, int] = {}  # studio: the process

    def begin(self, studio_id: int) -> bool:
        """Whether it is to be done: no living process knows the studio, and none is at it."""
        with self._lock:
            if studio_id in self._begun or self._knows.get(studio_id) in SEARCHES.processes:
                return False
            self._begun.add(studio_id)
            return True

    @property
    def is_busy(self) -> bool:
        with self._lock:
            return bool(self._begun)

    def end(self, studio_id: int, process: int | None) -> None:
        with self._lock:
            self._begun.discard(studio_id)
            if process is not None:
                self._knows[studio_id] = process


REHEARSALS = _Rehearsals()


def prepare(data: Path, processes: int) -> None:
    """Say what searches run with, and have them compiled in the background, once for this machine. Where they are, a
    process is made ready at once, so that the first plan or promise of the day need not wait for one."""
    SEARCHES.set_up(processes, data)
    QUIET.seconds, FIRSTS.least = SECONDS, LARGE
    compiled.compile_aside(data)
    _IS_PREPARED.set()
    if compiled.is_ready(data):
        SEARCHES.get_ready(rehearse)


def expect(db: Database, actor: Actor, now: datetime, zone: ZoneInfo) -> None:
    """Somebody looks at a page from which plans are asked for: have a process ready by then. Starting one, and loading
    the compiled search there, takes longer than most searches. Never waits; does nothing before `prepare`."""
    if _IS_PREPARED.is_set() and REHEARSALS.begin(actor.studio_id):
        Thread(target=_get_ready, args=(db, actor, now, zone), name="rehearsal", daemon=True).start()


def _get_ready(db: Database, actor: Actor, now: datetime, zone: ZoneInfo) -> None:
    process = None
    try:
        asked = _large(db, actor, now, zone)
        if asked is None:
            SEARCHES.get_ready(rehearse)
        else:
            process = SEARCHES.run(rehearse_studio, asked, kind="call")
    except Refused as fault:  # nobody has hours yet, or there is no room; then the first plan takes its time
        log.info("no search was rehearsed: %s", fault.message)
    finally:
        REHEARSALS.end(actor.studio_id, process)


def _large(db: Database, actor: Actor, now: datetime, zone: ZoneInfo) -> Asked | None:
    """What a plan of the studio is made from, where it is a large one."""
    with db.read() as session:
        if len(snapshot(session, actor).rows.panels) < LARGE:  # planned for the first time as fast as ever after
            return None
        return planning_make.read(session, actor, PlanMake(), now, zone)


def rehearse(_told: Callable[[Any], bool]) -> None:
    """A small question that calls every way into the search and into the odds."""
    odds_of(compiling.example(), compiling.call_every_way(compiled.current()).sittings)


def rehearse_studio(asked: Asked, _told: Callable[[Any], bool]) -> int:
    """Plan a studio, for nothing but to know it; answers the process that does now."""
    rehearse(_told)
    with suppress(Refused):
        planning_make.work_out(asked, Effort(moves=0))
    return os.getpid()
