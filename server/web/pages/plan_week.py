"""A week for each painter: sittings of the plan in use, what to mix and press, the finish. To carry or to print."""

from dataclasses import replace
from datetime import date, timedelta

from fastapi import APIRouter
from starlette.responses import Response

from server.services import board
from server.services.board.worksheet import Asked, PainterDay, Worksheet, worksheet
from server.web import plan_words
from server.web.action_words import action_name
from server.web.calendar_rows import week_of
from server.web.deps import Page
from server.web.finish_words import early_words
from server.web.plan_shown import is_far

router = APIRouter(prefix="/plan")
FIRST_YEAR, LAST_YEAR = 1970, 2200


@router.get("/week")
def week(page: Page, start: str = "", painter: str = "") -> Response:
    """The week of any day; all painters, or one."""
    try:
        first = date.fromisoformat(start)
    except ValueError:
        first = page.today
    if not FIRST_YEAR <= first.year <= LAST_YEAR:
        first = page.today
    first = week_of(first)
    with page.db.read() as session:
        sheet = worksheet(session, page.actor, Asked(first, painter), page.now, page.zone)
        today = board.today(session, page.actor, page.now, page.zone)
    is_known = painter in sheet.painters
    names = {
        "sheet": _with_reasons(sheet, page.today),
        "holds": today.holds,
        "plan_waits": today.plan_waits,
        "painter": painter if is_known else "",
        "is_of_nobody": bool(painter) and not is_known,
        "is_far": is_far,
        "action_name": action_name,
        "early_words": early_words,
        "last": first + timedelta(days=6),
        "before": first - timedelta(days=7),
        "after": first + timedelta(days=7),
    }
    return page.render("plan/week.html", names)


def _with_reasons(sheet: Worksheet, today: date) -> Worksheet:
    """The same with the days in its reasons as the studio tells them."""

    def own(day: PainterDay) -> PainterDay:
        sittings = tuple(replace(one, why=plan_words.dates_words(one.why, today)) for one in day.sittings)
        return replace(day, sittings=sittings)

    return replace(sheet, days=tuple(replace(day, painters=tuple(map(own, day.painters))) for day in sheet.days))
