"""A table of text with readings in it: what its columns are, guessed, and its rows read as somebody chose.

Takes commas, semicolons or tabs between columns, a decimal comma, °C or °F, per cent or a share, and times by a wall
clock, in UTC, or with their offset. Rows that cannot be read are told with their number; nothing is guessed for them.
"""

import csv
import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timezone
from typing import Literal
from zoneinfo import ZoneInfo

from server.formats.readings.clock import WALL_EPOCH, Turn, to_utc
from server.formats.readings.columns import EARLIEST_S, Columns, columns, fault_of

MOST_ROWS = 600_000
MOST_COLUMNS = 60
FAULTS_TOLD = 40
SHOWN = 8  # first rows, for whoever chooses the columns
DateOrder = Literal["year", "day", "month", "seconds"]
Clock = Literal["studio", "utc"]
_OTHER = re.compile(
    r"(\d{1,4})[./-](\d{1,2})[./-](\d{2,4})(?:[ T,]+(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?\s*([AaPp][Mm])?)?"
    r"\s*(Z|[+-]\d{2}:?\d{2})?"
)
_WORDS = {
    "at": ("time", "date", "zeit", "when", "stamp", "datum"),
    "temperature": ("temp", "°c", "°f", "celsius", "fahrenheit"),
    "humidity": ("hum", "rh", "feucht", "moist"),
    "light": ("lux", "light", "lx", "illum"),
}


class Unreadable(ValueError):
    """Not a table of readings at all; the message says why."""


@dataclass(frozen=True, slots=True)
class Choices:
    """How a table is read. Columns count from 0; ``clock_column`` holds the time of day where the day stands alone."""

    delimiter: str = ","
    head: int = 1
    at_column: int = 0
    clock_column: int | None = None
    temperature_column: int = 1
    humidity_column: int = 2
    light_column: int | None = None
    date_order: DateOrder = "year"
    clock: Clock = "studio"
    fahrenheit: bool = False
    fraction: bool = False


@dataclass(frozen=True, slots=True)
class RowFault:
    """A row that cannot be taken: its number in the file, what stands there, and why."""

    row: int
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class ReadTable:
    """What was read: ``readings`` in order and each instant once. ``faults`` are the first few of ``faulty`` rows."""

    readings: Columns
    faults: tuple[RowFault, ...]
    faulty: int
    twice: int
    turns: tuple[Turn, ...]


@dataclass(frozen=True, slots=True)
class Sight:
    """The look of a table: its delimiter, the names of its columns, and its first rows."""

    names: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    choices: Choices


def look_at(text: str) -> Sight:
    """Guess how a table is to be read. Raises ``Unreadable``."""
    lines = text[:20_000].splitlines()[:60]
    if not any(line.strip() for line in lines):
        raise Unreadable("There is nothing in this file.")
    rows = _cells(lines, delimiter := _delimiter(lines))
    width = max(len(row) for row in rows)
    if width < 3:
        raise Unreadable("A table of readings has at least three columns: when, temperature, humidity.")
    head = next((n for n, row in enumerate(rows) if len(row) == width and any(_is_number(c) for c in row[1:])), 1)
    names = rows[head - 1] if head else ()
    named = tuple(names[n] if n < len(names) and names[n] else f"Column {n + 1}" for n in range(width))
    first = rows[head] if head < len(rows) else ("",) * width
    choices = _guess(named, first, Choices(delimiter=delimiter, head=head))
    choices = replace(
        choices, date_order=_date_order([row[choices.at_column] for row in rows[head:] if len(row) > choices.at_column])
    )
    return Sight(named, tuple(rows[head : head + SHOWN]), choices)


