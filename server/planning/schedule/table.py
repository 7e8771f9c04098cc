"""What the search looks up by window: lists of whole numbers, one after the other."""

from collections.abc import Sequence

import numpy as np

from server.planning.schedule.tables import Tables


class Table:
    """Lists of whole numbers, one after the other; those of drying requirements are put down once each."""

    def __init__(self, made: Tables) -> None:
        self._made = made
        self._parts: list[np.ndarray] = []
        self._length = 0
        self._rows: dict[tuple[str, int], int] = {}
        self._ended: dict[tuple[str, int], np.ndarray] = {}

    def put(self, numbers: Sequence[int] | np.ndarray) -> int:
        """Where the list begins."""
        begin = self._length
        self._parts.append(np.asarray(numbers, dtype=np.int32))
        self._length += len(numbers)
        return begin

    def row(self, kind: str, number: int) -> int:
        """Where a row of `tables.Tables` begins."""
        if (kind, number) not in self._rows:
            self._rows[kind, number] = self.put(self._made.rows[kind][number])
        return self._rows[kind, number]

    def ended(self, kind: str, number: int, last: int) -> np.ndarray:
        """A row of `tables.Tables` with one number more; not to be changed."""
        if (kind, number) not in self._ended:
            self._ended[kind, number] = np.append(self._made.rows[kind][number], np.int32(last))
        return self._ended[kind, number]

    def joined(self) -> np.ndarray:
        return np.concatenate([*self._parts, np.zeros(1, np.int32)])
