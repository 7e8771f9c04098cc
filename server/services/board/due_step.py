"""What is told of a planned step of the finish that does not fit a panel's date."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


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
