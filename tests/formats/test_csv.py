"""Lists as text: nothing a spreadsheet would carry out, nothing lost on the way out and back, letters told apart."""

import csv
import io
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.formats import csv_text
from server.formats.csv_read import Unreadable, decoded, delimiter_of, likely_encoding, read_as, sheet

# The first characters that make a cell a formula, or lead to one: OWASP, "CSV Injection".
FORMULAS = ("=1+1", "+1", "-1+2", "@SUM(A1)", "\uff1d1+1", "\uff20SUM(A1)")
SIGNS = tuple("=+-@\uff1d\uff0b\uff0d\uff20\t\r\n")
PRINTABLE = st.text(st.characters(exclude_categories=("Cc", "Cs", "Zs", "Zl", "Zp")), min_size=1, max_size=12)
CELLS = st.one_of(PRINTABLE, st.sampled_from(["=x", "'=x", 'a"b', "a;b", "a,b", "a\nb"]))


@pytest.mark.parametrize("cell", FORMULAS)
def test_no_cell_is_a_formula(cell: str):
    (_, _, line) = csv_text.written(["Title"], [[cell]])
    (row,) = csv.reader(io.StringIO(line.decode(), newline=""))
    assert row == ["'" + cell]
    assert csv_text.unguarded(row[0]) == cell


@given(st.text(max_size=20))
def test_a_cell_comes_back_as_it_went(cell: str):
    out = csv_text.guarded(cell)
    assert csv_text.unguarded(out) == cell
    assert out[:1] not in set(SIGNS)


@pytest.mark.parametrize("lead", ["\t", "\r", "\n", "'\t"])
def test_no_cell_begins_with_what_leads_to_a_formula(lead: str):
    assert csv_text.guarded(f"{lead}=1").startswith("'")
    assert csv_text.unguarded(csv_text.guarded(f"{lead}=1")) == f"{lead}=1"


PIECES = st.lists(st.sampled_from([*"=+-@;,\t\n'\" a1", "\uff1d", "cmd|x"]), max_size=8).map("".join)


@given(st.lists(PIECES, min_size=1, max_size=3))
def test_no_cell_is_a_formula_whatever_separator_a_list_is_opened_with(cells: list[str]):
    """OWASP, "CSV Injection": separators and quotes within a cell must not begin another one."""
    text = b"".join(csv_text.written(["Title"] * len(cells), [cells])).decode("utf-8-sig")
    for delimiter in ",;\t":
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
            assert not [cell for cell in row if cell.startswith(SIGNS[:8])], (delimiter, row)
    [_, back] = csv.reader(io.StringIO(text, newline=""))
    assert [csv_text.unguarded(cell) for cell in back] == cells


@given(
    st.lists(
        st.lists(
            st.one_of(PRINTABLE, st.sampled_from(["=x", "'=x", 'a"b', "a;b", "a,b", "a\nb"])), min_size=2, max_size=2
        ),
        min_size=1,
        max_size=5,
    )
)
def test_a_list_comes_back_as_it_went(rows: list[list[str]]):
    data = b"".join(csv_text.written(["One", "Two"], rows))
    text = decoded(data)
    assert text.is_sure
    read = sheet(text.text, ",")
    assert read.header == ("One", "Two")
    assert [list(line.cells) for line in read.lines] == rows


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_letters_of_unicode_are_known_by_themselves(encoding: str):
    found = decoded("Títle;Größe µm\r\nWinter;50\r\n".encode(encoding))
    assert found.is_sure
    assert found.text.startswith("Títle;Größe µm")


def test_other_letters_are_asked_about():
    found = decoded("Titel;Größe\nFrühling;5\n".encode("latin-1"))
    assert not found.is_sure
    assert "Größe" in found.text
    assert likely_encoding(found.text) == "cp1252"
    central = decoded("Obraz;Šířka\n".encode("cp1250"))
    assert all(unicodedata.category(letter) != "Cc" for letter in central.text.rstrip())  # it travels in a form
    assert read_as(central.text, "cp1250") == "Obraz;Šířka\n"
    with pytest.raises(Unreadable, match="Choose another"):
        read_as("\x81", "cp1252")
    with pytest.raises(Unreadable):
        read_as("x", "utf-7")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"PK\x03\x04....", "spreadsheet's own file"),
        (b"\x01\x02\x03", "no text"),
        (b"a\x00\x01\x00" * 3, "no text"),
        (b"\xff\xfeabc", "cannot be read"),
    ],
)
def test_what_is_no_text_is_told(data: bytes, words: str):
    with pytest.raises(Unreadable, match=words):
        decoded(data)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_the_separator_is_found(delimiter: str):
    rows = [["Title", "Width", "Notes"], ["Winter", "12,5" if delimiter != "," else "12.5", "grey, cold; long"]]
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter).writerows(rows)
    assert delimiter_of(text.getvalue()) == delimiter


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "nothing"),
        ("a,b\n", "only a line of headings"),
        ('a,b\n1,"2\n', "Line 2 cannot be read"),
        ("a,b\n1,2\n1,2,3\n", "Line 3 has 3 cells"),
        ("a,b\n" + "1,2\n" * 1001, "longer than 1000 lines"),
        (",".join("a" * 61) + "\n1\n", "60 columns"),
        ("a,b\n1," + "x" * 8001, "Line 2 has a cell"),
    ],
)
def test_what_is_no_list_is_told_with_its_line(text: str, words: str):
    with pytest.raises(Unreadable, match=words):
        sheet(text, ",")


def test_lines_are_counted_as_a_spreadsheet_shows_them():
    read = sheet('a,b\n\n"two\nlines",2\n,\n3,4\n', ",")
    assert [(line.number, line.cells[1]) for line in read.lines] == [(3, "2"), (6, "4")]
