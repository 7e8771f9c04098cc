"""When painters work: hours of every week, single days, days by a repeating rule."""

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Annotated, Protocol

from pydantic import AfterValidator, Field, StringConstraints, ValidationInfo, field_validator
from sqlmodel import Session

from server.planning.rack import to_come_free
from server.planning.schedule.problem import DayHours, Hours, Painter, RuleHours, hours_by_rule
from server.planning.schedule.repeating import check_rule, last_day, rule_days
from server.services import records
from server.services.access import Actor, allow
from server.services.errors import Refused
from server.services.fields import Command, Day, OptionalText120, OptionalText200
from server.services.stack import zone_of
from server.services.unit import moment
from server.store.tables import WorkTime

MOST_LINES = 2000
MOST_AWAY_D = 400  # in one stretch
EVERYBODY = ""
_CLOCK = re.compile(r"([01]?\d|2[0-3])[:.]([0-5]\d)")


def _clock(text: str) -> str:
    if text and not _CLOCK.fullmatch(text):
        raise ValueError("Write a time like 09:30.")
    return text


def _days(text: str) -> str:
    if not set(text) <= set("1234567") or sorted(set(text)) != list(text):
        raise ValueError("Give weekdays by their numbers in order, 1 for Monday: 135, or 12345.")
    return text


Days = Annotated[str, StringConstraints(max_length=7), AfterValidator(_days)]
Clock = Annotated[str, StringConstraints(max_length=5), AfterValidator(_clock)]


class WorkTimeCreate(Command):
    """A stretch of work, by one of ``weekdays``, ``on_date`` and ``rule``; without times nobody works then. The
    hours of one day take the place of all that it has by its weekday or by a rule.

    ``until_on``: closed on every day from ``on_date`` to it. With a rule, ``on_date`` is the day that it is counted
    from. ``painter`` "": a day without work for everybody. ``label``: what a day off is called.
    """

    painter: OptionalText120
    weekdays: Days = ""
    on_date: Day | None = None
    until_on: Day | None = None
    rule: OptionalText200 = Field(default="", validate_default=True)
    start: Clock = ""
    end: Clock = Field(default="", validate_default=True)
    label: OptionalText120 = ""

    @field_validator("until_on")
    @classmethod
    def _in_order(cls, until_on: date | None, info: ValidationInfo) -> date | None:
        first = info.data.get("on_date")
        if until_on is None:
            return None
        if first is None:
            raise ValueError("Say from which day on.")
        if until_on < first:
            raise ValueError("The last day lies before the first.")
        if (until_on - first).days >= MOST_AWAY_D:
            raise ValueError(f"Keep one stretch to {MOST_AWAY_D} days.")
        return until_on

    @field_validator("rule")
    @classmethod
    def _one_way(cls, rule: str, info: ValidationInfo) -> str:
        is_day = bool(info.data.get("on_date")) and not rule
        if bool(info.data.get("weekdays")) + is_day + bool(rule) != 1:
            raise ValueError("Say either which weekdays, or which day, or a repeating rule: one of the three.")
        if rule and info.data.get("until_on"):
            raise ValueError("A rule ends by UNTIL or COUNT of its own, not by a last day.")
        if not rule:
            return rule
        checked, first = check_rule(rule), info.data.get("on_date")
        last = last_day(checked)
        if first is not None and last is not None and last < first:
            raise ValueError("This rule ends before the day it is counted from.")
        return checked

    @field_validator("end")
    @classmethod
    def _later(cls, end: str, info: ValidationInfo) -> str:
        start = info.data.get("start", "")
        if bool(start) != bool(end):
            raise ValueError("Give both times, or neither for a day without work.")
        if not start and info.data.get("weekdays"):
            raise ValueError("From when until when?")
        if start and info.data.get("until_on"):
            raise ValueError("On a stretch of days nobody works; leave the times empty.")
        if start and info.data.get("painter") == EVERYBODY:
            raise ValueError("Say who works then. Without a name, give no times: a day without work for everybody.")
        if start and minutes_of(end) <= minutes_of(start):
            raise ValueError("This must be later than the beginning.")
        return end


def minutes_of(clock: str) -> int:
    """Minutes of the day; raises ValueError for what is no time."""
    found = _CLOCK.fullmatch(clock)
    if found is None:
        raise ValueError("Write a time like 09:30.")
    return int(found[1]) * 60 + int(found[2])


def create(session: Session, actor: Actor, command: WorkTimeCreate) -> WorkTime:
    """Add a stretch of work; a rule is counted from today where no day is given. Raises ``Refused``, at a field where
    it overlaps with one of the same painter and days."""
    allow(actor, "create", None, WorkTime)
    on_date = command.on_date
    if command.rule and on_date is None:
        on_date = moment(session).astimezone(zone_of(session, actor.studio_id)).date()
    row = WorkTime(
        studio_id=actor.studio_id,
        painter=command.painter,
        weekdays=command.weekdays,
        on_date=on_date,
        until_on=command.until_on,
        label=command.label,
        rule=command.rule,
        start_min=minutes_of(command.start) if command.start else None,
        end_min=minutes_of(command.end) if command.end else None,
    )
    there = all_open(session, actor)
    if len(there) >= MOST_LINES:
        raise Refused(f"There are {MOST_LINES} lines of hours already. Take some away first.")
    for other in there:
        if _meet(row, other):
            whose = other.painter or "everybody"
            raise Refused(f"This overlaps with hours of {whose} that stand already.", _asked_by(row))
    session.add(row)
    session.flush()
    return row


