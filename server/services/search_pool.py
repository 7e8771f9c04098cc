"""Searches in processes of their own, so many at the most: however much is planned, pages have their threads and the
interpreter to themselves.

A process is started when a search needs it, told its work over a pipe, kept for the next one, and ends by itself after
a while without any, or with the program that started it. One that dies in the middle costs nothing but time: its search
is begun anew in another, once, and whoever waits is told so.
"""

import logging
import multiprocessing
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from threading import Condition, Thread
from typing import Any, Literal

from server.planning.schedule import threads
from server.services import search_worker
from server.services.errors import Refused

Kind = Literal["quick", "call", "long", "quiet"]
PROCESSES = 3
MOST_WAITING = 3  # quick ones that wait for a process; each keeps a thread that pages need
WAIT_S = 60.0
ENDS_WITHIN_S = 2.0
BUSY = "Several plans are being worked out already. Try again in a minute."
CUT_OFF = "The search was cut off. Nothing was changed. Try again."
log = logging.getLogger("umberday.searches")


class _Lost(Exception):
    """The process at the other end of the pipe is gone."""


@dataclass(slots=True, eq=False)
class _Worker:
    process: BaseProcess
    pipe: Connection
    job: int = 0


@dataclass(frozen=True, slots=True)
class Ears:
    """Who hears of a search: ``told`` of its progress, and answers False where it is to stop; ``anew`` when it had to
    begin anew."""

    told: Callable[[Any], bool] = lambda _: True
    anew: Callable[[], None] = lambda: None


class SearchPool:
    """At most ``most`` processes. ``data``: the folder with the compiled search, None for the plain one."""

    def __init__(self, most: int = PROCESSES, data: Path | None = None) -> None:
        self._free = Condition()
        self._idle: list[_Worker] = []
        self._all: list[_Worker] = []
        self._busy: Counter[str] = Counter()
        self._waiting = 0
        self._is_closed = False
        self._is_rehearsing = False
        self.set_up(most, data)

    def set_up(self, most: int, data: Path | None) -> None:
        """What it runs with, before the first search."""
        self.most, self._data = most, data

    @property
    def is_getting_ready(self) -> bool:
        return self._is_rehearsing

    @property
    def processes(self) -> list[int]:
        """The ids of the processes that there are."""
        with self._free:
            return [w.process.pid for w in self._all if w.process.pid is not None and w.process.is_alive()]

    def run(self, work: Callable[..., Any], *args: Any, kind: Kind = "quick", ears: Ears | None = None) -> Any:
        """What ``work(*args, told)`` answers or raises there; all of it must be picklable.

        Quick searches wait for a process, some of them; long ones and quiet ones do not wait, and together with calls
        leave one process to the quick. Raises ``Refused`` where there is no room, or where two processes died over it.
        """
        ears = ears or Ears()
        with self._place(kind):
            for attempt in (1, 2):
                worker = self._take()
                try:
                    answer = _ask(worker, (work, args, self._data, threads.share(self._running)), ears)
                except _Lost:
                    self._bury(worker)
                    if self._is_closed:
                        raise Refused("The program is ending. Nothing was changed.") from None
                    log.warning("a search process ended unexpectedly (attempt %d)", attempt)
                    ears.anew()
                    continue
                except BaseException:
                    self._bury(worker)
                    raise
                self._give_back(worker)
                break
            else:
                raise Refused(CUT_OFF)
        if answer.fault is not None:
            raise answer.fault
        return answer.value

    @property
    def _running(self) -> int:
        with self._free:
            return self._busy.total()

    def get_ready(self, rehearsal: Callable[..., Any]) -> None:
        """Where there is no process, start one in the background and have it do ``rehearsal(told)``, so that the first
        search finds it awake. Never waits; calling it again changes nothing."""
        with self._free:
            if self._is_closed or self._is_rehearsing or any(w.process.is_alive() for w in self._all):
                return
            self._is_rehearsing = True
        Thread(target=self._rehearse, args=(rehearsal,), daemon=True).start()

    def _rehearse(self, rehearsal: Callable[..., Any]) -> None:
        try:
            self.run(rehearsal)
        except Refused:
            log.info("no process got ready before the first search")
        finally:
            with self._free:
                self._is_rehearsing = False

    def close(self) -> None:
        """End all processes; searches that run are cut off."""
        with self._free:
            self._is_closed = True
            workers, self._all, self._idle = self._all, [], []
        for worker in workers:
            worker.process.terminate()
        for worker in workers:
            worker.process.join(ENDS_WITHIN_S)
            if worker.process.is_alive():
                worker.process.kill()
            worker.pipe.close()

    @contextmanager
    def _place(self, kind: Kind) -> Iterator[None]:
        with self._free:
            if not self._has_room(kind):
                self._wait(kind)
            self._busy[kind] += 1
        try:
            yield
        finally:
            with self._free:
                self._busy[kind] -= 1
                self._free.notify_all()

    def _wait(self, kind: Kind) -> None:
        if kind in ("long", "quiet") or (kind == "quick" and self._waiting >= MOST_WAITING):
            raise Refused(BUSY)
        self._waiting += kind == "quick"
        try:
            if not self._free.wait_for(lambda: self._has_room(kind), WAIT_S if kind == "quick" else None):
                raise Refused(BUSY)
        finally:
            self._waiting -= kind == "quick"

    def _has_room(self, kind: Kind) -> bool:
        if self._busy.total() >= self.most:
            return False
        patient = sum(self._busy[one] for one in ("call", "long", "quiet"))
        if kind != "quick" and patient >= max(1, self.most - 1):
            return False
        return kind not in ("long", "quiet") or self._busy[kind] < max(1, (self.most - 1) // 2)

    def _take(self) -> _Worker:
        with self._free:
            while self._idle:
                worker = self._idle.pop()
                if worker.process.is_alive():
                    return worker
                self._all.remove(worker)
                worker.pipe.close()
        return self._start()

    def _start(self) -> _Worker:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(target=search_worker.serve, args=(theirs,), name="search", daemon=True)
        process.start()
        theirs.close()  # so that the pipe ends when the process does
        worker = _Worker(process, ours)
        with self._free:
            self._all.append(worker)
        return worker

    def _give_back(self, worker: _Worker) -> None:
        with self._free:
            if worker in self._all:
                self._idle.append(worker)

    def _bury(self, worker: _Worker) -> None:
        with self._free:
            if worker in self._all:
                self._all.remove(worker)
        with suppress(OSError):
            worker.process.kill()
            worker.pipe.close()


def _ask(worker: _Worker, asked: tuple[Callable[..., Any], tuple[Any, ...], Path | None, int], ears: Ears) -> Any:
    """Have it done there; raises ``_Lost`` when the process is gone before it answers."""
    worker.job += 1
    try:
        worker.pipe.send(search_worker.Job(worker.job, *asked))
        while True:
            heard = worker.pipe.recv()
            if isinstance(heard, search_worker.Answer):
                return heard
            if not ears.told(heard):
                worker.pipe.send(search_worker.Stop(worker.job))
    except (EOFError, ConnectionError) as gone:
        raise _Lost from gone


SEARCHES = SearchPool()