def _delimiter(lines: Sequence[str]) -> str:
    """The mark that stands between the columns of most lines."""

    def usual(mark: str) -> int:
        counts = sorted(line.count(mark) for line in lines if line.strip())
        return counts[len(counts) // 2]

    return max(";\t,", key=lambda mark: (usual(mark), mark == ";"))


def _cells(lines: Sequence[str], delimiter: str) -> list[tuple[str, ...]]:
    return [tuple(cell.strip() for cell in row)[:MOST_COLUMNS] for row in csv.reader(lines, delimiter=delimiter)]


def _is_number(text: str) -> bool:
    try:
        float(text.replace(",", "."))
    except ValueError:
        return False
    return True


def _guess(names: Sequence[str], first: Sequence[str], base: Choices) -> Choices:
    def find(kind: str, taken: set[int]) -> int | None:
        words = _WORDS[kind]
        return next(
            (n for n, name in enumerate(names) if n not in taken and any(word in name.lower() for word in words)), None
        )

    taken: set[int] = set()
    found: dict[str, int | None] = {}
    for kind in ("humidity", "temperature", "light", "at"):
        found[kind] = find(kind, taken)
        taken |= {found[kind]} - {None}  # type: ignore[arg-type]
    left = [n for n in range(len(names)) if n not in taken]
    for kind in ("at", "temperature", "humidity"):
        if found[kind] is None and left:
            found[kind] = left.pop(0)
    at, temperature, humidity = (found[kind] or 0 for kind in ("at", "temperature", "humidity"))
    clock = next((n for n in range(len(first)) if n != at and re.fullmatch(r"\d{1,2}:\d{2}(:\d{2})?", first[n])), None)
    value = first[humidity].replace(",", ".") if humidity < len(first) else ""
    return replace(
        base,
        at_column=at,
        clock_column=clock if ":" not in (first[at] if at < len(first) else "") else None,
        temperature_column=temperature,
        humidity_column=humidity,
        light_column=found["light"],
        fahrenheit=bool(re.search(r"°\s*f|fahrenheit|\(f\)|_f$", names[temperature].lower())),
        fraction=_is_number(value) and 0 < float(value) <= 1,
        clock="utc" if "utc" in names[at].lower() or "gmt" in names[at].lower() else "studio",
    )


def _date_order(texts: Sequence[str]) -> DateOrder:
    if any(re.fullmatch(r"\d{9,13}(\.\d+)?", text) for text in texts):
        return "seconds"
    pairs = [(int(m[1]), int(m[2])) for text in texts if (m := _OTHER.match(text))]
    if not pairs or pairs[0][0] > 31:
        return "year"
    return "month" if any(second > 12 for _, second in pairs) else "day"


def read(text: str, choices: Choices, zone: ZoneInfo, latest: datetime) -> ReadTable:
    """Read every row. ``latest``: later ones are a clock that runs wrong. Raises ``Unreadable`` for far too many, and
    for a row that is none."""
    rows = _Rows(choices)
    number = 0
    try:
        for number, row in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=choices.delimiter), 1):
            if number > choices.head and any(row):
                rows.take(number, row)
            if number > MOST_ROWS:
                raise Unreadable(f"This file has more than {MOST_ROWS:,} rows. Divide it and send the parts.")
    except csv.Error:  # of a cell that is longer than any can be
        raise Unreadable(f"Row {number + 1} cannot be read. Is a double quote not closed?") from None
    return rows.read(zone if choices.clock == "studio" else ZoneInfo("UTC"), latest)


