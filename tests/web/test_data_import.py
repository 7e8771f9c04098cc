"""Bringing in a list over HTTP: a file or pasted, looked over, taken in whole or not at all, once."""

import re

import pytest
from sqlalchemy import select
from sqlmodel import col
from starlette.testclient import TestClient

from server.store.db import Database
from server.store.tables import ChangeSet, Panel, Thinner
from server.web.pages.data_import import MAX_LIST_BYTES

LIST = "Title;Size;Support;Ground;Due\nFrühling;40 x 50 cm;Leinwand;gesso;03.04.2027\n"
GOOD = LIST.replace("Leinwand", "linen")


def fields(page: str) -> dict[str, str]:
    """What the form on the page would send."""
    found = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page))
    found["text"] = re.search(r"<textarea name=\"text\" hidden[^>]*>\n(.*?)</textarea>", page, re.S)[1]  # type: ignore[index]
    for name, body in re.findall(r'<select id="[^"]+" name="([^"]+)".*?>(.*?)</select>', page, re.S):
        chosen = re.search(r'value="([^"]*)" selected', body)
        found[name] = chosen[1] if chosen else ""
    found["kind"] = re.search(r'name="kind" value="(\w+)"[^>]* checked', page)[1]  # type: ignore[index]
    return found


def send(client: TestClient, **values: object):
    data = {"kind": "panels", "step": "read", **values}
    upload = data.pop("file", None)
    # As a browser does it: multipart, with or without a file.
    parts: list = [(name, (None, str(value))) for name, value in data.items()]
    parts.append(("file", upload or ("", b"", "application/octet-stream")))
    return client.post("/data/import", files=parts)


def titles(db: Database) -> list[str]:
    with db.read() as session:
        return list(session.scalars(select(col(Panel.title))))


def test_a_pasted_list_is_looked_over_then_taken_in_once(client: TestClient, db: Database):
    read = send(client, text=GOOD)
    assert read.status_code == 200
    assert "Say which comes first" in read.text  # 3 April or 4 March
    assert "Say first whether the day or the month comes first" in read.text
    assert titles(db) == []
    checked = send(client, **{**fields(read.text), "order": "dmy", "step": "check"})
    assert "Line 2: Frühling, 40 × 50 cm" in checked.text
    assert "Take in 1 panel" in checked.text
    assert titles(db) == []
    sent = {**fields(checked.text), "step": "save"}
    saved = send(client, **sent)
    assert saved.status_code == 303
    assert send(client, **sent).headers["location"] == saved.headers["location"]
    assert titles(db) == ["Frühling"]
    assert "Took in 1 panel from a list" in client.get(saved.headers["location"]).text
    again = send(client, **{**fields(checked.text), "step": "check", "command_key": "another-key"})
    assert "All of it is there already" in again.text
    with db.read() as session:
        assert len(session.scalars(select(ChangeSet).where(col(ChangeSet.label).like("Took in%"))).all()) == 1
        assert not session.scalars(select(ChangeSet).where(col(ChangeSet.label) == "Looked at a list")).all()


def test_a_bad_line_is_told_where_it_is_and_nothing_is_kept(client: TestClient, db: Database):
    read = send(client, text=LIST)
    refused = send(client, **{**fields(read.text), "order": "dmy", "step": "save"})
    assert refused.status_code == 422
    assert "Line 2, “Support”: Write one of: hardboard" in refused.text
    assert fields(refused.text)["order"] == "dmy"
    assert fields(refused.text)["text"].replace("\r\n", "\n") == LIST
    assert titles(db) == []


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-8"])
def test_a_file_is_read_by_itself(client: TestClient, encoding: str):
    answer = send(client, file=("list.csv", GOOD.encode(encoding), "text/csv"))
    assert answer.status_code == 200
    assert "Frühling" in answer.text
    assert "How its letters are read" not in answer.text


def test_letters_that_do_not_tell_are_asked_about(client: TestClient):
    answer = send(client, file=("list.csv", GOOD.encode("latin-1"), "text/csv"))
    assert "Does “Frühling;40” look right?" in answer.text.replace("&#34;", '"')
    other = send(client, **{**fields(answer.text), "encoding": "cp1251", "step": "check"})
    assert "Fr\u044chling" in other.text  # the same byte in another alphabet
    back = send(client, **{**fields(other.text), "encoding": "latin-1", "step": "check"})
    assert "Frühling" in back.text


@pytest.mark.parametrize(
    ("file", "words"),
    [
        (("a.xlsx", b"PK\x03\x04" + b"x" * 50, "application/zip"), "spreadsheet&#39;s own file"),
        (("a.csv", b"\x01\x02", "text/csv"), "no text"),
        (("a.csv", b"a,b\n" * (MAX_LIST_BYTES // 4 + 1), "text/csv"), "longer than 400 kB"),
    ],
)
def test_a_file_that_is_none_is_told_at_the_field(client: TestClient, file, words: str):
    answer = send(client, file=file)
    assert answer.status_code == 422
    assert words in answer.text
    assert 'aria-describedby="f-file-told"' in answer.text


def test_nothing_given_is_told(client: TestClient):
    answer = send(client, text="  ")
    assert answer.status_code == 422
    assert "Paste a list, or choose a file." in answer.text


def test_too_much_is_refused_and_other_routes_take_no_file(client: TestClient):
    assert send(client, text="x" * 1_100_000).status_code == 413
    assert send(client, text="x," * 300_000).status_code in {400, 413}
    two = [("file", ("a.csv", b"a,b", "text/csv")), ("more", ("b.csv", b"a,b", "text/csv"))]
    assert client.post("/data/import", files=two).status_code == 400
    assert client.post("/panels/new", files={"title": ("a.csv", b"a", "text/csv")}).status_code == 400


def test_a_column_number_from_nowhere_is_no_column(client: TestClient):
    read = send(client, text=GOOD)
    for odd in ("99", "-1", "x", "9" * 5000, "²"):
        answer = send(client, **{**fields(read.text), "col-title": odd, "step": "check"})
        assert answer.status_code == 422
        assert "“Panel”: Say which column this is" in answer.text


@pytest.mark.parametrize("kind", ["panels", "layers", "tests", "shelf"])
def test_the_page_begins_with_what_was_asked_for(client: TestClient, kind: str):
    page = client.get(f"/data/import?kind={kind}").text
    assert re.search(rf'value="{kind}"[^>]* checked', page)


def test_a_list_is_looked_over_while_somebody_writes(client: TestClient, db: Database):
    """Somebody holds the write lock all the while: looking at a list neither waits for them nor makes them wait."""
    with db.write() as session:
        session.add(Thinner(studio_id=1, label="Held", solvent="gum_turpentine"))
        session.flush()
        read = send(client, text=GOOD)
        checked = send(client, **{**fields(read.text), "order": "dmy", "step": "check"})
        assert "Take in 1 panel" in checked.text
    assert titles(db) == []
