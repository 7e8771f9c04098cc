"""How much of a list is taken in at once, by the page and by the interface, and what a hostile one comes to."""

import csv
import io
from typing import Any

import pytest
from sqlalchemy import func, select
from starlette.testclient import TestClient

from server.formats.csv_read import MAX_CELL, MAX_COLUMNS, MAX_LINES
from server.store.db import Database
from server.store.tables import Panel
from tests.web.test_data_import import send

HEAD = "Panel,Width (cm),Height (cm),Support,Ground\n"
REST = ",20,15,hardboard,acrylic\n"
TOO_MUCH: dict[str, tuple[str, set[int], str]] = {
    "a million lines": (HEAD + "Quince,20,15,hardboard,acrylic\n" * 1_000_000, {400, 413}, ""),
    "a line too many": (HEAD + f"Q{REST}" * (MAX_LINES + 1), {422}, "longer than 1000 lines"),
    "nothing but line ends": (HEAD + "\n" * 390_000, {422}, "only a line of headings"),
    "a cell too long": (HEAD + "Q" * (MAX_CELL + 1) + REST, {422}, "Line 2 has a cell of more than 8000 letters"),
    "a quote that never ends": (HEAD + '"Q' + "a\n" * 150_000, {422}, "Is a double quote not closed?"),
    "nothing but quotes": (HEAD + '"' * 390_001, {422}, "Line 2"),
    "too many columns": (",".join(["c"] * (MAX_COLUMNS + 1)) + "\n1\n", {422}, "more than 60 columns"),
    "nothing but separators": ("," * 390_000 + "\n1\n", {422}, ""),
    "a cell too many": (HEAD + f"Q,{REST}", {422}, "Line 2 has 6 cells, the headings are 5"),
}


def count(db: Database) -> int:
    with db.read() as session:
        return session.execute(select(func.count()).select_from(Panel)).scalar_one()


@pytest.mark.parametrize("name", TOO_MUCH)
def test_too_much_is_told_and_nothing_is_taken(client: TestClient, db: Database, name: str):
    text, statuses, words = TOO_MUCH[name]
    page = send(client, file=("a.csv", text.encode(), "text/csv"), step="save")
    # A file that is longer than what is read of one is told at its field.
    assert page.status_code in statuses | {422}
    assert words in page.text or "is longer than 400 kB" in page.text
    call = client.post("/api/v1/lists/panels", json={"text": text})
    assert call.status_code in statuses | {413, 422}
    assert call.headers["content-type"] == "application/problem+json"
    assert len(call.text) < 5_000
    assert count(db) == 0


@pytest.mark.parametrize(
    "data",
    [
        *(b"Q\0", b"\x1b[31m", b"\xff\xfe\x00\xd8", b"\xff\xfe\x00", b"\xef\xbb\xbf\xff"),
        *(b"\xd0\xcf\x11\xe0", b"PK\x03\x04", "Q\x85".encode()),
    ],
)
def test_what_is_no_text_is_told_at_the_field(client: TestClient, db: Database, data: bytes):
    whole = data if data[:1] in b"\xff\xef\xd0P" else HEAD.encode() + data + REST.encode()
    answer = send(client, file=("a.csv", whole, "text/csv"), step="save")
    assert answer.status_code == 422
    assert 'aria-describedby="f-file-told"' in answer.text
    assert count(db) == 0


@pytest.mark.parametrize("cell", ["Q\0", "Q\u202egpj", "Q\u2066", "Q\x1b[2J", "\u200b"])
def test_signs_that_cannot_be_shown_or_turn_the_writing_are_refused(client: TestClient, db: Database, cell: str):
    call = client.post("/api/v1/lists/panels", json={"text": HEAD + cell + REST})
    assert call.status_code == 422
    assert count(db) == 0


FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", '=cmd|"/C calc"!A0', "\uff1d1+1", "Quince;=1+1", 'a;"=1+1"', "'=1"]


@pytest.mark.parametrize("cell", FORMULAS)
def test_a_formula_is_a_name_like_any_other_and_goes_out_as_text(client: TestClient, cell: str):
    """In by a list as a spreadsheet writes it, out so that none carries it out (OWASP, "CSV Injection"), and back."""
    line = io.StringIO()
    csv.writer(line).writerow([cell, 20, 15, "hardboard", "acrylic"])
    taken = client.post("/api/v1/lists/panels", json={"text": HEAD + line.getvalue(), "delimiter": ","})
    assert taken.status_code == 200, taken.text
    title = cell.removeprefix("'") if cell.startswith("'=") else cell  # as a spreadsheet marks a text
    [panel] = client.get("/api/v1/panels").json()["items"]
    assert panel["title"] == title
    for address in ("/data/lists/panels.csv", "/api/v1/lists/panels.csv"):
        out = client.get(address).content.decode("utf-8-sig")
        for delimiter in ",;\t":
            cells = [each for row in csv.reader(io.StringIO(out), delimiter=delimiter) for each in row]
            assert not [each for each in cells if each[:1] in set("=+-@\t\r\uff1d\uff0b\uff0d\uff20")], delimiter
        again: Any = client.post("/api/v1/lists/panels", json={"text": out, "check_only": True}).json()
        assert [row["state"] for row in again["rows"]] == ["there"]


def test_a_call_of_many_faults_tells_some_of_them(client: TestClient):
    answer = client.post("/api/v1/panels", json={f"k{n}": 1 for n in range(40_000)})
    assert answer.status_code == 422
    assert len(answer.json()["errors"]) == 100
    assert len(answer.content) < 20_000
