"""The calendar: every panel a row through time, from a year down to a week, or what falls on each day as a list."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

from fastapi import APIRouter
from markupsafe import Markup
from starlette.responses import Response

from server.formats.drawings_calendar import CalendarDrawing, CalendarSpan, day_offset, draw_calendar
from server.services import board
from server.services.board.facts import CalendarBoard
from server.services.kept import Kept
from server.web.calendar_rows import Entry, drawn_rows, entries, first_of_month, further_on, monday_of, months_later
from server.web.deps import Page, PageRequest
from server.web.words import full_date

router = APIRouter()

SEASON_WEEKS, SEASON_BACK_WEEKS, SEASON_STEP_WEEKS = 16, 3, 8
YEAR_DAY_WIDTH, SEASON_DAY_WIDTH, MONTH_DAY_WIDTH, WEEK_DAY_WIDTH = 3.0, 9.0, 30.0, 96.0
YEAR_MONTHS = 13
AGENDA_D = 91
YEARS_SHOWN = 5
BODIES: Kept[Markup] = Kept(12)


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


@dataclass(frozen=True, slots=True)
class CalendarPage:
    """The names of ``calendar/calendar.html``. ``body`` is the drawing or the list, drawn already."""

    view: str
    views: tuple[tuple[str, str], ...]
    closer: str
    wider: str
    first_on: date
    last_on: date
    earlier: str
    later: str
    is_moved: bool
    body: Markup
    has_panels: bool


VIEWS = (("year", "Year"), ("season", "Season"), ("month", "Month"), ("week", "Week"), ("agenda", "Agenda"))
SCALES = ("year", "season", "month", "week")  # from the widest to the closest


def _year(start: date | None, today: date) -> Window:
    first = first_of_month(start) if start else months_later(today, -1)
    after = months_later(first, YEAR_MONTHS)
    return Window(first, (after - first).days, YEAR_DAY_WIDTH, months_later(first, -12), months_later(first, 12))


def _season(start: date | None, today: date) -> Window:
    first = monday_of(start) if start else monday_of(today) - timedelta(weeks=SEASON_BACK_WEEKS)
    step = timedelta(weeks=SEASON_STEP_WEEKS)
    return Window(first, SEASON_WEEKS * 7, SEASON_DAY_WIDTH, first - step, first + step)


def _month(start: date | None, today: date) -> Window:
    first = first_of_month(start or today)
    after = months_later(first, 1)
    return Window(first, (after - first).days, MONTH_DAY_WIDTH, months_later(first, -1), after)


def _week(start: date | None, today: date) -> Window:
    first = monday_of(start or today)
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


@router.get("/calendar")
def calendar(page: Page, view: str = "season", start: str = "") -> Response:
    """One of five views; ``start`` is the day they begin with, else they begin around today."""
    view = view if view in WINDOWS else "season"
    begins = _day(start, page.today)
    window = WINDOWS[view](begins, page.today)
    with page.db.read() as session:
        found = board.calendar(session, page.actor, page.now, page.zone)
    context = CalendarPage(
        view=view,
        views=VIEWS,
        closer=_scaled(view, 1, window, begins, page.today),
        wider=_scaled(view, -1, window, begins, page.today),
        first_on=window.first_on,
        last_on=window.last_on,
        earlier=f"/calendar?view={view}&start={window.earlier.isoformat()}",
        later=f"/calendar?view={view}&start={window.later.isoformat()}",
        is_moved=begins is not None,
        body=_body(page, found, view, window),
        has_panels=bool(found.rows),
    )
    return page.render("calendar/calendar.html", context)


def _scaled(view: str, step: int, window: Window, begins: date | None, today: date) -> str:
    """The address of the next closer (``step`` 1) or wider scale around the same middle; empty where there is none."""
    place = SCALES.index(view) + step if view in SCALES else -1
    if not 0 <= place < len(SCALES):
        return ""
    scale = SCALES[place]
    if begins is None:
        return f"/calendar?view={scale}"
    middle = window.first_on + timedelta(days=window.days // 2)
    half = WINDOWS[scale](middle, today).days // 2
    # Months and years begin with a month of their own; the rest is moved so that the middle stays where it was.
    start = middle if scale in ("month", "week") else middle - timedelta(days=half)
    return f"/calendar?view={scale}&start={start.isoformat()}"


def _body(page: PageRequest, found: CalendarBoard, view: str, window: Window) -> Markup:
    """What is between the head and the foot: it depends only on the board and the window, so it is drawn once."""
    key = (found.number, view, window)
    kept = BODIES.get(key)
    if kept is None:
        names: dict[str, object] = {"first_on": full_date(window.first_on), "last_on": full_date(window.last_on)}
        if view == "agenda":
            listed = entries(found.rows, found.moment, window.first_on, window.last_on)
            names["days"] = [Day(day, full_date(day), day == found.moment.today, group) for day, group in listed]
            names["further"] = further_on(found.rows, found.moment, window.last_on)
        else:
            names["drawing"] = _drawing(found, window)
        template = "calendar/_agenda.html" if view == "agenda" else "calendar/_rows.html"
        text = page.request.app.state.templates.get_template(template).render(names)
        kept = Markup(text)  # noqa: S704 - drawn by our own template, which escapes every name
        BODIES.keep({key: kept})
    return kept


def _day(start: str, today: date) -> date | None:
    try:
        day = date.fromisoformat(start)
    except ValueError:
        return None
    return day if abs(day.year - today.year) <= YEARS_SHOWN else None


def _drawing(found: CalendarBoard, window: Window) -> CalendarDrawing:
    today_at = day_offset(found.moment.at, window.first_on, found.moment.zone)
    span = CalendarSpan(window.first_on, window.days, window.day_width, today_at)
    return draw_calendar(drawn_rows(found.rows, window.first_on, found.moment), span)
