"""Odds as a picture: twenty beads of paint, so many of them dry."""

from dataclasses import dataclass

DOTS = 20
PER_ROW = 10
LEAST = 1 / DOTS


@dataclass(frozen=True, slots=True)
class OddsPicture:
    """``rows``: so many beads of each row of ten are drawn full, ``filled`` of all; ``words`` says the same. How rows
    look is drawn in static/shapes.svg."""

    rows: tuple[int, ...]
    filled: int
    words: str


def odds_picture(odds: float) -> OddsPicture:
    """Twenty beads for odds of 0 to 1, as many full as the words say: none below 1 in 20, all only for certainty."""
    bounded = min(1.0, max(0.0, odds))
    filled = DOTS if bounded == 1 else 0 if bounded < LEAST else min(DOTS - 1, round(bounded * DOTS))
    rows = tuple(min(PER_ROW, max(0, filled - above)) for above in range(0, DOTS, PER_ROW))
    return OddsPicture(rows, filled, odds_words(bounded))


def odds_words(odds: float) -> str:
    """'about 17 in 20', 'less than 1 in 20', 'more than 19 in 20': a model never says never."""
    if odds < LEAST:
        return "less than 1 in 20"
    if odds > 1 - LEAST:
        return "more than 19 in 20"
    return f"about {round(odds * DOTS)} in 20"
