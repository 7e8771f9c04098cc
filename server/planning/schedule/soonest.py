"""The first day of delivery from each window, as if all that comes above a sitting stood as soon as it can.

Layers above which the same waits come share one list: it is worked out once, and put down once.
"""

from collections.abc import Callable, Hashable
from dataclasses import dataclass

import numpy as np

from server.planning.schedule.table import Table

FAR_DAY = 10**8


@dataclass(slots=True, eq=False)
class Days:
    """A day for each window and for none; ``begin``: where they are put down, once they are."""

    of_window: np.ndarray
    begin: int | None = None


class Soonest:
    """The lists of one question. They are told apart by what they are made of."""

    def __init__(self, table: Table, window_count: int) -> None:
        self._table, self._window_count = table, window_count
        self._made: dict[Hashable, Days] = {}

    def at_last(self, finish: int) -> Days:
        """Of a sitting above which nothing comes, by the number of its panel's row of days."""
        return self._once(finish, lambda: self._table.ended("finish", finish, FAR_DAY))

    def below(self, above: Days, lo: int) -> Days:
        """Of one that has to dry before that above it, by the number of the row of windows by which it is ready."""
        ready = self._table.ended("lo", lo, self._window_count)
        return self._once((above, lo), lambda: above.of_window[ready])

    def later(self, one: Days, other: Days) -> Days:
        """Of one that two others follow."""
        return self._once((one, other, "later"), lambda: np.maximum(one.of_window, other.of_window))

    def begin_of(self, days: Days) -> int:
        """Where the list begins."""
        if days.begin is None:
            days.begin = self._table.put(days.of_window[:-1])
        return days.begin

    def _once(self, key: Hashable, make: Callable[[], np.ndarray]) -> Days:
        found = self._made.get(key)
        if found is None:
            found = self._made[key] = Days(make())
        return found
