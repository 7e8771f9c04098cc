"""What a running program searches with: processes, the compiled search as soon as it is there, quiet searches."""

from collections.abc import Callable
from pathlib import Path
from threading import Event
from typing import Any

from server.planning.schedule import compiled, compiling
from server.planning.schedule.odds import odds_of
from server.services.planning_quiet import QUIET, SECONDS
from server.services.search_pool import SEARCHES

_IS_PREPARED = Event()


def prepare(data: Path, processes: int) -> None:
    """Say what searches run with, and have them compiled in the background, once for this machine. Where they are, a
    process is made ready at once, so that the first plan or promise of the day need not wait for one."""
    SEARCHES.set_up(processes, data)
    QUIET.seconds = SECONDS
    compiled.compile_aside(data)
    _IS_PREPARED.set()
    if compiled.is_ready(data):
        expect()


def expect() -> None:
    """Somebody looks at a page from which plans are asked for: have a process ready by then. Starting one, and loading
    the compiled search there, takes longer than most searches. Does nothing before `prepare`."""
    if _IS_PREPARED.is_set():
        SEARCHES.get_ready(rehearse)


def rehearse(_told: Callable[[Any], bool]) -> None:
    """A small question that calls every way into the search and into the odds."""
    odds_of(compiling.example(), compiling.call_every_way(compiled.current()).sittings)
