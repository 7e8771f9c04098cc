"""The question a plan answers: painters with their hours, panels with their sittings, and what is fixed already."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from functools import lru_cache
from math import exp, log
from statistics import NormalDist
from zoneinfo import ZoneInfo

Z90 = NormalDist().inv_cdf(0.9)
TARDINESS_PRICE = 100.0  # a day late of a panel of weight 1
SET_UP_PRICE = 100.0  # a palette mixed on a day by a painter, where a problem does not say otherwise
FLOW_PRICE = 2.0  # a day between a panel's delivery and the earliest it could be


@lru_cache(maxsize=64)  # a plan asks for few chances, for every wait
def _score(confidence: float) -> float:
    return NormalDist().inv_cdf(confidence)


class LinkKind(StrEnum):
    """How one sitting follows another on the same panel."""

    DRY = "dry"  # once the lower layer is ready
    WET_IN_WET = "wet_in_wet"  # before the lower layer sets
    TACKY = "tacky"  # between two limits
    SPLIT = "split"  # a long sitting carried on


@dataclass(frozen=True, slots=True)
class Spread:
    """A duration in reference days: log-normal through ``p50_d`` and ``p90_d``."""

    p50_d: float
    p90_d: float

    def at(self, confidence: float) -> float:
        """The duration that is not exceeded with this chance, 0 to 1."""
        if self.p50_d <= 0.0:
            return 0.0
        return self.p50_d * exp(_score(confidence) / Z90 * log(self.p90_d / self.p50_d))


@dataclass(frozen=True, slots=True)
class Hours:
    """Working time that comes back every week. ``weekdays`` are ISO (1 is Monday); minutes of the wall clock's day."""

    weekdays: frozenset[int]
    start_min: int
    end_min: int


@dataclass(frozen=True, slots=True)
class DayHours:
    """One day that is unlike its weekday: its own hours in place of the weekly ones; ``None`` twice: closed."""

    on: date
    start_min: int | None = None
    end_min: int | None = None


@dataclass(frozen=True, slots=True)
class RuleHours:
    """Hours that repeat by a rule (RFC 5545, the text after ``RRULE:``) from ``first_on`` on; without hours: closed."""

    rule: str
    first_on: date
    start_min: int | None = None
    end_min: int | None = None


@dataclass(frozen=True, slots=True)
class Painter:
    """Days of a rule take the place of weekly hours, single days take the place of both. Lines of one rule counted from
    one day add up; a day that several rules name is the last one's."""

    id: str
    hours: tuple[Hours, ...]
    days: tuple[DayHours, ...] = ()
    rules: tuple[RuleHours, ...] = ()


def hours_by_rule(rules: Sequence[RuleHours]) -> dict[tuple[str, date], list[tuple[int, int]]]:
    """The hours of each rule and the day it is counted from, none where it is closed; the one that others give way to
    comes last."""
    found: dict[tuple[str, date], list[tuple[int, int]]] = {}
    for line in rules:
        hours = found.pop((line.rule, line.first_on), [])
        own = [] if line.start_min is None or line.end_min is None else [(line.start_min, line.end_min)]
        found[line.rule, line.first_on] = hours + own
    return found


@dataclass(frozen=True, slots=True)
class Sitting:
    """One painting session on one panel. ``painters`` empty: any. ``drying`` is when its layer may take the next one.

    ``rack_d`` reference days until it may be stacked; None: it takes no place in the rack.
    """

    id: str
    minutes: int
    palette: str | None = None
    painters: tuple[str, ...] = ()
    drying: Spread | None = None
    rack_d: float | None = None


@dataclass(frozen=True, slots=True)
class Link:
    """``after_d`` and ``within_d`` in reference days. Wet limits hold at p10 where the layer's spread is known.

    ``rest_d``, of dry links: so many calendar days, whatever the climate, lie at the least between the end of the lower
    sitting's window and the start of the upper's. It is what a rule asks beside drying.
    """

    before: str
    after: str
    kind: LinkKind
    after_d: float = 0.0
    within_d: float | None = None
    rest_d: float = 0.0


@dataclass(frozen=True, slots=True)
class DryingSpeed:
    """Drying speed of each day, relative to the reference room: twelve months, or days from ``today`` on.

    Beyond its end the last 28 days of ``by_day`` repeat.
    """

    by_month: tuple[float, ...] = ()
    by_day: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class PanelJob:
    """A panel to plan. ``final_wait`` reference days from the last sitting, then ``handling_d`` calendar days.

    ``speed``: of the place where it dries; None: the problem's. It is there from the beginning of ``release_on`` and
    from ``release_at``, whichever comes later.
    """

    id: str
    sittings: tuple[Sitting, ...]
    links: tuple[Link, ...] = ()
    size: int = 1
    weight: float = 1.0
    release_on: date | None = None
    release_at: datetime | None = None
    due_on: date | None = None
    final_wait: Spread = Spread(0.0, 0.0)
    handling_d: float = 0.0
    speed: DryingSpeed | None = None


@dataclass(frozen=True, slots=True)
class Previous:
    """Where a sitting stood in the plan before. ``pinned`` ones stay; ``done`` ones are over.

    ``painter``: in whose hand, where that is known.
    """

    sitting: str
    start_at: datetime
    pinned: bool = False
    done: bool = False
    painter: str | None = None


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything a plan depends on, but for the search's seed and budget. None: no limit on rack or easels."""

    today: date
    zone: ZoneInfo
    painters: tuple[Painter, ...]
    panels: tuple[PanelJob, ...]
    speed: DryingSpeed = DryingSpeed(by_month=(1.0,) * 12)
    confidence: float = 0.9
    rack_places: int | None = None
    easels: int | None = None
    set_up_min: int = 30
    set_up_price: float = SET_UP_PRICE
    move_price: float = 60.0
    previous: tuple[Previous, ...] = ()
    keep_today: bool = field(default=True)  # sittings of `previous` on `today` stay where they can
    pins_in_hours: bool = False  # a sitting pinned outside the hours is a fault; else it has its own working time there
    panel_once: bool = False  # a panel takes an easel and rack places once at a time; else each of its sittings does
    most_moved: int | None = None  # sittings that the search itself may move beyond those that have to

    def speed_of(self, panel: PanelJob) -> DryingSpeed:
        """How fast the layers of a panel dry."""
        return self.speed if panel.speed is None else panel.speed

    @property
    def slowest(self) -> float:
        """The drying speed of the slowest day in the slowest place."""
        speeds = {self.speed, *(self.speed_of(panel) for panel in self.panels)}
        return min(min(speed.by_month or speed.by_day) for speed in speeds)


def within_limit_d(link: Link, before: Sitting) -> float | None:
    """The wet limit of a link in reference days: at p10 (p50 squared over p90) where the spread is known."""
    if link.within_d is None:
        return None
    spread = before.drying
    if link.kind is LinkKind.SPLIT or spread is None or spread.p90_d <= 0.0:
        return link.within_d
    return link.within_d * spread.p50_d / spread.p90_d
