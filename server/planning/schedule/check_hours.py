"""The working hours as the checker reads them: stretches of one painter around one day, straight from the rules."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone

from dateutil.rrule import rrulestr

from server.planning.schedule.problem import Painter, Problem, RuleHours


@dataclass(frozen=True, slots=True)
class Stretch:
    """An unbroken working time, half-open, UTC."""

    start: datetime
    end: datetime


def stretches(problem: Problem, painter: Painter, around: datetime) -> list[Stretch]:
    """The painter's stretches on the local day of an instant."""
    on = around.astimezone(problem.zone).date()
    found = []
    for start_min, end_min in _hours(painter, on):
        start, end = _instant(problem, on, start_min), _instant(problem, on, end_min)
        if end > start:
            found.append(Stretch(start, end))
    return found


def stretch_of(found: Sequence[Stretch], start: datetime, end: datetime) -> Stretch | None:
    """The stretch that holds all from ``start`` to ``end``."""
    slack = timedelta(seconds=1)
    for stretch in found:
        if stretch.start - slack <= start and end <= stretch.end + slack:
            return stretch
    return None


def _instant(problem: Problem, on: date, minute: int) -> datetime:
    if minute == 1440:
        on, minute = on + timedelta(days=1), 0
    wall = datetime.combine(on, time(minute // 60, minute % 60), problem.zone)
    return wall.astimezone(timezone.utc)


def _hours(painter: Painter, on: date) -> list[tuple[int, int]]:
    own = [day for day in painter.days if day.on == on]
    if own:
        return [(d.start_min, d.end_min) for d in own if d.start_min is not None and d.end_min is not None]
    named = [rule for rule in painter.rules if _falls_on(rule, on)]
    if named:
        last = (named[-1].rule, named[-1].first_on)
        same = [rule for rule in named if (rule.rule, rule.first_on) == last]
        return [(r.start_min, r.end_min) for r in same if r.start_min is not None and r.end_min is not None]
    return [(h.start_min, h.end_min) for h in painter.hours if on.isoweekday() in h.weekdays]


def _falls_on(rule: RuleHours, on: date) -> bool:
    parts = [p for p in rule.rule.strip().upper().removeprefix("RRULE:").split(";") if p]
    parts = [p[:14] if p.startswith("UNTIL=") else p for p in parts]
    start = datetime.combine(rule.first_on, time())
    day = datetime.combine(on, time())
    return bool(rrulestr(";".join(parts), dtstart=start).between(day, day, inc=True))
