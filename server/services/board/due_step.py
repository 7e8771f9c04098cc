"""What is told of a panel's date, and of a planned step of the finish that does not fit it."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from server.services.plan_reading import PlanRisk


class Misfit(StrEnum):
    """How a step of the finish does not fit a panel's date."""

    EARLY = "early"  # planned for a day before it may be done
    OPENS = "opens"  # may be done too late for the date
    PLANNED = "planned"  # planned too late for packing and the way
    BEYOND = "beyond"  # planned for after the date; the date is told without it


@dataclass(frozen=True, slots=True)
class StepHeld:
    """A step of the finish that does not fit a panel's date. ``opens_on``: from when it may be done, ``by_rule`` where
    a rule names the day and not a forecast."""

    action: str
    misfit: Misfit
    planned_on: date | None
    opens_on: date | None
    by_rule: bool = True


@dataclass(frozen=True, slots=True)
class DueFact:
    """The panel's date: ``odds`` 0 to 1 of its being there by then, with all done to it that is to be done, packed
    (``packing_d`` days) and brought (``transit_d`` days): by the plan in use (with ``plan``), else painting as soon as
    may be; None when nothing can be said. ``is_late`` when it is past. ``ready_on``: when it can be there where every
    sitting of that plan keeps its day. ``step``: what is planned after the last layer that does not fit the date.
    ``sent_on``: when it left."""

    on: date
    due_for: str
    odds: float | None
    at_risk: bool
    is_late: bool
    plan: PlanRisk | None = None
    ready_on: date | None = None
    packing_d: int = 0
    transit_d: int = 0
    step: StepHeld | None = None
    sent_on: date | None = None
