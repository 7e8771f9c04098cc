"""A form sent twice, sent again with other words, sent from two tabs at once, and what was undone in between.

A form brought back by the browser's "back" has the key it had before; what it says then must not be lost.
"""

from concurrent.futures import ThreadPoolExecutor

import pytest
from fastapi import FastAPI
from sqlmodel import Session, col, select
from starlette.testclient import TestClient

from server.services.layers import LayerPaint
from server.store.db import Database
from server.store.tables import Layer, Panel, TouchTest
from tests.web.pages_of_records import Easel, form_to, forms_of, make_easel

NEW = {"title": "Two pears", "width_cm": "40", "height_cm": "50"}


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def titles(db: Database) -> list[str]:
    with db.read() as session:
        return list(
            session.scalars(select(Panel.title).where(col(Panel.archived_at).is_(None)).order_by(col(Panel.id)))
        )


def stored(session: Session, address: str) -> Layer:
    return session.scalars(select(Layer).where(col(Layer.uid) == address.rpartition("/")[2])).one()


def undo_of(client: TestClient, number: int = 0) -> str:
    """The undo of an entry of the history, the newest first."""
    actions = [form.action for form in forms_of(client.get("/history")) if form.action.startswith("/history/")]
    return list(dict.fromkeys(actions))[number]


def test_a_form_brought_back_with_other_words_is_another_change(easel: Easel, db: Database):
    form = form_to(easel.client.get("/panels/new"), "/panels/new")
    first = easel.client.post("/panels/new", data=form.filled(**NEW))
    same = easel.client.post("/panels/new", data=form.filled(**NEW))
    other = easel.client.post("/panels/new", data=form.filled(**NEW | {"title": "Three pears"}))
    assert first.headers["location"] == same.headers["location"] != other.headers["location"]
    assert titles(db) == ["Two pears", "Three pears"]


def test_a_key_used_in_another_form_stops_nothing(easel: Easel, db: Database):
    key = {"command_key": "abcdefgh1234"}
    panels = form_to(easel.client.get("/panels/new"), "/panels/new")
    rooms = form_to(easel.client.get("/room/new"), "/room/new")
    place = {"name": "Attic", "light": "room", "temperature_c": "20", "relative_humidity_pct": "50"}
    assert easel.client.post("/panels/new", data=panels.filled(**NEW) | key).status_code == 303
    assert easel.client.post("/room/new", data=rooms.filled(**place) | key).headers["location"].startswith("/room#")
    assert "Attic" in easel.client.get("/room").text


def test_the_same_form_sent_from_many_threads_at_once_is_one_record(easel: Easel, db: Database):
    form = form_to(easel.client.get("/panels/new"), "/panels/new").filled(**NEW)
    with ThreadPoolExecutor(6) as threads:
        answers = list(threads.map(lambda _: easel.client.post("/panels/new", data=form), range(6)))
    assert {answer.status_code for answer in answers} == {303}
    assert len({answer.headers["location"] for answer in answers}) == 1
    assert titles(db) == ["Two pears"]


def test_edits_from_many_threads_lose_nothing_silently(easel: Easel, db: Database):
    panel = easel.panel()
    form = form_to(easel.client.get(f"{panel}/edit"), f"{panel}/edit")
    sent = [form.filled(title=f"Pears {number}", command_key=f"key-{number}-xyz") for number in range(5)]
    with ThreadPoolExecutor(5) as threads:
        answers = list(threads.map(lambda data: easel.client.post(f"{panel}/edit", data=data), sent))
    assert sorted(answer.status_code for answer in answers) == [303, 409, 409, 409, 409]
    [kept] = titles(db)
    for data, answer in zip(sent, answers, strict=True):
        if answer.status_code == 409:
            assert f'value="{data["title"]}"' in answer.text
            assert f"<strong>{kept}</strong>" in answer.text