@dataclass(slots=True)
class _Rows:
    """Rows on their way into columns; ``wall`` marks times that have no offset of their own."""

    choices: Choices
    numbers: list[int] = field(default_factory=list)
    seconds: list[int] = field(default_factory=list)
    wall: list[bool] = field(default_factory=list)
    temperature_c: list[float] = field(default_factory=list)
    humidity_pct: list[float] = field(default_factory=list)
    light_lx: list[float] = field(default_factory=list)
    faults: list[RowFault] = field(default_factory=list)
    faulty: int = 0

    def take(self, number: int, row: Sequence[str]) -> None:
        choices = self.choices
        try:
            at = row[choices.at_column].strip()
            if choices.clock_column is not None:
                at = f"{at} {row[choices.clock_column].strip()}"
            seconds, is_wall = _READERS[choices.date_order](at)
            warmth = _figure(row[choices.temperature_column], "temperature")
            damp = _figure(row[choices.humidity_column], "humidity")
            light = None if choices.light_column is None else _light(row, choices.light_column)
        except IndexError:
            self.refuse(number, row, "too few columns")
            return
        except ValueError as fault:
            self.refuse(number, row, str(fault))
            return
        if choices.fahrenheit:
            warmth = (warmth - 32.0) / 1.8
        if choices.fraction:
            damp *= 100.0
        fault_told = fault_of(warmth, damp, light)
        if fault_told is not None:
            self.refuse(number, row, fault_told)
            return
        self.numbers.append(number)
        self.seconds.append(seconds)
        self.wall.append(is_wall)
        self.temperature_c.append(warmth)
        self.humidity_pct.append(damp)
        self.light_lx.append(float("nan") if light is None else light)

    def refuse(self, number: int, row: Sequence[str], reason: str) -> None:
        self.faulty += 1
        if len(self.faults) < FAULTS_TOLD:
            self.faults.append(RowFault(number, self.choices.delimiter.join(row)[:80], reason))

    def read(self, zone: ZoneInfo, latest: datetime) -> ReadTable:
        found = columns(self.seconds, self.temperature_c, self.humidity_pct, self.light_lx)
        turns: list[Turn] = []
        if any(self.wall):
            if all(self.wall):
                at_s, turns = to_utc(found.at_s, zone)
            else:
                wall = [n for n, is_wall in enumerate(self.wall) if is_wall]
                at_s = found.at_s.copy()
                at_s[wall], turns = to_utc(found.at_s[wall], zone)
            found = replace(found, at_s=at_s)
        kept = (found.at_s >= EARLIEST_S) & (found.at_s <= latest.timestamp())
        for place in (~kept).nonzero()[0].tolist():
            at = datetime.fromtimestamp(int(found.at_s[place]), timezone.utc)
            self.refuse(self.numbers[place], [f"{at:%Y-%m-%d %H:%M} UTC"], "before 1990 or still to come")
        rows = found.of(kept.nonzero()[0])
        ordered = rows.in_order()
        faults = tuple(sorted(self.faults, key=lambda fault: fault.row))
        return ReadTable(ordered, faults, self.faulty, len(rows) - len(ordered), tuple(turns))


def _figure(text: str, what: str) -> float:
    try:
        return float(text)
    except ValueError:
        pass
    try:
        return float(text.strip().rstrip("°CF% ").replace(",", ".").replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        raise ValueError(f"no {what}" if not text.strip() else f"“{text.strip()[:20]}” is no {what}") from None


def _light(row: Sequence[str], column: int) -> float | None:
    return _figure(row[column], "light") if row[column].strip() else None


def _year_first(text: str) -> tuple[int, bool]:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return _written(text, "year")
    if at.tzinfo is None:
        return round((at - WALL_EPOCH).total_seconds()), True
    return round(at.timestamp()), False


def _seconds(text: str) -> tuple[int, bool]:
    try:
        value = float(text)
    except ValueError:
        raise ValueError(_no_time(text)) from None
    if not abs(value) < 1e14:
        raise ValueError(_no_time(text))
    return round(value / 1000 if value > 1e11 else value), False


def _written(text: str, order: DateOrder) -> tuple[int, bool]:
    found = _OTHER.fullmatch(text)
    if found is None:
        raise ValueError(_no_time(text))
    one, two, three = (int(found[n]) for n in (1, 2, 3))
    year, month, day = {"year": (one, two, three), "day": (three, two, one)}.get(order, (three, one, two))
    hour = int(found[4] or 0)
    if found[7]:
        hour = hour % 12 + (12 if found[7].lower() == "pm" else 0)
    clock = (hour, int(found[5] or 0), int(found[6] or 0))
    try:
        at = datetime(year + 2000 if year < 100 else year, month, day, *clock, tzinfo=timezone.utc)
        if found[8]:
            return round(datetime.fromisoformat(f"{at:%Y-%m-%dT%H:%M:%S}{found[8]}").timestamp()), False
    except ValueError:
        raise ValueError(_no_time(text)) from None
    return round(at.timestamp()), True


def _no_time(text: str) -> str:
    return f"“{text[:30]}” is no time that can be read" if text.strip() else "no time"


_READERS: dict[str, Callable[[str], tuple[int, bool]]] = {
    "year": _year_first,
    "day": lambda text: _written(text, "day"),
    "month": lambda text: _written(text, "month"),
    "seconds": _seconds,
}
