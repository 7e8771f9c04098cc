"""Searches that take longer than a page may: told of as they go, stopped when the painter likes, their best kept.

One at a time for a studio, in a search process; a thread here waits for it and holds no session. What it found is kept
in memory until it is taken. When the program ends, so does the search: nothing was changed by it.
"""

import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from threading import Event, Lock, Thread
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator

from server.planning.schedule.solve import Progress
from server.services.errors import Refused
from server.services.planning_asked import Asked, Effort, PlanMake
from server.services.planning_make import worked_out_apart
from server.services.search_pool import Ears

LENGTHS_S = (30, 120, 600)
ENDS_WITHIN_S = 20.0  # a search that is stopped finishes its turn, is proved, and its reasons are worked out


Seconds = Annotated[Literal[30, 120, 600], BeforeValidator(lambda text: int(text) if str(text).isdigit() else text)]


class LongMake(PlanMake):
    """What a plan is made with, and for how long it is searched."""

    seconds: Seconds = 30

    def plan(self) -> PlanMake:
        """The same without how long."""
        return PlanMake.model_validate(self.model_dump(exclude={"seconds"}))


@dataclass(slots=True)
class LongSearch:
    """``share`` of its time that is over, ``cost`` of the best plan so far and of the first, ``content`` once done.
    ``was_lost``: its process ended unexpectedly, and it was begun anew."""

    studio_id: int
    seconds: int
    begun: float = field(default_factory=time.monotonic)
    share: float = 0.0
    first_cost: float | None = None
    cost: float | None = None
    content: Mapping[str, Any] | None = None
    fault: str = ""
    was_lost: bool = False
    is_stopped: Event = field(default_factory=Event)
    is_over: Event = field(default_factory=Event)

    @property
    def state(self) -> Literal["running", "done", "failed"]:
        if not self.is_over.is_set():
            return "running"
        return "failed" if self.fault else "done"

    def hear(self, progress: Progress) -> bool:
        """Note how far it is; False where it is to stop."""
        self.share = min(1.0, (time.monotonic() - self.begun) / self.seconds)
        self.first_cost = progress.best if self.first_cost is None else self.first_cost
        self.cost = progress.best
        return not self.is_stopped.is_set()

    def begin_anew(self) -> None:
        self.begun, self.share, self.was_lost = time.monotonic(), 0.0, True


class LongSearches:
    """Of each studio the search that runs, or ran last."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._last: dict[int, LongSearch] = {}

    def start(self, asked: Asked, studio_id: int, seconds: int) -> LongSearch:
        """Begin one. Raises ``Refused`` while another of the studio runs."""
        with self._lock:
            last = self._last.get(studio_id)
            if last is not None and last.state == "running":
                raise Refused("A long search is running already. Wait for it, or stop it first.")
            self._last[studio_id] = search = LongSearch(studio_id, seconds)
        Thread(target=_run, args=(search, asked), name="long search", daemon=True).start()
        return search

    def of(self, studio_id: int) -> LongSearch | None:
        """The studio's own, running or waiting to be taken; no other studio hears of it."""
        return self._last.get(studio_id)

    def end(self, studio_id: int) -> Mapping[str, Any]:
        """Stop the studio's search where it still runs, and take what it found. Raises ``Refused`` without any."""
        search = self.of(studio_id)
        if search is None:
            raise Refused("No search is running.")
        search.is_stopped.set()
        if not search.is_over.wait(ENDS_WITHIN_S):
            raise Refused("The search is coming to its end. Try again in a moment.")
        if search.content is None:
            raise Refused(search.fault)
        return search.content

    def forget(self, studio_id: int) -> None:
        """What was found is kept as a plan now."""
        with self._lock:
            self._last.pop(studio_id, None)


def _run(search: LongSearch, asked: Asked) -> None:
    try:
        ears = Ears(search.hear, search.begin_anew)
        search.content = worked_out_apart(asked, Effort(seconds=search.seconds), "long", ears)
    except Refused as fault:
        search.fault = fault.message
    except Exception:
        search.fault = "The search broke off. Nothing was changed."
        raise
    finally:
        search.is_over.set()


LONG = LongSearches()
