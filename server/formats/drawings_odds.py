"""Odds as a picture: twenty beads of paint, so many of them dry."""

from dataclasses import dataclass

from server.formats.drawings import Point

DOTS = 20
PER_ROW = 10
STEP = 14.0
LEAST = 1 / DOTS


@dataclass(frozen=True, slots=True)
class OddsPicture:
    """``filled`` of the ``places`` (centres of the beads) are drawn full; ``words`` says the same."""

    width: float
    height: float
    places: tuple[Point, ...]
    filled: int
    words: str


def odds_picture(odds: float) -> OddsPicture:
    """Twenty beads for odds of 0 to 1, as many full as the words say: none below 1 in 20, all only for certainty."""
    bounded = min(1.0, max(0.0, odds))
    filled = DOTS if bounded == 1 else 0 if bounded < LEAST else min(DOTS - 1, round(bounded * DOTS))
    places = tuple((STEP / 2 + STEP * (index % PER_ROW), STEP / 2 + STEP * (index // PER_ROW)) for index in range(DOTS))
    return OddsPicture(STEP * PER_ROW, STEP * (DOTS // PER_ROW), places, filled, odds_words(bounded))


def odds_words(odds: float) -> str:
    """'about 17 in 20', 'less than 1 in 20', 'more than 19 in 20': a model never says never."""
    if odds < LEAST:
        return "less than 1 in 20"
    if odds > 1 - LEAST:
        return "more than 19 in 20"
    return f"about {round(odds * DOTS)} in 20"
