"""The scales of learning: of a small studio learned at once, of a large one when idle, on one thread of one process.

A small studio's are learned from its first tests, as many as the ladder of counts says, so that they change now and
then and the same tests always give the same dates. A large studio's are learned beside the requests whenever its tests
have grown by a seventh, and kept in the database, so that every process shows the same dates and a restart forgets
nothing. Whoever begins to learn them claims them first; a claim that is never kept runs out. Until they are known,
draws from their priors stand for them, so that ranges are rather too wide than too narrow.
"""

import logging
import queue
import secrets
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from functools import cache
from typing import Any

import numpy as np
from sqlalchemy import insert, select, update
from sqlalchemy.exc import IntegrityError
from sqlmodel import col

from server.science.learning import Evidence, Priors, Scales, Settings
from server.science.learning.likelihood import cases
from server.science.learning.scales import learn_scales
from server.science.learning.types import STANDARD
from server.services.kept import Kept
from server.store.db import Database
from server.store.tables import LearnedScales

AT_ONCE = 60  # tests: some sixty milliseconds
LADDER = (0, 1, 2, 3, 4, 6, 8, 10, 13, 16, 20, 25, 31, 38, 47, 58)
GROWN = 1.15
SCALES_KEPT = 512
MODEL = "1"  # of what is kept: another one is learned anew
CLAIM_HOLDS = timedelta(minutes=10)  # five thousand tests take a quarter of a minute
FIELDS = ("sigma", "sigma_o", "tacky_shift", "firm_shift", "scale")
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Given:
    """What scales are learned from."""

    evidence: tuple[Evidence, ...]
    priors: Priors

    @property
    def tests(self) -> int:
        return sum(len(each.presses) for each in self.evidence)

    def learned(self, start: Scales | None = None) -> Scales:
        """The scales, climbed to from those of before."""
        return learn_scales(cases(self.evidence, self.priors), STANDARD, None if start is None else start.settings)


@dataclass(frozen=True, slots=True)
class Stored:
    """A studio's scales as the database has them; ``scales`` is None while none were learned."""

    tests: int = 0
    scales: Scales | None = None
    claimed_at: datetime | None = None

    def suit(self, tests: int) -> bool:
        """Whether they were learned from about so many tests."""
        return self.scales is not None and self.tests / GROWN <= tests <= GROWN * self.tests

    def is_claimed(self, now: datetime) -> bool:
        """Whether somebody is learning them."""
        return self.claimed_at is not None and self.claimed_at > now - CLAIM_HOLDS


NONE_STORED = Stored()


def rung_below(tests: int) -> int:
    """From how many of so many tests a small studio's scales are learned."""
    return max(rung for rung in LADDER if rung <= tests)


@cache
def prior_scales() -> Scales:
    """Draws from the priors of the scales: what is known without any test."""
    return Given((), Priors()).learned()


_small: Kept[Scales] = Kept(SCALES_KEPT)


def at_once(given: Given) -> Scales:
    """The scales of a few tests."""
    found = _small.get(given.evidence)
    if found is None:
        found = given.learned()
        _small.keep({given.evidence: found})
    return found


# As the database keeps them


def scales_to_json(scales: Scales) -> dict[str, Any]:
    """Scales as plain JSON; every number comes back to the last bit."""
    return {
        "settings": _numbers(scales.settings),
        "sd": [float(each) for each in scales.sd],
        "draws": [_numbers(draw) for draw in scales.draws],
    }


def scales_from_json(told: Mapping[str, Any]) -> Scales:
    """The inverse of ``scales_to_json``."""
    return Scales(_settings(told["settings"]), np.array(told["sd"]), tuple(_settings(draw) for draw in told["draws"]))


def _numbers(settings: Settings) -> list[float]:
    return [float(getattr(settings, name)) for name in FIELDS]


def _settings(numbers: list[float]) -> Settings:
    sigma, sigma_o, tacky_shift, firm_shift, scale = numbers
    return Settings(sigma, sigma_o, tacky_shift=tacky_shift, firm_shift=firm_shift, scale=scale)


_parsed: Kept[Scales] = Kept(SCALES_KEPT)


