"""The other end of the pipe: a process that searches when it is told to, one search after the other.

It gives way to whatever answers pages, ends when nothing was asked of it for a while, and with the program that
started it, however that ended.
"""

import gc
import os
import pickle
import signal
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import parent_process
from multiprocessing.connection import Connection
from pathlib import Path
from threading import Thread
from typing import Any

from server.planning.schedule import compiled, threads

IDLE_S = 600.0
TOLD_EVERY_S = 0.2
POLITE = 10
# Problems and plans are hundreds of thousands of objects without cycles; to look through them again and again while
# they are read and told took 0.1 to 0.3 s of a plan of 1,200 sittings (measured with the collector off and on).
COLLECT = (50_000, 50, 50)


@dataclass(frozen=True, slots=True)
class Job:
    """``work(*args, told)``, with the compiled search where the folder ``data`` holds it, in so many threads."""

    number: int
    work: Callable[..., Any]
    args: tuple[Any, ...]
    data: Path | None
    threads: int = 1


@dataclass(frozen=True, slots=True)
class Stop:
    """The job of this number is to come to its end."""

    number: int


@dataclass(frozen=True, slots=True)
class Part:
    """What can be told of an answer before the rest of it is worked out."""

    value: Any


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of a job, or the fault that was raised."""

    value: Any = None
    fault: BaseException | None = None


def serve(pipe: Connection) -> None:
    """Do what comes over the pipe until it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the program, which then ends this process
    with suppress(AttributeError, OSError):
        os.nice(POLITE)
    Thread(target=_end_with_parent, daemon=True).start()
    gc.freeze()
    gc.set_threshold(*COLLECT)
    with suppress(EOFError, OSError):
        while pipe.poll(IDLE_S):
            job = pipe.recv()
            if isinstance(job, Job):
                _send(pipe, _done(job, pipe))
                del job
                gc.collect()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(0)


def _done(job: Job, pipe: Connection) -> Answer:
    threads.allow(job.threads)
    if job.data is not None:
        compiled.choose(job.data)
    try:
        return Answer(job.work(*job.args, _Teller(job.number, pipe).tell))
    except Exception as fault:
        fault.add_note(traceback.format_exc())  # frames stay here when the fault is sent
        return Answer(fault=fault)


class _Teller:
    """Sends the progress of a job now and then, a part of its answer at once, and hears whether it is to stop."""

    def __init__(self, number: int, pipe: Connection) -> None:
        self._number, self._pipe = number, pipe
        self._told = 0.0
        self._is_stopped = False

    def tell(self, progress: Any) -> bool:
        now = time.monotonic()
        if isinstance(progress, Part) or now - self._told >= TOLD_EVERY_S:
            self._told = now
            self._pipe.send(progress)
            while self._pipe.poll():
                heard = self._pipe.recv()
                self._is_stopped |= isinstance(heard, Stop) and heard.number == self._number
        return not self._is_stopped


def _send(pipe: Connection, answer: Answer) -> None:
    try:
        sent = pickle.dumps(answer)
        pickle.loads(sent)  # noqa: S301 - our own; some faults cannot be made again from what they hold
    except Exception as fault:
        told = f"{fault}; {answer.fault!r}"
        pipe.send(Answer(fault=RuntimeError(f"what a search came to cannot be sent: {told}")))
        return
    pipe.send_bytes(sent)
