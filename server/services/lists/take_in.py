"""Taking a list in: every line becomes a record, is there already, or says what is wrong with it.

The same run serves the preview, whose transaction is rolled back, so that what is shown is what will happen. A line
with a fault leaves nothing behind; the caller takes all lines or none.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal
from zoneinfo import ZoneInfo

from pydantic import ValidationError
from sqlmodel import Session

from server.formats.csv_read import Line, Sheet
from server.services.access import Actor, allow
from server.services.errors import Conflict, Invalid, NotFound, Refused
from server.services.lists import values
from server.services.lists.fields import FIELDS, Field, Kind, choice

MAX_FAULTS = 60
State = Literal["new", "there", "left"]
Words = Callable[[Any], str]  # a fault of pydantic in plain words


@dataclass(frozen=True, slots=True)
class Reading:
    """How a sheet is to be read. ``columns``: field -> its column, or the text that holds for every line; ``units``:
    field -> the unit its bare numbers are in."""

    kind: Kind
    sheet: Sheet
    columns: Mapping[str, int | str]
    units: Mapping[str, str]
    decimal: str
    order: values.Order


@dataclass(frozen=True, slots=True)
class Told:
    """What becomes of a line: a new record, one that is there already, or nothing (``left``)."""

    line: int
    state: State
    words: str


@dataclass(frozen=True, slots=True)
class Fault:
    """``column`` as the list heads it; "" for the line as a whole."""

    line: int
    column: str
    message: str


@dataclass(frozen=True, slots=True)
class Outcome:
    rows: tuple[Told, ...]
    faults: tuple[Fault, ...]

    def count(self, state: State) -> int:
        return sum(row.state == state for row in self.rows)


@dataclass(frozen=True, slots=True)
class At:
    """Where and when lines are taken in. ``used``: records that a line has been found to be, or has become."""

    session: Session
    actor: Actor
    zone: ZoneInfo
    now: datetime
    used: set[str] = field(default_factory=set)


class CellFault(Exception):
    """A cell that says nothing its field can hold."""

    def __init__(self, name: str, message: str) -> None:
        super().__init__(message)
        self.name = name
        self.message = message


@dataclass(frozen=True, slots=True)
class Cells:
    """One line, asked by field."""

    reading: Reading
    line: Line
    at: At

    def text(self, name: str) -> str:
        """What stands there; what is taken otherwise where nothing does."""
        where = self.reading.columns.get(name, "")
        written = self.line.cells[where] if isinstance(where, int) else where
        return written.strip() or self._field(name).otherwise

    def needed(self, name: str) -> str:
        found = self.text(name)
        if not found:
            raise CellFault(name, "This is needed.")
        return found

    def choice(self, name: str) -> str | None:
        return self._read(name, lambda text: choice(self._field(name), text))

    def number(self, name: str) -> float | None:
        return self._read(name, lambda text: values.number(text.removesuffix("%"), self.reading.decimal))

    def measure(self, name: str) -> float | None:
        """In the unit we keep."""
        kept = self._field(name).unit
        unit = self.reading.units.get(name, kept)
        return self._read(name, lambda text: round(values.measure(text, self.reading.decimal, kept, unit), 6))

    def day(self, name: str) -> date | None:
        today = self.at.now.astimezone(self.at.zone).date()

        def read(text: str) -> date:
            return values.day(text.split("T", maxsplit=1)[0], self.reading.order, today)

        return self._read(name, read)

    def moment(self, name: str) -> tuple[datetime, bool] | None:
        """(the moment, whether a time was written)."""
        return self._read(name, lambda text: values.moment(text, self.reading.order, self.at.zone, self.at.now))

    def _read(self, name: str, read: Callable[[str], Any]) -> Any:
        text = self.text(name)
        if not text:
            return None
        try:
            return read(text)
        except ValueError as fault:
            raise CellFault(name, str(fault)) from None

    def _field(self, name: str) -> Field:
        return next(each for each in FIELDS[self.reading.kind] if each.name == name)


Make = Callable[[Cells], Told]


def take_in(at: At, reading: Reading, make: Make, order: Callable[[Cells], Any] | None, worded: Words) -> Outcome:
    """Take every line in with ``make``, in the file's order or by ``order``; ``worded`` words pydantic's faults."""
    allow(at.actor, "update", None)
    missing = _missing(reading)
    if missing:
        return Outcome((), tuple(missing))
    rows: list[Told] = []
    faults: list[Fault] = []
    lines = [Cells(reading, line, at) for line in reading.sheet.lines]
    for cells in _ordered(lines, order):
        try:
            with at.session.begin_nested():
                rows.append(make(cells))
        except CellFault as fault:
            faults.append(_fault(cells, fault.name, fault.message))
        except ValidationError as invalid:
            for each in invalid.errors():
                faults.append(_fault(cells, ".".join(map(str, each["loc"])), worded(each)))
        except Invalid as fault:
            faults += [_fault(cells, each.field, each.message) for each in fault.errors]
        except (Refused, Conflict, NotFound) as fault:
            faults.append(Fault(cells.line.number, "", fault.message))
        if len(faults) >= MAX_FAULTS:
            break
    return Outcome(tuple(sorted(rows, key=lambda row: row.line)), tuple(sorted(faults, key=lambda f: f.line)))


def _ordered(lines: list[Cells], order: Callable[[Cells], Any] | None) -> list[Cells]:
    if order is None:
        return lines

    def key(cells: Cells) -> Any:
        try:
            return order(cells)
        except CellFault:
            return (1, "", 0.0, cells.line.number)  # it says what is wrong when its turn comes

    return sorted(lines, key=key)


def _missing(reading: Reading) -> list[Fault]:
    return [
        Fault(1, each.label, "Say which column this is, or what holds for every line.")
        for each in FIELDS[reading.kind]
        if each.required and reading.columns.get(each.name, "") == ""
    ]


# Fields of the commands -> fields of the lists, by their first part.
_SAME = {
    "place_uid": "place",
    "mixes": "mix",
    "mix_uid": "mix",
    "paint_uid": "mix",
    "wet_thickness_um": "thickness",
    "thickness_preset": "thickness",
    "thinner_uid": "thinner",
    "pigments": "made_of",
    "solvent": "made_of",
}


def _fault(cells: Cells, name: str, message: str) -> Fault:
    first = name.split(".", maxsplit=1)[0]
    found = _SAME.get(first, first)
    where = cells.reading.columns.get(found, "")
    label = next((each.label for each in FIELDS[cells.reading.kind] if each.name == found), "")
    column = cells.reading.sheet.header[where] if isinstance(where, int) else label
    return Fault(cells.line.number, column, message)
