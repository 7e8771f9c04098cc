"""The scales of learning: of a small studio learned at once, of a large one when idle, on one thread of the process.

A small studio's are learned from its first tests, as many as the ladder of counts says, so that they change now and
then and the same tests always give the same dates. Until a large studio's scales are known, draws from their priors
stand for them, so that ranges are rather too wide than too narrow; they are learned anew when the tests have grown by a
seventh, and every page then shows the dates that follow. They are kept by the process alone: they say nothing that the
tests do not.
"""

import threading
from collections import Counter
from collections.abc import Callable, Hashable
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache

from server.science.learning import Evidence, Priors, Scales
from server.science.learning.likelihood import cases
from server.science.learning.scales import learn_scales
from server.science.learning.types import STANDARD
from server.services.kept import Kept

AT_ONCE = 60  # tests: some sixty milliseconds
LADDER = (0, 1, 2, 3, 4, 6, 8, 10, 13, 16, 20, 25, 31, 38, 47, 58)
GROWN = 1.15
SCALES_KEPT = 512


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


def rung_below(tests: int) -> int:
    """From how many of so many tests a small studio's scales are learned."""
    return max(rung for rung in LADDER if rung <= tests)


@cache
def prior_scales() -> Scales:
    """Draws from the priors of the scales: what is known without any test."""
    return Given((), Priors()).learned()


class StudioScales:
    """The scales of studios. ``number_of`` one grows whenever its were learned, so that kept rows know of it."""

    def __init__(self, executor: Callable[[], Executor]) -> None:
        self._make = executor
        self._executor: Executor | None = None
        self._lock = threading.Lock()
        self._small: Kept[Scales] = Kept(SCALES_KEPT)
        self._known: dict[Hashable, tuple[int, Scales]] = {}
        self._asked: set[Hashable] = set()
        self._numbers: Counter[Hashable] = Counter()

    def number_of(self, studio: Hashable) -> int:
        """How often the studio's scales were learned."""
        return self._numbers[studio]

    def of(self, studio: Hashable, given: Given) -> Scales:
        """The studio's scales as far as they are known; asks for them to be learned anew when tests have grown."""
        if given.tests <= AT_ONCE:
            return self.at_once(given)
        self._ask_for(studio, given)
        with self._lock:
            known = self._known.get(studio)
        return prior_scales() if known is None else known[1]

    def at_once(self, given: Given) -> Scales:
        """The scales of a few tests."""
        found = self._small.get(given.evidence)
        if found is None:
            found = given.learned()
            self._small.keep({given.evidence: found})
        return found

    def _ask_for(self, studio: Hashable, given: Given) -> None:
        with self._lock:
            learned_at = self._known.get(studio, (0, None))[0]
            if studio in self._asked or learned_at / GROWN <= given.tests <= GROWN * learned_at:
                return
            self._asked.add(studio)
            if self._executor is None:
                self._executor = self._make()
        self._executor.submit(self._learn, studio, given)

    def _learn(self, studio: Hashable, given: Given) -> None:
        try:
            before = self._known.get(studio)
            scales = given.learned(None if before is None else before[1])
            with self._lock:
                self._known[studio] = (given.tests, scales)
                self._numbers[studio] += 1
        finally:
            with self._lock:
                self._asked.discard(studio)


SCALES = StudioScales(lambda: ThreadPoolExecutor(1, thread_name_prefix="learning"))
