"""Lists as text: comma-separated values (RFC 4180) in UTF-8, as spreadsheets write and read them.

Threat: a cell that begins like a formula is carried out by the spreadsheet that opens the list. Such a cell gets an
apostrophe in front, which spreadsheets take as "this is text". So does what would begin a cell where a list is opened
with another separator than it has, as those do whose numbers have a decimal comma. Reading takes the apostrophes off
again, so nothing is changed by going out and coming back.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence

BOM = b"\xef\xbb\xbf"  # tells spreadsheets that this is UTF-8
_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20"  # the last four are their full-width forms
_BEGINS = re.compile(rf"^'*(?=[{_SIGNS}\t\r\n])")
_BEGAN = re.compile(rf"^('*)'(?=[{_SIGNS}\t\r\n])")
_WITHIN = re.compile(rf"([;\t\r\n][\"' ]*)(?=[{_SIGNS}])")
_WAS_WITHIN = re.compile(rf"([;\t\r\n][\"' ]*)'(?=[{_SIGNS}])")


def guarded(cell: str) -> str:
    """The cell as it may stand in a spreadsheet."""
    within = _WITHIN.sub(r"\1'", cell)
    return f"'{within}" if _BEGINS.match(within) else within


def unguarded(cell: str) -> str:
    """The inverse of `guarded`."""
    return _WAS_WITHIN.sub(r"\1", _BEGAN.sub(r"\1", cell))


def written(header: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[bytes]:
    """The list, some lines at a time."""
    yield BOM
    for row in (header, *rows):
        line = io.StringIO()
        csv.writer(line).writerow([guarded(cell) for cell in row])
        yield line.getvalue().encode()
