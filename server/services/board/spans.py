"""A forecast as days: the shortest run of them that holds most of the chance. Every range that is told is made here."""

from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta, timezone
from itertools import pairwise
from math import ceil, exp, log
from zoneinfo import ZoneInfo

from server.science.learning.phrase import HOLDS, Run, dots, shortest_run
from server.science.results import StageRange
from server.science.stages import odds_at
from server.services.board.facts import DaySpan
from server.services.give_way import give_way

SECONDS_PER_DAY = 86_400.0
FARTHEST_D = 36_500.0  # a day a hundred years off is never shown as a date, and adding more overflows the calendar
MOST_STEPS = 60  # of days or, where a range is longer, of blocks of days
TAIL = 2.6 / 1.2815515655446004  # this many times p10 and p90 from the middle lie the last five in a thousand
SURE = 0.9


@dataclass(frozen=True, slots=True)
class DayChances:
    """The chance of each block of ``step`` days, the first beginning with ``first``; ``before`` is what lies ahead of
    them all."""

    first: date
    step: int
    before: float
    masses: tuple[float, ...]

    def day(self, block: int) -> date:
        """The first day of a block."""
        return self.first + timedelta(days=self.step * block)

    def last_day(self, block: int) -> date:
        return self.day(block + 1) - timedelta(days=1)


def instant(start: datetime, days: float) -> datetime:
    """``start`` and so many days of 24 hours."""
    return start.astimezone(timezone.utc) + timedelta(days=min(days, FARTHEST_D))


def local_day(at: datetime, zone: ZoneInfo) -> date:
    return at.astimezone(zone).date()


def day_of_age(since: datetime, days: float, zone: ZoneInfo) -> date:
    """The day on which what lies since then comes to an age that a rule asks for: the one that every page and every
    plan names. It may come to it at any hour of that day."""
    return local_day(instant(since, days), zone)


def start_of_day(on: date, zone: ZoneInfo) -> datetime:
    """The first instant of a day in the studio's zone, in UTC."""
    return datetime.combine(on, time(), zone).astimezone(timezone.utc)


def day_chances(start: datetime, found: StageRange, zone: ZoneInfo) -> DayChances:
    """The chances of the days on which a range of days after ``start`` is reached. Needs a range with a spread."""
    low_d, high_d = _end(found.p50_d, found.p10_d), min(_end(found.p50_d, found.p90_d), FARTHEST_D)
    first = local_day(instant(start, low_d), zone)
    opens_d = (start_of_day(first, zone) - start).total_seconds() / SECONDS_PER_DAY
    days = max(1, ceil(high_d - opens_d))
    step = ceil(days / MOST_STEPS)
    below = odds_at(found, [opens_d + step * n for n in range(ceil(days / step) + 1)])
    return DayChances(first, step, below[0], tuple(later - sooner for sooner, later in pairwise(below)))


def _end(middle_d: float, found_d: float) -> float:
    return exp(log(middle_d) + TAIL * (log(found_d) - log(middle_d)))


def day_span(start: datetime, found: StageRange, zone: ZoneInfo) -> DaySpan:
    """A range of days after ``start`` as dates in the studio's zone: the shortest run that holds `HOLDS`."""
    give_way()
    low, central, high = (local_day(instant(start, d), zone) for d in (found.p10_d, found.p50_d, found.p90_d))
    if found.p10_d >= found.p90_d:
        return DaySpan(low, central, high, sure=high)
    if found.p10_d <= 0.0:  # it may have come already: no logarithm to go by
        return DaySpan(low, central, high, HOLDS, SURE, sure=high)
    chances = day_chances(start, found, zone)
    run = shortest_run(chances.masses)
    return DaySpan(
        low=chances.day(run.first),
        central=min(max(central, chances.day(run.first)), chances.last_day(run.last)),
        high=chances.last_day(run.last),
        mass=round(run.mass, 3),
        until=round(chances.before + sum(chances.masses[: run.last + 1]), 3),
        likeliest=_likeliest(chances, run),
        sure=high,
    )


def _likeliest(chances: DayChances, run: Run) -> date | None:
    return chances.day(run.likeliest) if run.likeliest is not None and chances.step == 1 else None


def later_of(one: DaySpan, other: DaySpan) -> DaySpan:
    """``one``, but no day of it before those of ``other``."""
    if one.low >= other.low and one.high >= other.high:
        return one
    days = {name: max(getattr(one, name), getattr(other, name)) for name in ("low", "central", "high")}
    return DaySpan(**days, mass=min(one.mass, other.mass), until=min(one.until, other.until), sure=days["high"])


def not_before(span: DaySpan, day: date) -> DaySpan:
    """``span`` where nothing is let in before ``day``: what would have come sooner counts as come by then."""
    if day <= span.low:
        return span
    likeliest = span.likeliest if span.likeliest and span.likeliest >= day else None
    days = {name: max(getattr(span, name), day) for name in ("low", "central", "high")}
    return replace(span, **days, mass=span.until, likeliest=likeliest, sure=span.sure and max(span.sure, day))


def of_percentiles(low_d: float, middle_d: float, high_d: float) -> StageRange:
    """A range of which no more than p10, p50 and p90 is known."""
    return StageRange(low_d, low_d, middle_d, high_d, high_d)


def dot_days(start: datetime, found: StageRange, zone: ZoneInfo) -> tuple[date, ...]:
    """Twenty equally likely days on which the range is reached; none for a range without a spread."""
    if found.p10_d <= 0.0 or found.p10_d >= found.p90_d:
        return ()
    chances = day_chances(start, found, zone)
    return tuple(chances.day(block) for block in dots(chances.masses))
