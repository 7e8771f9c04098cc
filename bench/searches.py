"""What a page takes while plans are searched: in search processes, as the server does, and in threads beside the page.

By the clock, since waiting for the interpreter is what it is about: the median of many requests, each way against the
same without any search, in one run.
"""

import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Event, Thread
from typing import Any

from bench.pages import Pages
from bench.plan import question
from bench.timing import row
from server.planning.schedule import planner
from server.planning.schedule.compiled import PLAIN
from server.planning.schedule.problem import Problem
from server.planning.schedule.solve import Budget
from server.services.search_pool import Ears, SearchPool

SEARCHES, PANELS, REQUESTS = 2, 60, 60
PAGES = ("/", "/calendar", "/panels")


def endless(asked: Problem, told: Callable[[Any], bool]) -> None:
    """Search until told to stop."""
    planner.plan(asked, PLAIN, Budget(seconds=3600.0, clock=time.monotonic), told)


def run() -> None:
    print(f"Pages while {SEARCHES} searches of {PANELS} panels run, median of {REQUESTS} requests, by the clock")
    asked = question(PANELS, 1)
    with tempfile.TemporaryDirectory() as folder:
        pages = Pages(folder, PANELS)
        for path in PAGES:
            pages.get(path)
        alone = _median_s(pages)
        row("no search", f"{1000 * alone:.1f} ms")
        with _in_processes(asked):
            _told("in search processes", _median_s(pages), alone)
        with _in_threads(asked):
            _told("in threads of the server, for comparison", _median_s(pages), alone)


def _told(what: str, median_s: float, alone_s: float) -> None:
    row(what, f"{1000 * median_s:.1f} ms", f"{median_s / alone_s:.2f} times as long")


def _median_s(pages: Pages) -> float:
    times = []
    for number in range(REQUESTS):
        begun = time.perf_counter()
        pages.get(PAGES[number % len(PAGES)])
        times.append(time.perf_counter() - begun)
    return statistics.median(times)


@contextmanager
def _in_processes(asked: Problem) -> Iterator[None]:
    pool, is_over, running = SearchPool(SEARCHES + 1), Event(), [Event() for _ in range(SEARCHES)]

    def told(number: int) -> bool:
        running[number].set()
        return not is_over.is_set()

    threads = [
        Thread(target=pool.run, args=(endless, asked), kwargs={"ears": Ears(lambda _, n=n: told(n))})  # type: ignore[misc]
        for n in range(SEARCHES)
    ]
    yield from _while(threads, running, is_over)
    pool.close()


@contextmanager
def _in_threads(asked: Problem) -> Iterator[None]:
    is_over, running = Event(), [Event() for _ in range(SEARCHES)]

    def told(number: int) -> bool:
        running[number].set()
        return not is_over.is_set()

    threads = [Thread(target=endless, args=(asked, lambda _, n=n: told(n))) for n in range(SEARCHES)]
    yield from _while(threads, running, is_over)


def _while(threads: list[Thread], running: list[Event], is_over: Event) -> Iterator[None]:
    for thread in threads:
        thread.start()
    for each in running:
        each.wait(120)
    yield
    is_over.set()
    for thread in threads:
        thread.join(60)
