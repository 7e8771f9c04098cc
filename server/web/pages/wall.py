"""The wall: Today for a screen across the room. Large, without anything to press, and anew every few minutes.

What wants a hand comes first and large, then dates at risk; what only rests is a list with its days. A screen cannot
scroll by itself, so what is large grows smaller as panels grow more.
"""

from dataclasses import dataclass
from datetime import date, datetime

from fastapi import APIRouter
from starlette.responses import Response

from server.formats.drawings import Miniature
from server.services import board
from server.services.board.facts import Moment, PanelFact, Standing, TodayBoard
from server.web import standing_words, words
from server.web.ahead import keep_today_ready
from server.web.deps import Page
from server.web.drawn import little_panel

router = APIRouter()

REFRESH_S = 300
LARGE = (Standing.READY, Standing.TEST_FIRST, Standing.STOPPED)
RESTING = (Standing.RESTS, Standing.UNPLANNED, Standing.FINISHED)
MINI_BOX, SMALL_BOX = 88.0, 40.0
CROWDED, PACKED = 6, 16  # so many large panels make the wall's letters smaller, once and twice


@dataclass(frozen=True, slots=True)
class OnTheWall:
    """One panel, in words that start from the studio's day. ``due`` is empty where nothing is promised."""

    uid: str
    title: str
    kind: str
    word: str
    detail: str
    due_kind: str
    due: str
    mini: Miniature


@dataclass(frozen=True, slots=True)
class WallPage:
    """The names of ``wall/page.html``. ``told_at`` is the moment told, as ``09:40`` in the studio's zone."""

    day: date
    told_at: str
    refresh_s: int
    crowd: str
    large: tuple[OnTheWall, ...]
    resting: tuple[OnTheWall, ...]


@router.get("/wall")
def wall(page: Page) -> Response:
    """The studio as it stands now, to be read from three metres."""
    with page.db.read() as session:
        found = board.today(session, page.actor, page.now, page.zone, None)
    keep_today_ready(page)
    return page.render("wall/page.html", wall_page(found, page.now))


def wall_page(found: TodayBoard, now: datetime) -> WallPage:
    """A board as the wall shows it."""
    wanting = [panel for standing in LARGE for panel in found.groups[standing]]
    others = [panel for standing in RESTING for panel in found.groups[standing]]
    wanting += [panel for panel in others if panel.due and panel.due.at_risk]
    large = tuple(_shown(panel, found.moment, MINI_BOX) for panel in wanting)
    resting = tuple(_shown(panel, found.moment, SMALL_BOX) for panel in others if panel not in wanting)
    crowd = "packed" if len(large) > PACKED else "crowded" if len(large) > CROWDED else "roomy"
    told_at = words.clock(now.astimezone(found.moment.zone))
    return WallPage(found.moment.on, told_at, REFRESH_S, crowd, large, resting)


def _shown(panel: PanelFact, moment: Moment, box: float) -> OnTheWall:
    due = panel.due
    return OnTheWall(
        uid=panel.uid,
        title=panel.title,
        kind=standing_words.STANDING_SHAPES[panel.standing],
        word=standing_words.STANDING_WORDS[panel.standing],
        detail=standing_words.rest_words(panel, moment.today),
        due_kind="" if due is None else "at_risk" if due.at_risk else "due",
        due="" if due is None else standing_words.due_words(due, moment.today),
        mini=little_panel(panel, box),
    )
