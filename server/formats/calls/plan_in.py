"""The request of the ``plan`` call: painters, panels and what was planned before, with the range of every number."""

import re
from datetime import date, datetime
from typing import Annotated, Literal, Self
from zoneinfo import available_timezones

from pydantic import AfterValidator, AwareDatetime, BeforeValidator, ConfigDict, Field, model_validator

from server.formats.calls.layer_in import CallModel, Code, NotTiny

FIRST_YEAR, LAST_YEAR = 1970, 2200
MOST_PANELS, MOST_PAINTERS, MOST_SITTINGS, MOST_EACH = 2000, 60, 20_000, 60

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_CLOCK = re.compile(r"([01]\d|2[0-3]):[0-5]\d|24:00")


def _day(value: object) -> object:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    try:
        if isinstance(value, str) and _DAY.fullmatch(value) and FIRST_YEAR <= int(value[:4]) <= LAST_YEAR:
            return date.fromisoformat(value)
    except ValueError:
        pass
    raise ValueError(f"must be a day like 2026-11-02, from {FIRST_YEAR} to {LAST_YEAR}")


def _clock(value: str) -> str:
    if not _CLOCK.fullmatch(value):
        raise ValueError("must be a time of day like 09:00")
    return value


def _known_zone(name: str) -> str:
    if name not in available_timezones():
        raise ValueError("is no known time zone, such as Europe/Lisbon")
    return name


def _in_years(value: datetime) -> datetime:
    if not FIRST_YEAR <= value.year <= LAST_YEAR:
        raise ValueError(f"must lie between {FIRST_YEAR} and {LAST_YEAR}")
    return value


Day = Annotated[date, BeforeValidator(_day)]
Clock = Annotated[str, Field(strict=True), AfterValidator(_clock)]
Instant = Annotated[AwareDatetime, AfterValidator(_in_years)]
Weekday = Annotated[int, Field(strict=True, ge=1, le=7)]
ReferenceD = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=4000)]
DryingD = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=4000), NotTiny]
Speed = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.02, le=50)]
Flag = Annotated[bool, Field(strict=True)]


class HoursIn(CallModel):
    """Working time of every week; ``weekdays`` are ISO numbers, 1 is Monday."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False)
    weekdays: list[Weekday] = Field(min_length=1, max_length=7)
    start: Clock = Field(alias="from")
    end: Clock = Field(alias="to")

    @model_validator(mode="after")
    def ends_later(self) -> Self:
        if self.end <= self.start:
            raise ValueError("'to' must be later than 'from' on the same day")
        return self


class ExceptionIn(CallModel):
    """A day unlike its weekday: closed, or with these hours in place of the usual ones; several on a day add up."""

    on: Day
    closed: Flag = False
    start: Clock | None = Field(default=None, alias="from")
    end: Clock | None = Field(default=None, alias="to")

    @model_validator(mode="after")
    def closed_or_hours(self) -> Self:
        if self.closed != (self.start is None and self.end is None) or (self.start is None) != (self.end is None):
            raise ValueError("give either closed, or both 'from' and 'to'")
        if self.start is not None and self.end is not None and self.end <= self.start:
            raise ValueError("'to' must be later than 'from' on the same day")
        return self


class PainterIn(CallModel):
    id: Code
    hours: list[HoursIn] = Field(default_factory=list, max_length=50)
    exceptions: list[ExceptionIn] = Field(default_factory=list, max_length=2000)


class SpeedIn(CallModel):
    """Drying speed relative to the reference room: twelve months, or days from ``today`` on."""

    by_month: list[Speed] | None = Field(default=None, min_length=12, max_length=12)
    by_day: list[Speed] | None = Field(default=None, min_length=1, max_length=4000)

    @model_validator(mode="after")
    def one_of_two(self) -> Self:
        if (self.by_month is None) == (self.by_day is None):
            raise ValueError("give either by_month or by_day")
        return self


class SpreadIn(CallModel):
    """Reference days at p50 and p90 of a log-normal."""

    p50: DryingD
    p90: DryingD

    @model_validator(mode="after")
    def in_order(self) -> Self:
        if self.p90 < self.p50:
            raise ValueError("p90 must not be below p50")
        return self


class SittingIn(CallModel):
    id: Code
    minutes: Annotated[int, Field(strict=True, ge=1, le=1440)]
    palette: Code | None = None
    painters: list[Code] = Field(default_factory=list, max_length=MOST_PAINTERS)
    drying_reference_d: SpreadIn | None = None
    rack_reference_d: ReferenceD | None = None


class LinkIn(CallModel):
    """``within_reference_d`` runs from the start of the first window to the start of the second."""

    before: Code = Field(alias="from")
    after: Code = Field(alias="to")
    kind: Literal["dry", "wet_in_wet", "tacky", "split"]
    after_reference_d: ReferenceD | None = None
    within_reference_d: DryingD | None = None


class PanelIn(CallModel):
    id: Code
    size: Annotated[int, Field(strict=True, ge=1, le=1000)] = 1
    weight: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=1000)] = 1.0
    release_on: Day | None = None
    due_on: Day | None = None
    final_wait_reference_d: ReferenceD | SpreadIn = 0.0
    final_handling_d: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=365)] = 0.0
    sittings: list[SittingIn] = Field(min_length=1, max_length=MOST_EACH)
    links: list[LinkIn] = Field(default_factory=list, max_length=4 * MOST_EACH)


class PreviousIn(CallModel):
    """Where a sitting stood in the plan before; a ``done`` one is over, a ``pinned`` one stays."""

    sitting: Code
    start_at: Instant
    pinned: Flag = False
    done: Flag = False


class PlanRequest(CallModel):
    """Which sitting when, so that panels are dry and gone by their dates.

    With ``moves`` the search tries exactly so many changes, and the answer depends on nothing but the request;
    without it the search stops after ``seconds``. ``easels`` and ``rack_places`` are counted by sittings: two layers of
    one panel that are there at a time count twice.
    """

    today: Day
    time_zone: Annotated[str, Field(strict=True, max_length=64), AfterValidator(_known_zone)] = "UTC"
    confidence: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.5, le=0.99)] = 0.9
    seconds: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=600)] = 1.0
    move_price: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=1_000_000)] = 60.0
    moves: Annotated[int, Field(strict=True, ge=0, le=50_000_000)] | None = None
    seed: Annotated[int, Field(strict=True, ge=0, le=2**31 - 1)] = 1
    painters: list[PainterIn] = Field(min_length=1, max_length=MOST_PAINTERS)
    drying_speed: SpeedIn = SpeedIn(by_month=[1.0] * 12)
    rack_places: Annotated[int, Field(strict=True, ge=0, le=100_000)] | None = None
    easels: Annotated[int, Field(strict=True, ge=0, le=10_000)] | None = None
    mix_setup_min: Annotated[int, Field(strict=True, ge=0, le=600)] = 30
    panels: list[PanelIn] = Field(max_length=MOST_PANELS)
    previous: list[PreviousIn] = Field(default_factory=list, max_length=MOST_SITTINGS)
