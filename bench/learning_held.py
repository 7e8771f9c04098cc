"""What was foretold of layers held back, against what came."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

Z = {50: 0.674490, 80: 1.281552, 95: 1.959964}


@dataclass
class Held:
    """Errors of predicted medians, those of the book, and which ranges held."""

    errors: list[float] = field(default_factory=list)
    book: list[float] = field(default_factory=list)
    within: dict[int, list[bool]] = field(default_factory=lambda: {level: [] for level in Z})

    def add(self, found: tuple[float, Callable[[float], float]], moment: float, log_book: float) -> None:
        middle, quantile = found
        self.errors.append(abs(middle - moment))
        self.book.append(abs(log_book - moment))
        for level, inside in self.within.items():
            low, high = quantile(0.5 - level / 200), quantile(0.5 + level / 200)
            inside.append(low < moment < high)

    def gain(self) -> float:
        return 1 - float(np.median(self.errors) / np.median(self.book))

    def covers(self, level: int) -> float:
        return 100 * float(np.mean(self.within[level]))


def met(is_met: bool | np.bool, bar: str) -> str:
    return f"bar: {bar}: {'met' if is_met else 'MISSED'}"
