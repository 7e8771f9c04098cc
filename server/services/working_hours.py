"""Working hours as people say them: every week with a break, away from one day to another, every second Wednesday,
a list of public holidays. Each becomes lines of hours; a repeating one as a rule by RFC 5545."""

from collections.abc import Sequence
from datetime import date
from typing import Annotated, Literal

from pydantic import Field, ValidationInfo, field_validator
from sqlmodel import Session

from server.planning.schedule.repeating import WEEKDAYS
from server.services import own_feeds, planning, records
from server.services.access import Actor, allow
from server.services.errors import Invalid, NotFound, Refused
from server.services.fields import Command, Day, OptionalText120, Text120
from server.services.names_in_texts import exchanged
from server.services.planning import Clock, WorkTimeCreate, as_clock, minutes_of
from server.store.tables import StudioPlan, WorkTime

Weekday = Literal["1", "2", "3", "4", "5", "6", "7"]
# Every so many weeks, or a weekday of each month counted from its first or its last.
Rhythm = Literal["1", "2", "3", "4", "first", "second", "third", "fourth", "last"]
NTH = {"first": "1", "second": "2", "third": "3", "fourth": "4", "last": "-1"}


def _some(days: tuple[str, ...]) -> tuple[str, ...]:
    if not days:
        raise ValueError("Tick at least one day.")
    return tuple(sorted(set(days)))


class WeekCreate(Command):
    """Hours of every week, with a second stretch after a break."""

    painter: Text120
    weekdays: Annotated[tuple[Weekday, ...], Field(max_length=7)] = Field(default=(), validate_default=True)
    start: Clock = ""
    end: Clock = Field(default="", validate_default=True)
    again_start: Clock = ""
    again_end: Clock = Field(default="", validate_default=True)

    _weekdays = field_validator("weekdays")(_some)

    @field_validator("end")
    @classmethod
    def _first(cls, end: str, info: ValidationInfo) -> str:
        if "start" in info.data and not (info.data["start"] and end):
            raise ValueError("From when until when?")
        return _later(info.data.get("start", ""), end)

    @field_validator("again_end")
    @classmethod
    def _second(cls, end: str, info: ValidationInfo) -> str:
        start = info.data.get("again_start", "")
        if bool(start) != bool(end):
            raise ValueError("Give both times after the break, or neither.")
        if start and info.data.get("end") and minutes_of(start) < minutes_of(info.data["end"]):
            raise ValueError("The second stretch begins before the first has ended.")
        return _later(start, end)


class DayCreate(Command):
    """Hours on one day, beside those that it has otherwise or in place of them."""

    painter: Text120
    on_date: Day
    start: Clock = ""
    end: Clock = Field(default="", validate_default=True)
    how: Literal["beside", "instead"] = "beside"

    @field_validator("end")
    @classmethod
    def _both(cls, end: str, info: ValidationInfo) -> str:
        if "start" in info.data and not (info.data["start"] and end):
            raise ValueError("From when until when?")
        return _later(info.data.get("start", ""), end)


class AwayCreate(Command):
    """Days without work, the first and the last included. ``painter`` "": for everybody."""

    painter: OptionalText120 = ""
    from_on: Day
    until_on: Day = Field(validate_default=True)
    label: OptionalText120 = ""

    @field_validator("until_on")
    @classmethod
    def _in_order(cls, until_on: date, info: ValidationInfo) -> date:
        first = info.data.get("from_on", until_on)
        if until_on < first:
            raise ValueError("The last day lies before the first.")
        if (until_on - first).days >= planning.MOST_AWAY_D:
            raise ValueError(f"Keep one stretch to {planning.MOST_AWAY_D} days.")
        return until_on


class RepeatCreate(Command):
    """Weekdays that come back otherwise than every week: with hours of their own, or without work."""

    painter: OptionalText120 = ""
    rhythm: Rhythm = "2"
    weekdays: Annotated[tuple[Weekday, ...], Field(max_length=7)] = Field(default=(), validate_default=True)
    from_on: Day
    until_on: Day | None = None
    start: Clock = ""
    end: Clock = Field(default="", validate_default=True)

    _weekdays = field_validator("weekdays")(_some)

    @field_validator("until_on")
    @classmethod
    def _in_order(cls, until_on: date | None, info: ValidationInfo) -> date | None:
        if until_on is not None and until_on < info.data.get("from_on", until_on):
            raise ValueError("The last day lies before the first.")
        return until_on

    @field_validator("end")
    @classmethod
    def _both(cls, end: str, info: ValidationInfo) -> str:
        start = info.data.get("start", "")
        if bool(start) != bool(end):
            raise ValueError("Give both times, or neither for days without work.")
        if start and not info.data.get("painter", "?"):
            raise ValueError("Say above who works then. Days without work may be everybody's.")
        return _later(start, end)

    @property
    def rule(self) -> str:
        """The days as RFC 5545 writes them."""
        names = [WEEKDAYS[int(day) - 1] for day in self.weekdays]
        if self.rhythm in NTH:
            rule = f"FREQ=MONTHLY;BYDAY={','.join(NTH[self.rhythm] + name for name in names)}"
        else:
            rule = f"FREQ=WEEKLY;INTERVAL={self.rhythm};BYDAY={','.join(names)}"
        return rule + (f";UNTIL={self.until_on:%Y%m%d}" if self.until_on else "")


class PainterRename(Command):
    """``painter``: as the hours name them until now."""

    painter: Text120
    name: Text120


