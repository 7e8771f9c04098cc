"""Threat: a sensor gone wild, or somebody who tries tokens, that keeps the studio's one writer busy. Each key may do
so much in a burst and so much a minute; what is more is told to wait. Kept by the process alone."""

import threading
import time
from collections import OrderedDict
from collections.abc import Callable

KEYS_KEPT = 4096


class Throttle:
    """``burst`` at once, then ``per_minute``; keys are forgotten least recently used first."""

    def __init__(self, burst: int, per_minute: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._burst, self._per_s, self._clock = float(burst), per_minute / 60.0, clock
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._lock = threading.Lock()

    def wait_s(self, key: str) -> float:
        """0 when one more is allowed, which it then counts; else the seconds until one is."""
        now = self._clock()
        with self._lock:
            left, before = self._left.pop(key, (self._burst, now))
            left = min(self._burst, left + (now - before) * self._per_s)
            allowed = left >= 1.0
            self._left[key] = (left - 1.0 if allowed else left, now)
            while len(self._left) > KEYS_KEPT:
                self._left.popitem(last=False)
        return 0.0 if allowed else (1.0 - left) / self._per_s
