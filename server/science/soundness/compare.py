"""Comparisons with one tolerance, and the book of ages that knows when the answer may change.

Bounds are inclusive on the lighter side: 0.05 is still within "up to 0.05", although arithmetic may say
0.05000000000000004.
"""

import math

TOLERANCE = 1e-9


def above(value: float, bound: float) -> bool:
    """Clearly more than the bound."""
    return value > bound + TOLERANCE


def below(value: float, bound: float) -> bool:
    """Clearly less than the bound."""
    return value < bound - TOLERANCE


class Ages:
    """Every comparison of an age with a threshold goes through here.

    ``next_d`` is how many days from now the first comparison made so far turns out otherwise (``inf``: none does).
    As long as all comparisons stand, so does everything derived from them.
    """

    __slots__ = ("next_d",)

    def __init__(self) -> None:
        self.next_d = math.inf

    def reached(self, age_d: float, at_d: float) -> bool:
        """Whether a film of this age has come to ``at_d`` days (inclusive)."""
        ahead = at_d - age_d - TOLERANCE
        if ahead <= 0.0:
            return True
        self.next_d = min(self.next_d, ahead)
        return False

    def past(self, age_d: float, at_d: float) -> bool:
        """Whether a film is older than ``at_d`` days (exclusive)."""
        ahead = at_d - age_d + TOLERANCE
        if ahead < 0.0:
            return True
        self.next_d = min(self.next_d, ahead)
        return False
