"""Where a panel is, over HTTP: one tap to move it, a form with the time, corrections."""

import re

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from tests.web.pages_of_records import NOBODY, Easel, form_to, make_easel
from tests.web.test_room import add


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def test_one_tap_moves_a_panel_and_one_undo_brings_it_back(easel: Easel):
    client = easel.client
    assert "Move to" not in client.get(easel.panel()).text
    add(client)
    panel = easel.panel(title="On the go")
    address = f"{panel}/places"
    page = client.get(panel)
    assert "Move to Cellar rack" in page.text
    answer = client.post(address, data=form_to(page, address).values)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{panel}#where")
    told = client.get(panel)
    assert "Moved “On the go” to “Cellar rack”" in told.text
    assert "Move to Easel room" in told.text
    undo = re.search(r'action="(/history/[^"]+/undo)"', told.text)
    assert undo is not None
    assert client.post(undo[1], data=form_to(told, undo[1]).values).status_code == 303
    assert "Move to Cellar rack" in client.get(panel).text


def test_a_move_is_told_with_its_time_corrected_and_taken_back(easel: Easel):
    client = easel.client
    add(client)
    panel = easel.panel()
    address = f"{panel}/places"
    cellar = re.search(r'<option value="([^"]+)">Cellar rack', client.get(address).text)
    assert cellar is not None
    form = form_to(client.get(address), address)
    late = client.post(address, data=form.filled(place_uid=cellar[1], moved_at="2031-01-01T10:00"))
    assert late.status_code == 422
    assert 'id="e-moved_at"' in late.text
    assert 'value="2031-01-01T10:00"' in late.text
    form = form_to(late, address)
    early = client.post(address, data=form.filled(place_uid=cellar[1], moved_at="1990-01-01T10:00"))
    assert early.status_code == 422 and "and this is more than a year earlier" in early.text
    typed = form_to(early, address).values
    assert (typed["place_uid"], typed["moved_at"]) == (cellar[1], "1990-01-01T10:00")
    sent = form_to(early, address).filled(place_uid=cellar[1], moved_at="2026-11-20T10:00")
    assert client.post(address, data=sent).status_code == 303
    page = client.get(address)
    edit = re.search(r'href="(/moves/[^"]+/edit)"', page.text)
    assert edit is not None
    form = form_to(client.get(edit[1]), edit[1])
    assert form.values["moved_at"] == "2026-11-20T10:00"
    assert client.post(edit[1], data=form.filled(moved_at="2026-11-21T10:00")).status_code == 303
    stale = client.post(edit[1], data=form.filled(moved_at="2026-11-22T10:00", command_key="another-key-1"))
    assert stale.status_code == 409
    away = edit[1].replace("edit", "archive")
    assert client.post(away, data=form_to(client.get(address), away).values).status_code == 303
    assert "Since" not in client.get(address).text
    assert "was taken back" in client.get(edit[1]).text
    assert client.post(edit[1].replace("edit", "restore"), data={}).status_code == 303
    assert "Since" in client.get(address).text


@pytest.mark.parametrize("path", ["/panels/{}/places", "/moves/{}/edit"])
def test_there_is_no_such_panel_or_move(client: TestClient, path: str):
    assert client.get(path.format(NOBODY)).status_code == 404
    assert client.post(path.format(NOBODY), data={}).status_code == 404
