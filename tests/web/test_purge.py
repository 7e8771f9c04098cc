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


def test_a_tube_is_purged_by_its_name_and_not_while_a_mix_names_it(easel: Easel):
    client = easel.client
    label = {"label": "A jar", "solvent": "gum_turpentine", "command_key": "k" * 20}
    jar = client.post("/shelf/thinners/new", data=label).headers["location"]
    page = client.get("/shelf").text
    assert "A jar" in page
    edit = next(line for line in page.split('"') if line.startswith("/shelf/thinners/") and line.endswith("/edit"))
    uid = edit.split("/")[3]
    purge = f"/purge/thinners/{uid}"
    assert client.get(purge).headers["location"] == edit
    archive = f"/shelf/thinners/{uid}/archive"
    assert client.post(archive, data=form_to(client.get(edit), archive).values).status_code == 303
    assert f'href="{purge}"' in client.get(edit).text
    form = form_to(client.get(purge), purge)
    assert client.post(purge, data=form.filled(name="jar")).status_code == 422
    done = client.post(purge, data=form.filled(name="A jar"))
    assert (done.status_code, done.headers["location"]) == (303, "/shelf"), jar
    assert client.get(purge).status_code == client.get(edit).status_code == 404
    assert "A jar" not in client.get("/history").text


def test_what_stands_against_it_is_shown_in_place_of_the_form(easel: Easel):
    client = easel.client
    easel.painted(easel.panel(title="Quince and jug"), "2026-11-01T10:00")
    mixes = client.get("/mixes").text
    uid = next(line for line in mixes.split('"') if line.startswith("/mixes/") and "new" not in line).split("/")[2]
    with_it = f"/mixes/{uid}"
    for address in {line for line in mixes.split('"') if line.startswith("/mixes/") and "new" not in line}:
        shown = client.get(address)
        if "archive" in shown.text and address.count("/") == 2:
            client.post(f"{address}/archive", data={"command_key": "k" * 20})
            told = client.get(f"/purge{address}")
            assert told.status_code == 200, with_it
            if "Quince and jug" in told.text:
                assert "Purge it for ever" not in told.text
                return
    raise AssertionError("no mix is painted with")