def stored_of(row: Any) -> Stored:
    """What columns of ``learned_scales`` say, read beside something else; all are None where there is no row."""
    if row.scales_json is None or row.model != MODEL:
        return Stored(claimed_at=row.claimed_at)
    key = (row.scales_id, row.scales_revision, row.learned_at)
    found = _parsed.get(key)
    if found is None:
        found = scales_from_json(row.scales_json)
        _parsed.keep({key: found})
    return Stored(row.scales_tests, found, row.claimed_at)


STORED_COLUMNS: tuple[Any, ...] = (
    col(LearnedScales.id).label("scales_id"),
    col(LearnedScales.revision).label("scales_revision"),
    col(LearnedScales.tests).label("scales_tests"),
    *(col(LearnedScales.model), col(LearnedScales.scales_json)),
    *(col(LearnedScales.learned_at), col(LearnedScales.claimed_at)),
)


def revision_of(studio_id: int) -> Any:
    """Grows whenever the studio's scales were learned anew; part of a query."""
    return select(col(LearnedScales.revision)).where(col(LearnedScales.studio_id) == studio_id).scalar_subquery()


# Learned when idle


@dataclass(frozen=True, slots=True)
class Task:
    """Scales to be learned: of which studio of which database, from what, beginning with those of before."""

    db: Database
    studio_id: int
    given: Given
    before: Scales | None


class IdleLearning:
    """One thread of this process that learns scales one after the other. It starts with the first task and never holds
    the process up when that ends: what it claimed runs out."""

    def __init__(self, clock: Callable[[], datetime] = lambda: datetime.now(timezone.utc)) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._tasks: queue.SimpleQueue[Task] = queue.SimpleQueue()
        self._waiting: set[tuple[int, int]] = set()
        self._thread: threading.Thread | None = None

    def scales_of(self, task: Task, stored: Stored) -> Scales:
        """The studio's scales as far as they are known; sees to it that they are learned where tests have grown."""
        if not stored.suit(task.given.tests) and not stored.is_claimed(self._clock()):
            self._ask_for(task)
        return prior_scales() if stored.scales is None else stored.scales

    def _ask_for(self, task: Task) -> None:
        key = (id(task.db), task.studio_id)
        with self._lock:
            if key in self._waiting:
                return
            self._waiting.add(key)
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="learning", daemon=True)
                self._thread.start()
        self._tasks.put(task)

    def _work(self) -> None:
        while True:
            task = self._tasks.get()
            try:
                learn_and_keep(task, self._clock)
            except Exception:  # the database may be gone; the next request asks again
                _log.exception("The scales of learning could not be learned")
            finally:
                with self._lock:
                    self._waiting.discard((id(task.db), task.studio_id))


def learn_and_keep(task: Task, clock: Callable[[], datetime]) -> bool:
    """Learn a studio's scales and keep them; False where another process is at it or was."""
    mine = secrets.token_urlsafe(12)
    if not _claim(task, mine, clock()):
        return False
    try:
        scales = task.given.learned(task.before)
    except BaseException:
        _release(task, mine, {})
        raise
    learned = {
        "revision": col(LearnedScales.revision) + 1,
        "tests": task.given.tests,
        "model": MODEL,
        "scales_json": scales_to_json(scales),
        "learned_at": clock(),
    }
    _release(task, mine, learned)
    return True


def _claim(task: Task, mine: str, now: datetime) -> bool:
    of_studio = col(LearnedScales.studio_id) == task.studio_id
    claim = {"claimed_by": mine, "claimed_at": now}
    try:
        with task.db.write() as session:
            row = session.execute(select(*STORED_COLUMNS).where(of_studio).with_for_update()).first()
            if row is None:
                fresh = {"studio_id": task.studio_id, "revision": 0, "tests": 0, "model": ""}
                session.execute(insert(LearnedScales).values(**fresh, **claim))
                return True
            stored = stored_of(row)
            if stored.is_claimed(now) or stored.suit(task.given.tests):
                return False
            session.execute(update(LearnedScales).where(of_studio).values(**claim))
            return True
    except IntegrityError:  # PostgreSQL: another process made the row in the same moment
        return False


def _release(task: Task, mine: str, learned: Mapping[str, Any]) -> None:
    """Give the claim back, with what was learned; nothing is written once it has run out and is another's."""
    held = (col(LearnedScales.studio_id) == task.studio_id, col(LearnedScales.claimed_by) == mine)
    with task.db.write() as session:
        session.execute(update(LearnedScales).where(*held).values(**learned, claimed_by="", claimed_at=None))


IDLE = IdleLearning()
