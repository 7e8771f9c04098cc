"""Lists as text: comma-separated values (RFC 4180) in UTF-8, as spreadsheets write and read them.

Threat: a cell that begins like a formula is carried out by the spreadsheet that opens the list. Such a cell gets an
apostrophe in front, which spreadsheets take as "this is text"; reading takes it off again, so nothing is changed by
going out and coming back.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence

BOM = b"\xef\xbb\xbf"  # tells spreadsheets that this is UTF-8
_FORMULA = re.compile(r"'*[=+\-@\t\r]")
_GUARDED = re.compile(r"'+[=+\-@\t\r]")


def guarded(cell: str) -> str:
    """The cell as it may stand in a spreadsheet."""
    return f"'{cell}" if _FORMULA.match(cell) else cell


def unguarded(cell: str) -> str:
    """The inverse of `guarded`."""
    return cell[1:] if _GUARDED.match(cell) else cell


def written(header: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[bytes]:
    """The list, some lines at a time."""
    yield BOM
    for row in (header, *rows):
        line = io.StringIO()
        csv.writer(line).writerow([guarded(cell) for cell in row])
        yield line.getvalue().encode()
