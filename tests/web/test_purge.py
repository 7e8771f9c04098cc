"""Purging over HTTP: what goes is shown, the title is asked for, a wrong one keeps everything."""

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from tests.web.pages_of_records import Easel, form_to, make_easel


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def test_a_panel_is_purged_by_its_title(easel: Easel):
    client, panel = easel.client, easel.panel(title="Quince and jug")
    easel.painted(panel, "2026-11-01T10:00")
    assert client.get(f"{panel}/purge").headers["location"] == panel  # not archived: back to it
    assert "Purge it for ever" not in client.get(panel).text
    client.post(f"{panel}/archive", data=form_to(client.get(panel), f"{panel}/archive").values)
    assert f'href="{panel}/purge"' in client.get(panel).text
    page = client.get(f"{panel}/purge")
    assert "1 layer" in page.text
    form = form_to(page, f"{panel}/purge")
    wrong = client.post(f"{panel}/purge", data=form.filled(title="Quince"))
    assert wrong.status_code == 422
    assert "This is not its title" in wrong.text
    assert client.get(panel).status_code == 200
    sent = form.filled(title="Quince and jug")
    done = client.post(f"{panel}/purge", data=sent)
    assert (done.status_code, done.headers["location"]) == (303, "/panels")
    assert client.post(f"{panel}/purge", data=sent).status_code == 303  # sent twice is once
    for address in (panel, f"{panel}/purge", f"{panel}/record"):
        assert client.get(address).status_code == 404
    told = client.get("/history").text
    assert "Purged a panel with all that belonged to it" in told
    assert "Quince" not in told
    for address in ("/", "/panels", "/calendar", "/plan", "/learning"):
        assert client.get(address).status_code == 200
