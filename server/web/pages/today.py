"""Today: what can be painted, what wants a fingertip first, what rests and until when; for now or a chosen day.

A card depends only on the facts of its panel, and the wall only on its cards, so both are drawn once and kept as text.
Each time the wall is sent, its forms get command keys of their own.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta

from fastapi import APIRouter
from markupsafe import Markup
from starlette.responses import Response

from server.services import board, planning_search
from server.services.board.facts import LeftoverFact, Moment, PanelFact, PlanHolds, SittingFact, Standing, TodayBoard
from server.services.errors import NotFound
from server.services.kept import Kept
from server.services.plan_reading import PlannedSitting
from server.web import plan_words, standing_words, words
from server.web.ahead import keep_ready
from server.web.deps import Page, PageRequest
from server.web.forms import new_key
from server.web.manner import manner
from server.web.today_cards import card_of
from server.web.touch_questions import LastWet, last_wet_on

router = APIRouter()

HEADINGS = {
    Standing.READY: "Ready to paint",
    Standing.TEST_FIRST: "Press these first",
    Standing.STOPPED: "Stopped by a rule",
    Standing.RESTS: "Resting",
    Standing.UNPLANNED: "Nothing planned next",
    Standing.FINISHED: "Finished",
}
GLANCE = {
    Standing.READY: "ready",
    Standing.TEST_FIRST: "to press first",
    Standing.STOPPED: "stopped",
    Standing.RESTS: "resting",
    Standing.UNPLANNED: "without a plan",
    Standing.FINISHED: "finished",
}
# Stands in the kept text where each page's own command key goes; no record can hold these characters.
KEY_MARK = "\x01key\x01"
YEARS_SHOWN = 5
UNSAID = re.compile(r"\n+(?=<)|</p>\n*(?=<(?:p|div|ul|details|form)\b|</(?:div|details)>)|</li>(?=<li>|</ul>)")
WALLS: Kept[str] = Kept(128)
CARDS: Kept[Markup] = Kept(12_000)


@dataclass(frozen=True, slots=True)
class Group:
    """The panels that stand alike."""

    anchor: str
    kind: str
    heading: str
    word: str
    count: int
    cards: tuple[Markup, ...]


@dataclass(frozen=True, slots=True)
class RiskLine:
    uid: str
    title: str
    due: str
    odds: str


@dataclass(frozen=True, slots=True)
class SittingLine:
    """A sitting of the day by the plan in use; ``broken``: why it holds no more, "" where it holds."""

    panel_uid: str
    title: str
    kind: str
    hours: str
    painter: str
    palette: str
    why: str
    broken: str = ""


@dataclass(frozen=True, slots=True)
class Wall:
    """The names of ``today/_wall.html``."""

    groups: tuple[Group, ...]
    at_risk: tuple[RiskLine, ...]


@dataclass(frozen=True, slots=True)
class TodayPage:
    """The names of ``today/today.html``."""

    day: date
    is_today: bool
    day_before: str
    day_after: str
    has_panels: bool
    sitting: SittingFact | None
    wall: Markup
    planned: tuple[SittingLine, ...]
    next_planned: str
    leftovers: tuple[LeftoverFact, ...]
    holds: PlanHolds
    plan_waits: bool
    pressed: str
    last_wet_asked: LastWet | None


@router.get("/")
def today(page: Page, on: str = "", card: str = "") -> Response:
    """The wall. ``on`` is another day; ``card`` the panel just pressed, which answers alone when htmx asks."""
    day = _chosen(on, page.today)
    if card and page.wants_fragment:
        return _one_card(page, card, day)
    with page.db.read() as session:
        found = board.today(session, page.actor, page.now, page.zone, day)
    wall = _wall(page, found, day).replace(KEY_MARK, new_key())
    pressed = _pressed(found, card) if card else None
    if day is None:
        keep_ready("today", page, _ready)
    if day is None and found.holds != PlanHolds() and page.may("paint"):
        planning_search.expect(page.db, page.actor, page.now, page.zone)  # the page offers to set it right
    context = TodayPage(
        day=found.moment.on,
        is_today=day is None,
        day_before=_address(found.moment.on - timedelta(days=1), page.today),
        day_after=_address(found.moment.on + timedelta(days=1), page.today),
        has_panels=found.has_panels,
        sitting=found.sitting,
        wall=Markup(wall),  # noqa: S704 - drawn by our own template, which escapes every name
        planned=tuple(sitting_line(sitting, page.today) for sitting in found.planned),
        next_planned=_next_planned(found, page.today),
        leftovers=found.leftovers,
        holds=found.holds,
        plan_waits=found.plan_waits,
        pressed=pressed.title if pressed else "",
        last_wet_asked=_last_wet(pressed, found.moment, day) if pressed else None,
    )
    return page.render("today/today.html", context)


def _ready(page: PageRequest) -> None:
    """Today, up to what is added for each look."""
    with page.db.read() as session:
        found = board.today(session, page.actor, page.now, page.zone, None)
    _wall(page, found, None)


def sitting_line(sitting: PlannedSitting, today: date) -> SittingLine:
    return SittingLine(
        sitting.panel_uid,
        sitting.title,
        sitting.kind,
        plan_words.hours_words(sitting),
        sitting.painter,
        plan_words.palette_words(sitting),
        plan_words.why_words(sitting, today),
        words.capital(plan_words.broken_words(sitting, today)),
    )


def _next_planned(found: TodayBoard, today: date) -> str:
    """``glaze of “Harbour”, Thursday at 09:30, with Ada``."""
    sitting = found.next_planned
    if sitting is None:
        return ""
    when, broken = plan_words.when_words(sitting, today), plan_words.broken_words(sitting, today)
    told = f"{sitting.kind} of “{sitting.title}”, {when}"
    return f"{told}, which holds no more: {broken}" if broken else told


def _chosen(on: str, today: date) -> date | None:
    """The day asked for; None for today and for what is no day within a few years."""
    try:
        day = date.fromisoformat(on)
    except ValueError:
        return None
    is_near = abs(day.year - today.year) <= YEARS_SHOWN
    return day if is_near and day != today else None


def _address(day: date, today: date) -> str:
    return "/" if day == today else f"/?on={day.isoformat()}"


def _here(day: date | None) -> str:
    return "/?" if day is None else f"/?on={day.isoformat()}&"


def _wall(page: PageRequest, found: TodayBoard, day: date | None) -> str:
    kept = WALLS.get((found.number, manner()))
    if kept is None:
        template = page.request.app.state.templates.get_template("today/_wall.html")
        kept = template.render(_names(_named(page, found, day)))
        WALLS.keep({(found.number, manner()): kept})
    return kept


def _named(page: PageRequest, found: TodayBoard, day: date | None) -> Wall:
    draw = _drawer(page, found.moment, _here(day))
    groups = tuple(
        Group(
            anchor=standing.value,
            kind=standing_words.STANDING_SHAPES[standing],
            heading=heading,
            word=GLANCE[standing],
            count=len(found.groups[standing]),
            cards=tuple(draw(panel) for panel in found.groups[standing]),
        )
        for standing, heading in HEADINGS.items()
    )
    return Wall(groups, risk_lines(found.at_risk, found.moment.today))


def _drawer(page: PageRequest, moment: Moment, here: str) -> Callable[[PanelFact], Markup]:
    """Draws cards, each once for the same facts."""
    macro = page.request.app.state.templates.get_template("today/_card.html").module.card

    def draw(panel: PanelFact) -> Markup:
        key = (panel.number, manner(), moment.today, moment.on, here)
        kept = CARDS.get(key)
        if kept is None:
            kept = Markup(lean(macro(card_of(panel, moment), f"{KEY_MARK}{panel.uid[:8]}", here)))  # noqa: S704 - escaped there
            CARDS.keep({key: kept})
        return kept

    return draw


def lean(card: str) -> str:
    """Without what HTML lets go unsaid: line ends between tags, and the ends of paragraphs and of list items."""
    return UNSAID.sub("", card)


def _names(wall: Wall) -> dict[str, object]:
    return {field.name: getattr(wall, field.name) for field in fields(wall)}


def risk_lines(panels: Sequence[PanelFact], today: date) -> tuple[RiskLine, ...]:
    return tuple(
        RiskLine(
            panel.uid,
            panel.title,
            standing_words.due_words(panel.due, today),
            standing_words.due_risk_words(panel, today),
        )
        for panel in panels
        if panel.due is not None
    )


def _last_wet(panel: PanelFact, moment: Moment, day: date | None) -> LastWet | None:
    """What is asked right after a first test that found the layer dry; only of today."""
    leads_to = f"{_here(day)}card={panel.uid}#card-{panel.uid}"
    return last_wet_on(panel.top, moment.at, leads_to) if moment.on == moment.today else None


def _pressed(found: TodayBoard, uid: str) -> PanelFact | None:
    """The panel of that uid on the wall."""
    return next((fact for facts in found.groups.values() for fact in facts if fact.uid == uid), None)


def _one_card(page: PageRequest, uid: str, day: date | None) -> Response:
    """The card of one panel, with what was just done to it and its undo."""
    moment = board.moment_of(page.now, page.zone, day)
    with page.db.read() as session:
        panel = board.one_panel(session, page.actor, uid, moment)
    if panel is None:
        raise NotFound
    names = {
        "card": card_of(panel, moment),
        "key": new_key(),
        "undo_key": new_key(),
        "here": _here(day),
        "last_wet_asked": _last_wet(panel, moment, day),
    }
    return page.render("today/one.html", names)