def test_lines_that_the_other_tab_added_are_shown_before_they_are_overwritten(easel: Easel):
    client = easel.client
    new = {"label": "Grey", "pigments-0-pigment": "PW6"}
    assert easel.send("/shelf/paints/new", **new).status_code == 303
    [edit] = {f.action for f in forms_of(client.get(easel_edit(client, "Grey"))) if f.action.endswith("/edit")}
    late = form_to(client.get(edit), edit)
    two = {"pigments-0-share_pct": "90", "pigments-1-pigment": "PBk9", "pigments-1-share_pct": "10"}
    assert client.post(edit, data=late.filled(**two)).status_code == 303
    answer = client.post(edit, data=late.filled(label="Warm grey", command_key="another-key"))
    assert answer.status_code == 409
    assert "Stored now as well: <strong>PBk9, 10 %</strong>" in answer.text
    assert 'value="Warm grey"' in answer.text
    again = client.post(edit, data=form_to(answer, edit).values)
    assert again.status_code == 303


def easel_edit(client: TestClient, label: str) -> str:
    """The address of the form of a tube."""
    before = client.get("/shelf").text.partition(f">{label}<")
    addresses = [part.partition('"')[0] for text in (before[2], before[0]) for part in text.split('href="')[1:]]
    return next(address for address in addresses if address.startswith("/shelf/paints/") and address.endswith("/edit"))


def test_what_is_emptied_when_painting_is_empty(easel: Easel, db: Database):
    """The plan said half spirit for an hour; none went in, and nobody looked at the clock."""
    layer = easel.layer(easel.panel(), solvent_pct="50", sitting_min="60", notes="With spirit")
    answer = easel.send(f"{layer}/paint", solvent_pct="", sitting_min="", notes="")
    assert answer.status_code == 303
    with db.read() as session:
        row = stored(session, layer)
        assert (row.solvent_pct, row.sitting_min, row.notes) == (0.0, None, "")


def test_what_is_left_out_when_painting_stays_as_planned(easel: Easel, db: Database):
    layer = easel.layer(easel.panel(), solvent_pct="50", sitting_min="60")
    assert easel.client.post(f"{layer}/paint", data={"version": "1"}).status_code == 303
    with db.read() as session:
        row = stored(session, layer)
        assert (row.solvent_pct, row.sitting_min) == (50.0, 60)
    assert LayerPaint(version=1).model_fields_set == {"version"}


def test_undo_twice_is_undo_once(easel: Easel, db: Database):
    easel.panel()
    action = undo_of(easel.client)
    answers = [easel.client.post(action, data={"command_key": f"press-{n}-xx"}) for n in range(2)]
    assert [answer.status_code for answer in answers] == [303, 303]
    assert titles(db) == []


def test_undo_of_what_was_changed_since_is_refused_in_words(easel: Easel, db: Database):
    panel = easel.panel()
    easel.send(f"{panel}/edit", title="Three pears")
    refused = easel.client.post(undo_of(easel.client, 1))
    assert refused.status_code == 409
    assert "the panel was changed since" in refused.text
    assert titles(db) == ["Three pears"]


def test_undo_never_takes_the_last_place(easel: Easel):
    client = easel.client
    place = {"name": "Attic", "light": "room", "temperature_c": "20", "relative_humidity_pct": "50"}
    assert easel.send("/room/new", **place).status_code == 303
    added = undo_of(client)
    assert client.post(f"/room/{easel.place}/archive").status_code == 303
    refused = client.post(added)
    assert refused.status_code == 409
    assert "only place" in refused.text
    assert client.get("/mixing").status_code == 200


def test_presses_of_different_buttons_on_one_card_all_count(easel: Easel, db: Database):
    """Without script the card stays as it was when one goes back to it."""
    layer = easel.painted(easel.panel(), "2026-11-20T10:00")
    for stage in ("wet", "wet", "tacky"):
        data = {"command_key": "abcdefgh1234", "next": "/", "stage": stage}
        assert easel.client.post(f"{layer}/tests", data=data).status_code == 303
    with db.read() as session:
        assert sorted(session.scalars(select(TouchTest.stage))) == ["tacky", "wet"]
