"""When a press would tell most: at about even odds, and once more at three in four.

A press at even odds carries two thirds of what knowing the exact moment would, one at one in ten a third. A moment in
the night is moved to the nearer end of it; one that was pressed already is not asked for again.
"""

from collections.abc import Sequence
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from server.science.results import StageRange
from server.science.stages import age_reached, odds_reached
from server.services.board.facts import Moment, PressFact
from server.services.board.spans import SECONDS_PER_DAY, instant

CHANCES = (0.5, 0.75)
WAKES, SLEEPS = time(8), time(21)  # nobody is woken for a press; common practice, no source
EARLY, LATE = timedelta(hours=2), timedelta(hours=12)  # around the moment, in which a press counts as asked for
NEARLY = 0.995  # dry with this chance: nothing to press for


def press_of(painted_at: datetime, touch: StageRange, tests: Sequence[Any], moment: Moment) -> PressFact | None:
    """The next press to ask for, of a layer whose dry-to-touch has this range; None where none is left to ask for.

    ``tests`` are its touch tests so far, from the earliest on.
    """
    age_d = (moment.at - painted_at).total_seconds() / SECONDS_PER_DAY
    if touch.p10_d <= 0.0 or touch.p10_d >= touch.p90_d or odds_reached(touch, age_d) > NEARLY:
        return None
    last = tests[-1].pressed_at if tests else None
    for chance in CHANCES:
        at = awake(instant(painted_at, age_reached(touch, chance)), moment.zone)
        was_pressed = last is not None and last >= at - EARLY
        if moment.at <= at + LATE and not was_pressed:
            return PressFact(at, chance, moment.at >= at - EARLY)
    return None


def awake(at: datetime, zone: ZoneInfo) -> datetime:
    """The moment itself by day; in the night its nearer end."""
    local = at.astimezone(zone)
    if WAKES <= local.time() < SLEEPS:
        return at
    night = local.date() if local.time() >= SLEEPS else local.date() - timedelta(days=1)
    evening = datetime.combine(night, SLEEPS, zone).astimezone(at.tzinfo)
    morning = datetime.combine(night + timedelta(days=1), WAKES, zone).astimezone(at.tzinfo)
    return evening if at - evening <= morning - at else morning
