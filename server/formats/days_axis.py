"""An axis of days on which half as long and twice as long are equally far from a day."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import log

LEAST_D = 0.1
TICKS = (0.25, 0.5, 1.0, 2.0, 4.0, 7.0, 14.0, 28.0, 60.0, 120.0, 240.0, 480.0)


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark of the axis and its days."""

    x: float
    words: str


@dataclass(frozen=True, slots=True)
class DaysAxis:
    """From ``left`` to ``right`` the logarithms ``low`` to ``high`` of days."""

    left: float
    right: float
    low: float
    high: float

    @classmethod
    def over(cls, days: Iterable[float], left: float, right: float) -> "DaysAxis":
        """An axis that holds all of these days. Raises ValueError for none."""
        known = list(days)
        if not known:
            raise ValueError("no days")
        return cls(left, right, log(max(min(known), LEAST_D)) - 0.1, log(max(*known, LEAST_D)) + 0.1)

    def x_of(self, day: float) -> float:
        """Where a day stands; what lies beyond the ends stands at them."""
        share = (log(max(day, LEAST_D)) - self.low) / (self.high - self.low)
        return round(self.left + min(1.0, max(0.0, share)) * (self.right - self.left), 1)

    def ticks(self) -> tuple[Tick, ...]:
        """The round numbers of days within the axis."""
        return tuple(Tick(self.x_of(day), f"{day:g}") for day in TICKS if self.low <= log(day) <= self.high)
