"""From chances to the days that are named: the shortest run of days that holds most of the chance.

A single day is never named alone: even the most likely one is wrong more often than not.
"""

from collections.abc import Sequence
from dataclasses import dataclass

HOLDS = 0.8
STANDS_OUT = 1.25  # times the mean of the run's days: only then one day is worth naming beside the run


@dataclass(frozen=True, slots=True)
class Run:
    """Days ``first`` to ``last`` (both counted, from 0) that hold ``mass`` of the chance; ``likeliest`` if one stands
    out among them."""

    first: int
    last: int
    mass: float
    likeliest: int | None


def shortest_run(masses: Sequence[float], holds: float = HOLDS) -> Run:
    """The shortest run of days with at least ``holds`` of the chance; of equally short ones the likeliest.

    ``masses``: the chance of each day, of an unbroken row of days. Where they add up to less than ``holds``, all.
    Raises ValueError for no day at all.
    """
    if not masses:
        raise ValueError("no days")
    sums = [0.0]
    for mass in masses:
        sums.append(sums[-1] + mass)
    length = _shortest_length(sums, holds)
    held, first = max((sums[i + length] - sums[i], -i) for i in range(len(masses) - length + 1))
    return _run(masses, -first, length, held)


def _shortest_length(sums: Sequence[float], holds: float) -> int:
    """How many days the shortest run with ``holds`` of the chance has; all where none holds so much."""
    best, first = len(sums) - 1, 0
    for end in range(1, len(sums)):
        while first + 1 < end and sums[end] - sums[first + 1] >= holds - 1e-9:
            first += 1
        if sums[end] - sums[first] >= holds - 1e-9:
            best = min(best, end - first)
    return best


def _run(masses: Sequence[float], first: int, length: int, held: float) -> Run:
    days = masses[first : first + length]
    most = max(days)
    stands_out = length > 1 and most > STANDS_OUT * held / length
    return Run(first, first + length - 1, held, first + days.index(most) if stands_out else None)


def dots(masses: Sequence[float], count: int = 20) -> list[int]:
    """Days (from 0) of ``count`` equally likely dots: a picture of the chances that can be counted.

    The dots stand at the middles of equal shares of what is left of the chance.
    """
    whole = sum(masses)
    answer, reached, day = [], 0.0, 0
    for number in range(count):
        goal = (number + 0.5) / count * whole
        while day < len(masses) - 1 and reached + masses[day] < goal:
            reached += masses[day]
            day += 1
        answer.append(day)
    return answer