def _asked_by(row: WorkTime) -> str:
    """The field of `WorkTimeCreate` that another line may stand in the way of."""
    if row.start_min is not None:
        return "start"
    return "weekdays" if row.on_date is None else "on_date"


def _meet(one: WorkTime, other: WorkTime) -> bool:
    same_days = bool(set(one.weekdays) & set(other.weekdays)) or (
        (one.on_date, one.until_on, one.rule) == (other.on_date, other.until_on, other.rule)
        and bool(one.on_date or one.rule)
    )
    if one.painter != other.painter or not same_days:
        return False
    if one.start_min is None or other.start_min is None or one.end_min is None or other.end_min is None:
        return True
    return one.start_min < other.end_min and other.start_min < one.end_min


def archive(session: Session, actor: Actor, uid: str) -> WorkTime:
    return records.archive(session, actor, WorkTime, uid)


def restore(session: Session, actor: Actor, uid: str) -> WorkTime:
    return records.restore(session, actor, WorkTime, uid)


def get(session: Session, actor: Actor, uid: str) -> WorkTime:
    return records.find(session, actor, WorkTime, uid)


def public(_session: Session, row: WorkTime) -> WorkTimeCreate:
    """The stretch as the command that would add it."""
    return WorkTimeCreate.model_construct(
        painter=row.painter,
        weekdays=row.weekdays,
        on_date=row.on_date,
        until_on=row.until_on,
        label=row.label,
        rule=row.rule,
        start=as_clock(row.start_min),
        end=as_clock(row.end_min),
    )


def as_clock(minutes: int | None) -> str:
    """``09:30``; "" for none."""
    return "" if minutes is None else f"{minutes // 60:02}:{minutes % 60:02}"


def all_open(session: Session, actor: Actor) -> list[WorkTime]:
    return records.find_all(session, actor, WorkTime)


class HoursLine(Protocol):
    """A line of hours: a record, or its columns."""

    @property
    def painter(self) -> str: ...
    @property
    def weekdays(self) -> str: ...
    @property
    def on_date(self) -> date | None: ...
    @property
    def until_on(self) -> date | None: ...
    @property
    def rule(self) -> str: ...
    @property
    def start_min(self) -> int | None: ...
    @property
    def end_min(self) -> int | None: ...
    @property
    def created_at(self) -> datetime: ...


def painters(rows: Sequence[HoursLine], today: date, from_min: int) -> tuple[Painter, ...]:
    """The planner's painters; of today only what is left of it from ``from_min`` of the wall clock on."""
    found = []
    for name in dict.fromkeys(row.painter for row in rows if row.painter != EVERYBODY):
        mine = [row for row in rows if row.painter in (name, EVERYBODY)]
        hours = tuple(
            Hours(frozenset(map(int, row.weekdays)), row.start_min or 0, row.end_min or 0)
            for row in mine
            if row.weekdays and row.end_min is not None
        )
        days = [day for row in mine if row.on_date is not None and not row.rule for day in _single(row, today)]
        rules = tuple(
            RuleHours(row.rule, row.on_date or row.created_at.date(), row.start_min, row.end_min)
            for row in mine
            if row.rule
        )
        usual = _hours_of(hours, rules, today)
        found.append(Painter(name, hours, tuple(_left_of_today(days, usual, today, from_min)), rules))
    return tuple(found)


def _single(row: HoursLine, today: date) -> list[DayHours]:
    """The days of a line, from today on where it is a stretch of them."""
    assert row.on_date is not None
    if row.until_on is None:
        return [DayHours(row.on_date, row.start_min, row.end_min)]
    first = max(row.on_date, today)
    return [DayHours(first + timedelta(days=n)) for n in range((row.until_on - first).days + 1)]


Stretches = list[tuple[int | None, int | None]]


def _hours_of(hours: tuple[Hours, ...], rules: tuple[RuleHours, ...], on: date) -> Stretches:
    """The hours of a day by its weekday, or by the last rule that names it."""
    for (rule, first_on), named in reversed(hours_by_rule(rules).items()):
        if rule_days(rule, first_on, on, 1):
            return [(start, end) for start, end in named]
    return [(h.start_min, h.end_min) for h in hours if on.isoweekday() in h.weekdays]


def hours_on(rows: Sequence[HoursLine], painter: str, on: date) -> list[tuple[int, int]]:
    """The hours of a painter on a day, in minutes and in their order, as a plan has them."""
    days = [day for one in painters(rows, on, 0) if one.id == painter for day in one.days if day.on == on]
    return sorted((d.start_min, d.end_min) for d in days if d.start_min is not None and d.end_min is not None)


def _left_of_today(days: list[DayHours], usual: Stretches, today: date, from_min: int) -> list[DayHours]:
    """Single days, with today cut to what is left of it."""
    own = [(d.start_min, d.end_min) for d in days if d.on == today]
    left = [
        DayHours(today, max(start, from_min), end)
        for start, end in own or usual
        if start is not None and end is not None and end > from_min
    ]
    return [*(d for d in days if d.on != today), *(left or [DayHours(today)])]


def rack_waits_for(wet: int, places: int) -> int:
    """How many of ``wet`` panels must dry before a new one is started; 0 while the rack has room."""
    return to_come_free(wet, places)
