"""A bounded, thread-safe store of answers that cost something to work out; least recently used out first."""

import threading
from collections import OrderedDict
from collections.abc import Hashable, Iterable, Mapping
from typing import Any, Generic, TypeVar

V = TypeVar("V")
CONTENTS_KEPT = 40_000


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


class Content:
    """A key that is hashed once however often it is looked up, for what takes long to hash.

    `content` gives the same one for equal contents as long as it is kept, so that two are seldom compared in full."""

    __slots__ = ("_hash", "of")

    def __init__(self, of: Hashable) -> None:
        self.of = of
        self._hash = hash(of)

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other: object) -> bool:
        return self is other or (isinstance(other, Content) and self._hash == other._hash and self.of == other.of)

    def __repr__(self) -> str:
        return repr((type(self).__name__, self.of))

    def __reduce__(self) -> tuple[Any, ...]:
        return content, (self.of,)  # in another process it has another hash


_CONTENTS: Kept[Content] = Kept(CONTENTS_KEPT)


def content(of: Hashable) -> Content:
    """The one that is kept for ``of``, for what goes into many keys."""
    found = _CONTENTS.get(of)
    if found is None:
        found = Content(of)
        _CONTENTS.keep({of: found})
    return found
