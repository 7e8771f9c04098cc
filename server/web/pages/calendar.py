"""The calendar: every panel a row through time, from a year down to a week, or what falls on each day as a list."""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial

from fastapi import APIRouter
from markupsafe import Markup
from starlette.responses import Response

from server.services import board
from server.services.board.calendar_facts import CalendarBoard
from server.services.kept import Kept
from server.web.ahead import keep_ready
from server.web.calendar_rows import further_on
from server.web.calendar_views import SCALES, VIEWS, WINDOWS, Window, days_of, drawing_of, window_of
from server.web.deps import Page, PageRequest
from server.web.manner import manner
from server.web.words import full_date

router = APIRouter()

BODIES: Kept[Markup] = Kept(128)


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


@router.get("/calendar")
def calendar(page: Page, view: str = "season", start: str = "") -> Response:
    """One of five views; ``start`` is the day they begin with, else they begin around today."""
    view, begins, window = window_of(view, start, page.today)
    with page.db.read() as session:
        found = board.calendar(session, page.actor, page.now, page.zone)
    if begins is None:
        keep_ready(("calendar", view), page, partial(_ready, view))
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


def _ready(view: str, page: PageRequest) -> None:
    """A view around today, up to what is added for each look."""
    with page.db.read() as session:
        found = board.calendar(session, page.actor, page.now, page.zone)
    _body(page, found, view, window_of(view, "", page.today)[2])


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
    key = (found.number, manner(), view, window)
    kept = BODIES.get(key)
    if kept is None:
        names: dict[str, object] = {"first_on": full_date(window.first_on), "last_on": full_date(window.last_on)}
        if view == "agenda":
            names["days"] = days_of(found, window)
            names["further"] = further_on(found.rows, found.moment, window.last_on)
        else:
            names["drawing"] = drawing_of(found, window)
        template = "calendar/_agenda.html" if view == "agenda" else "calendar/_rows.html"
        text = page.request.app.state.templates.get_template(template).render(names)
        kept = Markup(text)  # noqa: S704 - drawn by our own template, which escapes every name
        BODIES.keep({key: kept})
    return kept
