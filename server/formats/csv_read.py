"""Reading lists that people and spreadsheets wrote: which letters, which separator, which cells.

Nothing is guessed in silence. What cannot be told from the bytes (letters that are no UTF-8) is guessed, and
``Decoded.is_sure`` says that somebody should look.
"""

import csv
import io
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from server.formats.csv_text import unguarded

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
# What bytes that are no UTF-8 may be, the likeliest first.
ENCODINGS = {
    "cp1252": "Western European (Windows-1252)",
    "cp1250": "Central European (Windows-1250)",
    "cp1251": "Cyrillic (Windows-1251)",
    "latin-1": "Western European (Latin-1)",
}
# Latin-1 has a sign for each byte, so that it can be taken back; those that cannot be shown travel as others.
_HIDDEN = {byte: 0xE000 + byte for byte in range(0x80, 0xA0)}
_BACK = {shown: byte for byte, shown in _HIDDEN.items()}
MAX_LINES, MAX_COLUMNS, MAX_CELL = 1_000, 60, 8_000
_LOOKED_AT = 30  # lines, to tell the separator


class Unreadable(ValueError):
    """What was given is no list that can be read; the message is for the person who gave it."""


@dataclass(frozen=True, slots=True)
class Decoded:
    """``is_sure`` False: nothing tells which letters these are. They stand as Latin-1 until ``read_as`` says."""

    text: str
    is_sure: bool


@dataclass(frozen=True, slots=True)
class Line:
    """``number``: the line's own in the file, the first being 1, as a spreadsheet counts."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    header: tuple[str, ...]
    lines: tuple[Line, ...]


def decoded(data: bytes) -> Decoded:
    """The text of a file: UTF-8 or UTF-16 where it is that, else Latin-1. Raises ``Unreadable``."""
    if data[:4] == b"PK\x03\x04" or data[:4] == b"\xd0\xcf\x11\xe0":
        raise Unreadable("This is a spreadsheet's own file. Save it there as CSV, and bring that.")
    for mark, name in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return Decoded(_plain(_with(data, name)), True)
    if b"\0" in data[:200]:  # UTF-16 without its mark: every other byte of plain letters is nought
        name = "utf-16-be" if data[:1] == b"\0" else "utf-16-le"
        return Decoded(_plain(_with(data, name)), True)
    try:
        return Decoded(_plain(data.decode("utf-8")), True)
    except UnicodeDecodeError:
        return Decoded(data.decode("latin-1").translate(_HIDDEN), False)


def likely_encoding(latin_1: str) -> str:
    """The first of the encodings in which the letters can be read at all."""
    for encoding in ENCODINGS:
        try:
            read_as(latin_1, encoding)
        except Unreadable:
            continue
        return encoding
    return "latin-1"


def read_as(latin_1: str, encoding: str) -> str:
    """Text whose letters were not known, read in an encoding. Raises ``Unreadable``."""
    if encoding not in ENCODINGS:
        raise Unreadable("Choose one of the ways to read the letters.")
    try:
        return _plain(latin_1.translate(_BACK).encode("latin-1").decode(encoding))
    except UnicodeError:
        raise Unreadable(f"These letters are not {ENCODINGS[encoding]}. Choose another way to read them.") from None


def _with(data: bytes, name: str) -> str:
    try:
        return data.decode(name)
    except UnicodeDecodeError:
        raise Unreadable("The letters of this file cannot be read. Save it as CSV in UTF-8.") from None


def _plain(text: str) -> str:
    for character in text:
        if unicodedata.category(character) in {"Cc", "Cs"} and character not in "\t\r\n":
            raise Unreadable("This is no text: it has signs in it that cannot be shown. Save it as CSV in UTF-8.")
    return text


def delimiter_of(text: str) -> str:
    """The separator that cuts most lines into equally many cells; a comma where none does."""
    best, most = ",", (0, 0)
    for delimiter in DELIMITERS:
        try:
            rows = _rows(text, delimiter, _LOOKED_AT)
        except Unreadable:
            continue
        widths = Counter(len(row) for _, row in rows)
        if not widths:
            continue
        width, often = widths.most_common(1)[0]
        if width > 1 and (often, width) > most:
            best, most = delimiter, (often, width)
    return best


def sheet(text: str, delimiter: str) -> Sheet:
    """The list with its header, blank lines left out. Raises ``Unreadable`` with the line that cannot be read."""
    rows = _rows(text, delimiter, MAX_LINES + 2)
    if not rows:
        raise Unreadable("There is nothing in this list.")
    if len(rows) > MAX_LINES + 1:
        raise Unreadable(f"This list is longer than {MAX_LINES} lines. Bring it in parts.")
    (_, header), *lines = rows
    if len(header) > MAX_COLUMNS:
        raise Unreadable(f"This list has more than {MAX_COLUMNS} columns. Leave out those that are not needed.")
    if not lines:
        raise Unreadable("There is only a line of headings. The first line names the columns, records come below it.")
    return Sheet(tuple(header), tuple(Line(number, _filled(cells, len(header), number)) for number, cells in lines))


def _filled(cells: Sequence[str], width: int, number: int) -> tuple[str, ...]:
    if len(cells) > width and any(cells[width:]):
        raise Unreadable(
            f"Line {number} has {len(cells)} cells, the headings are {width}. Is there a separator within a cell? "
            "Put such a cell in double quotes."
        )
    return (*cells[:width], *([""] * (width - len(cells))))


def _rows(text: str, delimiter: str, most: int) -> list[tuple[int, list[str]]]:
    """(line number, cells) of lines that are not blank."""
    found: list[tuple[int, list[str]]] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    start = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                if any(len(cell) > MAX_CELL for cell in cells):
                    raise Unreadable(f"Line {start} has a cell of more than {MAX_CELL} letters. Is a quote not closed?")
                found.append((start, [unguarded(cell).strip() for cell in cells]))
            start = reader.line_num + 1
            if len(found) == most:
                break
    except csv.Error:
        raise Unreadable(f"Line {start} cannot be read. Is a double quote not closed?") from None
    return found
