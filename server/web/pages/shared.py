"""What a link shows: Today, the calendar, the wall and a panel's progress, to look at only.

The facts come from the functions of the main pages and go through ``services/shared_view.py``, which takes out what
was not ticked; then the words and drawings of the main pages tell them.
"""

from collections.abc import Callable, Hashable
from dataclasses import replace

from fastapi import APIRouter
from markupsafe import Markup
from starlette.responses import Response

from server.services import board, finish, shared_view
from server.services.board.calendar_facts import CalendarBoard
from server.services.board.facts import Moment, PanelFact, TodayBoard
from server.services.errors import NotFound
from server.services.kept import Kept
from server.web.ahead import keep_today_ready
from server.web.calendar_rows import Entry, further_on
from server.web.calendar_views import VIEWS, Window, days_of, drawing_of, window_of
from server.web.pages.today import GLANCE, HEADINGS, Group, risk_lines, sitting_line
from server.web.pages.wall import wall_page
from server.web.progress import GATES, progress_of
from server.web.security.public_links import IS_WALL
from server.web.shared_link import LinkRequest, SharedPage
from server.web.standing_words import STANDING_SHAPES
from server.web.today_cards import card_of
from server.web.words import full_date

router = APIRouter(prefix="/s")

BODIES: Kept[Markup] = Kept(32)


@router.get("/{token}")
def home(page: SharedPage) -> Response:
    """Today; of a link to one panel its progress."""
    if page.link.scope == "panel":
        return _progress(page, None)
    with page.db.read() as session:
        found = board.today(session, page.actor, page.now, page.zone, None)
    keep_today_ready(page)
    body = _kept(page, ("today", found.number), "share/_today.html", lambda: _today_names(page, found))
    return page.render("share/today.html", {"day": found.moment.on, "body": body})


@router.get("/{token}/calendar")
def calendar(page: SharedPage, view: str = "season", start: str = "") -> Response:
    """The calendar in its five views."""
    view, begins, window = window_of(view, start, page.today)
    with page.db.read() as session:
        found = board.calendar(session, page.actor, page.now, page.zone)
    template = "calendar/_agenda.html" if view == "agenda" else "share/_rows.html"
    names = _agenda_names if view == "agenda" else _rows_names
    body = _kept(page, ("calendar", found.number, view, window), template, lambda: names(page, found, window))
    context = {"view": view, "views": VIEWS, "window": window, "is_moved": begins is not None, "body": body}
    return page.render("share/calendar.html", {**context, "here": f"{page.home}/calendar"})


@router.get("/{token}/wall")
def wall(page: SharedPage) -> Response:
    """Today for a screen across the room."""
    with page.db.read() as session:
        found = board.today(session, page.actor, page.now, page.zone, None)
    keep_today_ready(page)
    setattr(page.request.state, IS_WALL, True)
    shown = wall_page(shared_view.today_of(found, page.link), page.now)
    return page.render("share/wall.html", {"wall": shown, "stem": f"{page.home}/panels/", "here": f"{page.home}/wall"})


@router.get("/{token}/panels/{ref}")
def panel(page: SharedPage, ref: str) -> Response:
    """One panel's progress; ``ref`` is what this link calls it. Raises ``NotFound``."""
    return _progress(page, ref)


def _progress(page: LinkRequest, ref: str | None) -> Response:
    link = page.link
    with page.db.read() as session:
        rows = board.calendar(session, page.actor, page.now, page.zone).rows
        seen = [row for row in rows if link.shows_panel(row.panel.uid)]
        wanted = [row for row in seen if ref is None or link.ref(row.panel.uid) == ref]
        if not wanted:
            raise NotFound
        uid = wanted[0].panel.uid
        facts = board.panel_page(session, page.actor, uid, page.now, page.zone)
        gates = [gate for gate in finish.gates(session, page.actor, uid, facts.moment) if gate.action in GATES]
    texts = page.request.app.state.templates.get_template("parts/caution.html").module.TEXTS
    row, facts = shared_view.row_of(wanted[0], link), shared_view.board_of(facts, link)
    return page.render("share/progress.html", {"progress": progress_of(row, facts, gates, link.shows, texts)})


def _kept(
    page: LinkRequest, what: tuple[Hashable, ...], template: str, names: Callable[[], dict[str, object]]
) -> Markup:
    """What stands between head and foot, drawn once for the same facts, the same link and its address."""
    key = (page.home, page.link.uid, page.link.version, page.manner, *what)
    kept = BODIES.get(key)
    if kept is None:
        text = page.request.app.state.templates.get_template(template).render(names())
        kept = Markup(text)  # noqa: S704 - drawn by our own template, which escapes every name
        BODIES.keep({key: kept})
    return kept


def _today_names(page: LinkRequest, found: TodayBoard) -> dict[str, object]:
    seen = shared_view.today_of(found, page.link)
    groups = tuple(
        Group(
            anchor=standing.value,
            kind=STANDING_SHAPES[standing],
            heading=heading,
            word=GLANCE[standing],
            count=len(seen.groups[standing]),
            cards=tuple(_card(page, panel, seen.moment) for panel in seen.groups[standing]),
        )
        for standing, heading in HEADINGS.items()
    )
    planned = [sitting_line(sitting, seen.moment.today) for sitting in seen.planned]
    return {
        "groups": groups,
        "at_risk": risk_lines(seen.at_risk, seen.moment.today),
        "planned": planned,
        "stem": f"{page.home}/panels/",
    }


def _card(page: LinkRequest, panel: PanelFact, moment: Moment) -> Markup:
    macro = page.request.app.state.templates.get_template("share/_card.html").module.card
    shows = page.link.shows
    card = card_of(panel, moment)
    if "mixes" not in shows:
        card = replace(card, mixes=())
    drawn = macro(card, page.address(f"/panels/{panel.uid}"), "sizes" in shows)
    return Markup(drawn)  # noqa: S704 - drawn by our own template, which escapes every name


def _rows_names(page: LinkRequest, found: CalendarBoard, window: Window) -> dict[str, object]:
    drawing = drawing_of(shared_view.calendar_of(found, page.link), window, page.address)
    return {"drawing": drawing, "first_on": full_date(window.first_on), "last_on": full_date(window.last_on)}


def _agenda_names(page: LinkRequest, found: CalendarBoard, window: Window) -> dict[str, object]:
    seen = shared_view.calendar_of(found, page.link)

    def led(entry: Entry) -> Entry:
        return replace(entry, href=page.address(entry.href))

    days = [replace(day, entries=tuple(map(led, day.entries))) for day in days_of(seen, window)]
    further = [(on, led(entry)) for on, entry in further_on(seen.rows, seen.moment, window.last_on)]
    return {"days": days, "further": further}
