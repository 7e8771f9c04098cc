"""Panels with nothing left to paint whose date is at risk all the same: what is left is drying, varnish, the way."""

from dataclasses import dataclass
from datetime import date

from server.services.board.facts import TodayBoard
from server.web.standing_words import due_risk_words, due_words


@dataclass(frozen=True, slots=True)
class PaintedAtRisk:
    """``due``: its date and what for; ``risk``: how likely that is kept, and what it waits for."""

    uid: str
    title: str
    due: str
    risk: str


def painted_at_risk(wall: TodayBoard, today: date) -> tuple[PaintedAtRisk, ...]:
    """In the order of their dates. No plan moves them, so they are in none; they must not be forgotten for it."""
    facts = [fact for group in wall.groups.values() for fact in group if not fact.layers_to_come]
    due = [(fact.due, fact) for fact in facts if fact.due is not None and fact.due.at_risk]
    due.sort(key=lambda one: (one[0].on, one[1].title))
    return tuple(
        PaintedAtRisk(fact.uid, fact.title, due_words(one, today), due_risk_words(fact, today)) for one, fact in due
    )
