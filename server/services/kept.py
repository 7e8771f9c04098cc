"""A bounded, thread-safe store of answers that cost something to work out; least recently used out first."""

import threading
from collections import OrderedDict
from collections.abc import Hashable, Iterable, Mapping
from typing import Generic, TypeVar

V = TypeVar("V")


class Kept(Generic[V]):
    """Answers by key. Keys stand for the whole content of a question, so nothing here ever goes stale."""

    def __init__(self, capacity: int) -> None:
        self._capacity = capacity
        self._answers: OrderedDict[Hashable, V] = OrderedDict()
        self._lock = threading.Lock()

    def __len__(self) -> int:
        return len(self._answers)

    def get(self, key: Hashable) -> V | None:
        with self._lock:
            answer = self._answers.get(key)
            if answer is not None:
                self._answers.move_to_end(key)
            return answer

    def among(self, keys: Iterable[Hashable]) -> dict[Hashable, V]:
        """The answers there are for ``keys``."""
        found = {}
        with self._lock:
            for key in keys:
                answer = self._answers.get(key)
                if answer is not None:
                    self._answers.move_to_end(key)
                    found[key] = answer
        return found

    def keep(self, answers: Mapping[Hashable, V]) -> None:
        with self._lock:
            self._answers.update(answers)
            while len(self._answers) > self._capacity:
                self._answers.popitem(last=False)
