"""What a painter looks at: Today, the calendar and a panel's page, as facts without markup."""

from server.services.board.calendar import calendar
from server.services.board.calendar_facts import CalendarBoard, CalendarLayer, CalendarRow
from server.services.board.due_step import DueFact
from server.services.board.facts import (
    DaySpan,
    LayerFact,
    Moment,
    PanelBoard,
    PanelFact,
    RegionFact,
    RestFact,
    StackBand,
    Standing,
    TodayBoard,
)
from server.services.board.panel_view import panel_page
from server.services.board.test_fact import TestFact
from server.services.board.today import moment_of, one_panel, today

__all__ = [
    "CalendarBoard",
    "CalendarLayer",
    "CalendarRow",
    "DaySpan",
    "DueFact",
    "LayerFact",
    "Moment",
    "PanelBoard",
    "PanelFact",
    "RegionFact",
    "RestFact",
    "StackBand",
    "Standing",
    "TestFact",
    "TodayBoard",
    "calendar",
    "moment_of",
    "one_panel",
    "panel_page",
    "today",
]