def _later(start: str, end: str) -> str:
    if start and end and minutes_of(end) <= minutes_of(start):
        raise ValueError("This must be later than the beginning.")
    return end


def add_week(session: Session, actor: Actor, command: WeekCreate) -> None:
    """Raises ``Refused`` at the beginning of hours that overlap with some that stand."""
    for field, end in (("start", command.end), ("again_start", command.again_end)):
        start = getattr(command, field)
        if start:
            line = WorkTimeCreate(painter=command.painter, weekdays="".join(command.weekdays), start=start, end=end)
            _add(session, actor, line, field)


def _add(session: Session, actor: Actor, line: WorkTimeCreate, field: str) -> None:
    """Add a line that was said otherwise: what stands in its way is told at the ``field`` it came from."""
    try:
        planning.create(session, actor, line)
    except Refused as fault:
        raise Refused(fault.message, field if fault.field else "") from fault


def add_day(session: Session, actor: Actor, command: DayCreate) -> list[tuple[int, int]]:
    """Answers the hours of the day as they are then, in minutes.

    Hours of a single day take the place of those of every week, so these are added for the day as well where they are
    to stand beside. What the painter has for this very day is put away where it is closed or to be replaced. Raises
    ``Refused`` at ``start`` for hours that overlap.
    """
    on, painter = command.on_date, command.painter
    usual: list[tuple[int, int]] = []
    if command.how == "beside":
        usual = planning.hours_on(planning.all_open(session, actor), painter, on)
    has_own = False
    for row in planning.all_open(session, actor):
        if row.painter == painter and row.on_date == on and row.until_on is None and not row.rule:
            if row.start_min is None or command.how == "instead":
                planning.archive(session, actor, row.uid)
            else:
                has_own = True
    session.flush()
    new = (minutes_of(command.start), minutes_of(command.end))
    for start, end in ([] if has_own else usual) + [new]:
        line = WorkTimeCreate(painter=painter, on_date=on, start=as_clock(start), end=as_clock(end))
        planning.create(session, actor, line)
    return planning.hours_on(planning.all_open(session, actor), painter, on)


def add_away(session: Session, actor: Actor, command: AwayCreate) -> list[date]:
    """Answers the days of the stretch that have hours of their own: they are worked all the same."""
    line = WorkTimeCreate(
        painter=command.painter,
        on_date=command.from_on,
        until_on=None if command.until_on == command.from_on else command.until_on,
        label=command.label,
    )
    _add(session, actor, line, "from_on")
    return [
        on for on in _days_of_their_own(session, actor, command.painter) if command.from_on <= on <= command.until_on
    ]


def _days_of_their_own(session: Session, actor: Actor, painter: str) -> list[date]:
    """The single days on which a painter works, or with ``painter`` "" anybody."""
    rows = planning.all_open(session, actor)
    found = {row.on_date for row in rows if painter in (row.painter, planning.EVERYBODY) and _is_day(row, opened=True)}
    return sorted(on for on in found if on is not None)


def add_repeat(session: Session, actor: Actor, command: RepeatCreate) -> None:
    line = WorkTimeCreate(
        painter=command.painter, on_date=command.from_on, rule=command.rule, start=command.start, end=command.end
    )
    planning.create(session, actor, line)


def add_holidays(
    session: Session, actor: Actor, painter: str, days: Sequence[tuple[date, str]]
) -> tuple[int, list[date]]:
    """Days without work, with what they are called. Answers how many are new, and which of the list have hours of their
    own: those are worked all the same. Raises ``Refused`` where no day is new."""
    own = _days_of_their_own(session, actor, painter)
    worked = [on for on, _ in days if on in own]
    rows = [row for row in planning.all_open(session, actor) if row.painter == painter]
    there = {row.on_date for row in rows if _is_day(row, opened=False) or _is_day(row, opened=True)}
    added = [(on, name) for on, name in days if on not in there]
    if not added and worked:
        raise Refused("These days have hours of their own. Take those away first.", "dates")
    if not added:
        raise Refused("All of these days stand there already.")
    for on, name in added:
        planning.create(session, actor, WorkTimeCreate(painter=painter, on_date=on, label=name))
    return len(added), worked


def rename_painter(session: Session, actor: Actor, command: PainterRename) -> int:
    """Call a painter otherwise in all their hours, those put away included, and in the plans that stand; answers how
    many lines of hours. Their own calendars follow, since they hold on to the hours and not to the name.

    Raises ``NotFound`` where nobody of that name has hours, ``Invalid`` at ``name`` where somebody else has it.
    """
    rows = records.find_all(session, actor, WorkTime) + records.find_all(session, actor, WorkTime, archived=True)
    mine = [row for row in rows if row.painter == command.painter]
    if not mine:
        raise NotFound
    if command.name == command.painter:
        return 0
    if any(row.painter == command.name for row in rows):
        raise Invalid.at("name", "There are hours of this name already.")
    own_feeds.hold_on_to(session, mine[-1])
    for row in mine:
        allow(actor, "update", row)
        row.painter = command.name
    for plan in records.find_all(session, actor, StudioPlan):
        content = exchanged(plan.content_json, (command.painter,), command.name)
        if content != plan.content_json:
            plan.content_json = content
    session.flush()
    return len(mine)


def _is_day(row: WorkTime, opened: bool) -> bool:
    """Whether a line is of a single day, with hours or without work."""
    is_single = row.on_date is not None and row.until_on is None and not row.rule
    return is_single and (row.start_min is not None) == opened
