"""The layers that are drying: when to press each next, and by which days it is dry."""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.science.results import Stage
from server.services.access import Actor
from server.services.board import calendar
from server.services.board.calendar_facts import CalendarRow
from server.services.board.facts import DaySpan, Moment, PressFact, Standing
from server.services.board.spans import dot_days

WAITS = (Standing.RESTS, Standing.TEST_FIRST, Standing.STOPPED, Standing.UNPLANNED)


@dataclass(frozen=True, slots=True)
class NextPress:
    """A layer that is drying: when to press it, its days to the touch, and twenty equally likely ones among them."""

    panel_uid: str
    layer_uid: str
    title: str
    kind: str
    press: PressFact
    span: DaySpan
    dots: tuple[date, ...]


def next_presses(session: Session, actor: Actor, now: datetime, zone: ZoneInfo) -> list[NextPress]:
    """The top layers that a press is asked for, the next to press first."""
    board = calendar(session, actor, now, zone)
    found = [_of_row(row, board.moment) for row in board.rows]
    return sorted((each for each in found if each is not None), key=lambda each: each.press.at)


def _of_row(row: CalendarRow, moment: Moment) -> NextPress | None:
    on = [layer for layer in row.layers if not layer.is_planned]
    press = row.panel.rest.press
    if row.panel.standing not in WAITS or not on or press is None:
        return None
    top = on[-1]
    return NextPress(
        panel_uid=row.panel.uid,
        layer_uid=top.uid,
        title=row.panel.title,
        kind=top.kind,
        press=press,
        span=top.days[Stage.DRY_TO_TOUCH],
        dots=dot_days(top.start, top.stages[Stage.DRY_TO_TOUCH], moment.zone),
    )
