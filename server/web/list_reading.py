"""How a list is read: its columns, units, decimal sign and order of days, guessed where nobody said. One reading for
the page and the interface.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from server.formats.csv_read import DELIMITERS, Sheet, Unreadable, delimiter_of, likely_encoding, read_as, sheet
from server.services.lists import values
from server.services.lists.fields import FIELDS, KINDS, Field, Kind, guessed
from server.services.lists.look_over import look_over
from server.services.lists.take_in import At, Outcome, Reading
from server.web.deps import PageRequest
from server.web.plain_words import message_for

WORDS: Mapping[Kind, tuple[str, str]] = {
    "panels": ("panel", "panels"),
    "layers": ("layer", "layers"),
    "tests": ("touch test", "touch tests"),
    "shelf": ("line of the shelf", "lines of the shelf"),
}
ORDERS = (("dmy", "Day first: 28.11.2026"), ("mdy", "Month first: 11/28/2026"), ("ymd", "Year first: 26-11-28"))
DECIMALS = ((".", "Point: 0.5"), (",", "Comma: 0,5"))
CONSTANT = "="  # before a text that holds for every line


class NothingKept(Exception):
    """Leaves a unit of work so that nothing of it is kept."""


@dataclass(frozen=True, slots=True)
class Asked:
    """The list with how it is read, and what the painter may say otherwise."""

    reading: Reading
    fields: tuple[Field, ...]
    columns: tuple[tuple[str, str], ...]
    needs_order: bool
    numbers: bool
    is_latin: bool
    words: tuple[str, str]
    sample: str

    def options(self, field: Field) -> list[Any]:
        """The columns; for a closed list also what may hold for every line."""
        fixed = [(f"{CONSTANT}{each}", f"all: {each.replace('_', ' ')}") for each in field.choices]
        return [*self.columns, *fixed]

    def units(self, field: Field) -> list[tuple[str, str]]:
        return [(unit, unit) for unit in values.UNITS[field.unit]] if field.unit else []


def asked_of(given: dict[str, str]) -> Asked:
    """The list that ``given`` holds, by the names of the form's fields. What was not said yet is guessed and put there.

    Raises ``Unreadable``.
    """
    if "unreadable" in given:
        raise Unreadable(given["unreadable"])
    kind: Kind = next((each for each in KINDS if each == given.get("kind")), "panels")
    text = given.get("text", "")
    if not text.strip():
        raise Unreadable("Paste a list, or choose a file.")
    if given.get("latin"):
        text = read_as(text, given.setdefault("encoding", likely_encoding(text)))
    if given.get("delimiter") not in DELIMITERS:
        given["delimiter"] = delimiter_of(text)
    cells = sheet(text, given["delimiter"])
    _guess(given, kind, cells)
    columns = {field.name: _column(given.get(f"col-{field.name}", ""), cells) for field in FIELDS[kind]}
    dated = _texts(cells, kind, columns, dated=True)
    needs_order = any(values.order_of([each]) == "" or _is_numbers(each) for each in dated)
    if given.get("order") not in {order for order, _ in ORDERS}:
        given["order"] = values.order_of(dated)
    numeric = _texts(cells, kind, columns, dated=False)
    if given.get("decimal") not in {".", ","}:
        given["decimal"] = values.decimal_of(numeric)
    units = {field.name: _unit(given, field) for field in FIELDS[kind] if field.unit}
    reading = Reading(kind, cells, columns, units, given["decimal"], given["order"])  # type: ignore[arg-type]
    return Asked(
        reading=reading,
        fields=FIELDS[kind],
        columns=tuple((str(n), f"{_letter(n)}: {head or '(no heading)'}") for n, head in enumerate(cells.header)),
        needs_order=needs_order,
        numbers=any("," in each or "." in each for each in numeric),
        is_latin=bool(given.get("latin")),
        words=WORDS[kind],
        sample=next((word for word in text.split() if not word.isascii()), ""),
    )


def _is_numbers(text: str) -> bool:
    """Whether a day is written in numbers with no year in front, so that its order matters."""
    return bool(text[:2].strip(".-/ ").isdigit()) and not text[:4].isdigit()


def _guess(given: dict[str, str], kind: Kind, cells: Sheet) -> None:
    """Columns and units, when the list was only just given or is of another kind now."""
    if given.get("guessed") == kind:
        return
    found = guessed(kind, cells.header)
    for field in FIELDS[kind]:
        column = found.get(field.name)
        given[f"col-{field.name}"] = "" if column is None else str(column)
        if field.unit and column is not None:
            given[f"unit-{field.name}"] = values.unit_named(cells.header[column], field.unit) or field.unit
    given["guessed"] = kind


def _column(text: str, cells: Sheet) -> int | str:
    if text.startswith(CONSTANT):
        return text.removeprefix(CONSTANT)[:60]
    return int(text) if text.isascii() and text.isdigit() and int(text[:4]) < len(cells.header) else ""


def _unit(given: dict[str, str], field: Field) -> str:
    chosen = given.get(f"unit-{field.name}", "")
    given[f"unit-{field.name}"] = chosen if chosen in values.UNITS[field.unit] else field.unit
    return given[f"unit-{field.name}"]


def _texts(cells: Sheet, kind: Kind, columns: Mapping[str, int | str], *, dated: bool) -> list[str]:
    wanted = [f.name for f in FIELDS[kind] if (f.dated if dated else bool(f.unit) or f.numeric)]
    chosen = [column for name in wanted if isinstance(column := columns.get(name), int)]
    return [line.cells[column] for line in cells.lines for column in chosen if line.cells[column]]


def _letter(column: int) -> str:
    """As spreadsheets call it: A to Z, then AA."""
    return (chr(64 + column // 26) if column >= 26 else "") + chr(65 + column % 26)


def preview(page: PageRequest, reading: Reading) -> Outcome:
    """What would happen: done on a copy, so that a preview says what the services say and nobody waits for it."""
    with page.db.read() as session:
        return look_over(At(session, page.actor, page.zone, page.now), reading, message_for)


def taken_words(asked: Asked, outcome: Outcome) -> tuple[str, str]:
    """What taking a list in is called in the history, and where it is to be seen."""
    new = outcome.count("new")
    one, many = asked.words
    label = f"Took in {new or 'no'} {one if new == 1 else many} from a list"
    return label, {"shelf": "/shelf"}.get(asked.reading.kind, "/panels")
