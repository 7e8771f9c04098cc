"""From the press of a button that sets the plan right until its list of changes can be seen, and until all is told.

By the clock, with a search process as a running studio has one; and in CPU of all that is on the way to the list, which
other work on the machine does not change.
"""

import pickle
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any
from unittest.mock import patch

from bench.pages import Pages
from bench.timing import cpu_s
from server.planning.schedule import threads
from server.planning.schedule.repair import search_s
from server.services import planning_first, planning_make
from server.services.planning_asked import Effort
from server.services.planning_first import FIRSTS
from server.services.search_pool import Ears, SearchPool
from server.services.search_worker import Part
from server.web.serve import run_evenly

STUDIO, FRIDAY = 1, 5
LIST = b"What it changes"
LATEST_S = 120.0
ADDRESS = re.compile(rb"/plan/([\w-]+)/dismiss")


@dataclass(frozen=True, slots=True)
class Waited:
    """Seconds: until the list is seen, by the clock and in CPU on the way; by the clock until all of it is told."""

    seen: float
    seen_cpu: float
    told: float


class _Ends(Exception):
    """The first part is there."""


class _Here:
    """In place of search processes: what one does is done here, up to the first part of an answer; all is sent there
    and back. One thread searches for as long as all would together: what the others do meanwhile is not on the way."""

    def run(
        self, work: Callable[..., Any], asked: Any, _effort: Any, kind: str = "quick", ears: Ears | None = None
    ) -> Any:
        ears = ears or Ears()

        def told(heard: Any) -> bool:
            if isinstance(heard, Part):
                ears.told(pickle.loads(pickle.dumps(heard)))
                raise _Ends
            return True

        effort = Effort(seconds=search_s(threads.share(1)))
        return pickle.loads(pickle.dumps(work(pickle.loads(pickle.dumps(asked)), effort, told)))


def waited(pages: Pages, data: Path | None, repeats: int, least: int | None) -> Waited:
    """``least``: the panels from which on the first part is answered with; None: the whole is."""
    run_evenly()  # as a running program does
    seen, told = [], []
    before, FIRSTS.least = FIRSTS.least, least
    try:
        with _searching(SearchPool(1, data)):
            for _ in range(repeats + 1):  # the first time everything is new to the process
                begun = time.perf_counter()
                _press(pages)
                seen.append(time.perf_counter() - begun)
                FIRSTS.wait(STUDIO, LATEST_S)
                told.append(time.perf_counter() - begun)
                _put_back(pages)
        with _searching(_Here()), patch.object(planning_first.log, "warning"):  # that it ends there is meant
            cpu = min(_cpu(pages) for _ in range(repeats))
    finally:
        FIRSTS.least = before
    return Waited(min(seen), cpu, min(told))


def _cpu(pages: Pages) -> float:
    spent = cpu_s(lambda: _press(pages), 1)
    FIRSTS.wait(STUDIO, LATEST_S)
    _put_back(pages)
    return spent


def _press(pages: Pages) -> None:
    """Nobody paints on the next day of the week: the answer is a plan, and the page that it leads to lists what that
    changes."""
    days = (pages.now.date() + timedelta(days=n) for n in range(1, 4))
    on = next(day for day in days if day.isoweekday() <= FRIDAY)
    pages.post("/plan/right", {"event": "no_painting", "on": f"{on}"})
    if LIST not in pages.get("/plan"):
        raise RuntimeError("no plan waits")


def _put_back(pages: Pages) -> None:
    found = ADDRESS.search(pages.get("/plan"))
    assert found is not None
    pages.post(f"/plan/{found[1].decode()}/dismiss", {})


@contextmanager
def _searching(pool: Any) -> Iterator[None]:
    with patch.object(planning_make, "SEARCHES", pool), patch.object(planning_first, "SEARCHES", pool):
        try:
            yield
        finally:
            if isinstance(pool, SearchPool):
                pool.close()
