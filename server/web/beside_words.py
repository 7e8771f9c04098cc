"""One layer by the book and by the studio's own learning, in words."""

from dataclasses import dataclass
from datetime import date
from math import exp, log

from server.science.results import Stage, StageRange
from server.services.board.beside_book import BesideBook, Told
from server.web.learning_words import effect_name, slower
from server.web.standing_words import span_words

WIDTH_WORTH_SAYING = 0.05
HEARD = 0.005  # a shift that rounds to a hundredth at least


@dataclass(frozen=True, slots=True)
class ShiftLine:
    """``what`` moved the date, and ``told``: by how much."""

    what: str
    told: str


def headline(found: BesideBook, today: date) -> str:
    """Both ranges of dry-to-touch in one sentence, or why there are none."""
    book, yours = (told.days.get(Stage.DRY_TO_TOUCH) for told in (found.book, found.yours))
    if book is None or yours is None:
        return "No date can be given for this layer: it names no mix that dries as oil does."
    if found.learning.learned is None:
        return f"Nothing is learned yet, so your dates are the book’s: touch-dry {span_words(book, today)}."
    by_book, by_yours = span_words(book, today), span_words(yours, today)
    if by_book == by_yours:
        return f"The book and your own tests agree: touch-dry {by_yours}."
    if max(book.high, yours.high) < today:
        return f"By the book it was touch-dry {by_book}; by your own tests {by_yours}."
    return f"By the book it is touch-dry {by_book}; by your own tests {by_yours}."


def difference(found: BesideBook) -> str:
    """How far apart the two are, and which is narrower. "" where they do not differ."""
    if found.shift is None:
        return ""
    if abs(found.shift.whole) < HEARD:
        moved = "Your tests leave the middle of it where the book has it."
    else:
        moved = f"Your tests make it {slower(found.shift.whole)} than the book has it."
    return f"{moved} {_width(found.book, found.yours)}".strip()


def _width(book: Told, yours: Told) -> str:
    widths = [_spread(told.stages.get(Stage.DRY_TO_TOUCH)) for told in (book, yours)]
    if widths[0] is None or widths[1] is None:
        return ""
    narrower = round(100 * (1 - widths[1] / widths[0]))
    if abs(narrower) < 100 * WIDTH_WORTH_SAYING:
        return "Its range is as wide as the book’s."
    return f"Its range is {narrower} % narrower." if narrower > 0 else f"Its range is {-narrower} % wider."


def _spread(span: StageRange | None) -> float | None:
    """Width on the logarithm of days; None for a range that a test has cut off."""
    if span is None or not 0.0 < span.p10_d < span.p50_d < span.p90_d:
        return None
    return log(span.p90_d / span.p10_d)


def shift_lines(found: BesideBook) -> list[ShiftLine]:
    """What moved dry-to-touch, the heaviest first."""
    shift = found.shift
    if shift is None:
        return []
    parts = [(effect_name(name, found.names), by) for name, by in shift.effects]
    parts += [
        ("how the studio has changed since", shift.change),
        ("its own tests" if found.presses else "a correction for how earlier dates have run", shift.own),
        ("what is hardly learned yet, together", shift.hardly),
    ]
    return [ShiftLine(what, slower(by)) for what, by in parts if abs(exp(by) - 1) >= HEARD]


def chosen_words(found: BesideBook) -> str:
    """Which of the two every other page shows."""
    return {
        "off": "Every other page shows the book’s dates, as you have chosen; yours are what they would be otherwise.",
        "frozen": "Every other page shows your dates, by what was learned until you chose to learn no more.",
    }.get(found.chosen, "Every other page shows your dates.")
