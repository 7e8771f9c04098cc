"""A plan comes to a search process as it was sent."""

import pickle
from dataclasses import MISSING, fields
from datetime import UTC, date, datetime
from typing import Any

from server.services.plan_reading import BrokenSitting, PlanInUse, PlannedSitting, Rest
from server.services.plan_texts import KeptText

SITTING = PlannedSitting(
    "layer",
    "panel",
    "Harbour",
    "glaze",
    "Painter",
    datetime(2026, 12, 1, 10, tzinfo=UTC),
    datetime(2026, 12, 1, 12, tzinfo=UTC),
    "greys",
    30,
    "as soon as it is ready",
    datetime(2026, 12, 4, 10, tzinfo=UTC),
    True,
    ("Slow under fast (R03)",),
    BrokenSitting("not_ready", date(2026, 12, 3)),
    KeptText(("waits for ", ("below", "block-in"))),
)
PLAN = PlanInUse(
    "plan",
    3,
    date(2026, 11, 30),
    {"layer": SITTING},
    {"easels": 2},
    4,
    frozenset({"panel"}),
    {"layer": Rest(7.0, "R12", "Rest")},
    {"panel": date(2026, 12, 1)},
    {"other": {"low": 2}},
    frozenset({"high"}),
    True,
)


def _has_all_said(one: Any) -> bool:
    """Whether no field is left at its default, so that each is held to arrive."""
    return all(getattr(one, each.name) != each.default for each in fields(one) if each.default is not MISSING)


def test_a_sitting_and_a_plan_arrive_whole() -> None:
    assert _has_all_said(SITTING) and _has_all_said(PLAN)
    assert pickle.loads(pickle.dumps(SITTING)) == SITTING
    came = pickle.loads(pickle.dumps(PLAN))
    assert came == PLAN
    assert came.mixed == PLAN.mixed == {("greys", "Painter", date(2026, 12, 1)): SITTING.start_at}
