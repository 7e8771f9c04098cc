"""What the calendar shows: its five views with their first day, what they are drawn and listed from."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from server.formats.drawings_calendar import CalendarDrawing, CalendarRow, CalendarSpan, day_offset, draw_calendar
from server.services.board.calendar_facts import CalendarBoard
from server.web.calendar_rows import Entry, drawn_rows, entries, first_of_month, months_later, week_of
from server.web.manner import first_weekday
from server.web.words import full_date

SEASON_WEEKS, SEASON_BACK_WEEKS, SEASON_STEP_WEEKS = 16, 3, 8
YEAR_DAY_WIDTH, SEASON_DAY_WIDTH, MONTH_DAY_WIDTH, WEEK_DAY_WIDTH = 3.0, 9.0, 30.0, 96.0
YEAR_MONTHS = 13
AGENDA_D = 91
YEARS_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Window:
    """What is shown: ``days`` days from ``first_on``, and where "earlier", "later" begin."""

    first_on: date
    days: int
    day_width: float
    earlier: date
    later: date

    @property
    def last_on(self) -> date:
        return self.first_on + timedelta(days=self.days - 1)


@dataclass(frozen=True, slots=True)
class Day:
    """A day of the agenda."""

    on: date
    heading: str
    is_today: bool
    entries: tuple[Entry, ...]


VIEWS = (("year", "Year"), ("season", "Season"), ("month", "Month"), ("week", "Week"), ("agenda", "Agenda"))
SCALES = ("year", "season", "month", "week")  # from the widest to the closest


def _year(start: date | None, today: date) -> Window:
    first = first_of_month(start) if start else months_later(today, -1)
    after = months_later(first, YEAR_MONTHS)
    return Window(first, (after - first).days, YEAR_DAY_WIDTH, months_later(first, -12), months_later(first, 12))


def _season(start: date | None, today: date) -> Window:
    first = week_of(start) if start else week_of(today) - timedelta(weeks=SEASON_BACK_WEEKS)
    step = timedelta(weeks=SEASON_STEP_WEEKS)
    return Window(first, SEASON_WEEKS * 7, SEASON_DAY_WIDTH, first - step, first + step)


def _month(start: date | None, today: date) -> Window:
    first = first_of_month(start or today)
    after = months_later(first, 1)
    return Window(first, (after - first).days, MONTH_DAY_WIDTH, months_later(first, -1), after)


def _week(start: date | None, today: date) -> Window:
    first = week_of(start or today)
    step = timedelta(weeks=1)
    return Window(first, 7, WEEK_DAY_WIDTH, first - step, first + step)


def _agenda(start: date | None, today: date) -> Window:
    first = start or today
    step = timedelta(days=AGENDA_D)
    return Window(first, AGENDA_D, 0.0, first - step, first + step)


WINDOWS: dict[str, Callable[[date | None, date], Window]] = {
    "year": _year,
    "season": _season,
    "month": _month,
    "week": _week,
    "agenda": _agenda,
}


def window_of(view: str, start: str, today: date) -> tuple[str, date | None, Window]:
    """The view's name, the day it was asked to begin with, and the window; what makes no sense is left aside."""
    view = view if view in WINDOWS else "season"
    begins = _day(start, today)
    return view, begins, WINDOWS[view](begins, today)


def _day(start: str, today: date) -> date | None:
    try:
        day = date.fromisoformat(start)
    except ValueError:
        return None
    return day if abs(day.year - today.year) <= YEARS_SHOWN else None


def drawing_of(found: CalendarBoard, window: Window, address: Callable[[str], str] | None = None) -> CalendarDrawing:
    """The rows as they are drawn; ``address`` makes other addresses of those of the main pages."""
    today_at = day_offset(found.moment.at, window.first_on, found.moment.zone)
    span = CalendarSpan(window.first_on, window.days, window.day_width, today_at, first_weekday())
    rows = drawn_rows(found.rows, window.first_on, found.moment)
    return draw_calendar([_led(row, address) for row in rows] if address else rows, span)


def _led(row: CalendarRow, address: Callable[[str], str]) -> CalendarRow:
    films = tuple(replace(film, href=address(film.href)) for film in row.films)
    pins = tuple(replace(pin, href=address(pin.href)) for pin in row.pins)
    return replace(row, href=address(row.href), films=films, pins=pins)


def days_of(found: CalendarBoard, window: Window) -> list[Day]:
    """The days of the agenda on which anything falls."""
    listed = entries(found.rows, found.moment, window.first_on, window.last_on)
    return [Day(day, full_date(day), day == found.moment.today, group) for day, group in listed]
