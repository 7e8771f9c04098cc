"""What the calendar tells: panels and their layers through time."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from server.science.results import Stage, StageRange
from server.services.board.facts import DaySpan, Moment, PanelFact
from server.services.plan_reading import PlannedSitting


@dataclass(frozen=True, slots=True)
class CalendarLayer:
    """One layer through time. ``start`` is when it was painted or, ``is_planned``, the central day it can go on.

    ``stages`` are days after ``start``; ``days`` the same as dates; both are empty without a forecast. ``colour`` is
    that of its largest region. ``sitting``: where the plan in use has it, while that stands. Not ``goes_on``: a rule
    stops it for good, and its day is that of a sitting which holds no more.
    """

    uid: str
    number: int
    kind: str
    start: datetime
    start_days: DaySpan
    is_planned: bool
    colour: str
    stages: Mapping[Stage, StageRange]
    days: Mapping[Stage, DaySpan]
    sitting: PlannedSitting | None = None
    goes_on: bool = True


@dataclass(frozen=True, slots=True)
class CalendarRow:
    """One panel through time, its layers lowest first."""

    panel: PanelFact
    layers: tuple[CalendarLayer, ...]


@dataclass(frozen=True, slots=True)
class CalendarBoard:
    """All open panels through time. Boards of the same ``number`` are the same."""

    number: int
    moment: Moment
    rows: tuple[CalendarRow, ...]
