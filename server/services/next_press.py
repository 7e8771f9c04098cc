"""When a press would teach most, and by which days a layer is dry: the shortest run of days that holds most chance.

One press at even odds carries two thirds of what knowing the exact moment would; one at one in ten, a third.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.science.learning.phrase import dots, shortest_run
from server.science.results import Stage, StageRange
from server.science.stages import odds_reached
from server.services.access import Actor
from server.services.board import calendar
from server.services.board.chains import start_of_day
from server.services.board.facts import CalendarLayer, CalendarRow, Moment, Standing
from server.services.board.films import instant

SECONDS_PER_DAY = 86_400.0
HORIZON_D = 400
WAITS = (Standing.RESTS, Standing.TEST_FIRST, Standing.STOPPED, Standing.UNPLANNED)
NEARLY = 0.995  # dry with this chance: nothing to press for


@dataclass(frozen=True, slots=True)
class NextPress:
    """A layer that is drying. ``best_at``: when it is as likely dry as not, given that it is not yet.

    ``first`` to ``last`` are the days that hold ``mass`` of the chance; ``likeliest`` is set where one day stands out;
    ``dots`` are twenty equally likely days; ``surest_on``: dry by the end of it nine times in ten.
    """

    panel_uid: str
    layer_uid: str
    title: str
    kind: str
    best_at: datetime
    first: date
    last: date
    mass: float
    likeliest: date | None
    dots: tuple[date, ...]
    surest_on: date


def next_presses(session: Session, actor: Actor, now: datetime, zone: ZoneInfo) -> list[NextPress]:
    """The top layers that are not dry yet, the next to press first."""
    board = calendar(session, actor, now, zone)
    found = [_of_row(row, board.moment) for row in board.rows]
    return sorted((each for each in found if each is not None), key=lambda each: each.best_at)


def _of_row(row: CalendarRow, moment: Moment) -> NextPress | None:
    on = [layer for layer in row.layers if not layer.is_planned]
    if row.panel.standing not in WAITS or not on:
        return None
    top = on[-1]
    touch = top.stages.get(Stage.DRY_TO_TOUCH)
    if touch is None or row.panel.rest.touch_odds is None or row.panel.rest.touch_odds > NEARLY:
        return None
    return press_of((row.panel.uid, row.panel.title), top, touch, moment)


def press_of(panel: tuple[str, str], top: CalendarLayer, touch: StageRange, moment: Moment) -> NextPress | None:
    """The next press of a layer whose dry-to-touch has this range; None when it counts as dry already."""
    age_d = (moment.at - top.start).total_seconds() / SECONDS_PER_DAY
    before = odds_reached(touch, age_d)
    if before > NEARLY:
        return None
    ends = [start_of_day(moment.on + timedelta(days=n + 1), moment.zone) for n in range(HORIZON_D)]
    ages = [(end - top.start).total_seconds() / SECONDS_PER_DAY for end in ends]
    below = [0.0, *((odds_reached(touch, age) - before) / (1 - before) for age in ages)]
    masses = [max(0.0, later - sooner) for sooner, later in pairwise(below)]
    run = shortest_run(masses)
    days = [moment.on + timedelta(days=n) for n in range(HORIZON_D)]
    surest = next((day for day, reached in zip(days, below[1:], strict=True) if reached >= 0.9), days[-1])
    return NextPress(
        panel_uid=panel[0],
        layer_uid=top.uid,
        title=panel[1],
        kind=top.kind,
        best_at=instant(top.start, _even(touch, age_d, before)),
        first=days[run.first],
        last=days[run.last],
        mass=run.mass,
        likeliest=None if run.likeliest is None else days[run.likeliest],
        dots=tuple(days[n] for n in dots(masses)),
        surest_on=surest,
    )


def _even(touch: StageRange, age_d: float, before: float) -> float:
    """The age at which half of what is left of the chance is used up."""
    goal = before + 0.5 * (1 - before)
    low, high = age_d, max(touch.p95_d, age_d + 0.01) * 4
    for _ in range(40):
        middle = 0.5 * (low + high)
        if odds_reached(touch, middle) < goal:
            low = middle
        else:
            high = middle
    return high
