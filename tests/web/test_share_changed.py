"""A link changed at the address it has: what it shows, until when, in which units; by the page and by a program.

What a stranger must not learn is our own rule. Inches: 1 in is 25.4 mm exactly (international yard and pound
agreement of 1959; from memory).
"""

import re
from datetime import timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from server.web.api.record_examples import PANEL_UID
from tests.web.conftest import NOW
from tests.web.pages_of_records import Easel, make_easel
from tests.web.test_api_plans import Program
from tests.web.test_share import hang, make_link

API = "/api/v1"


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db, "Europe/Madrid")


def form_of(client: TestClient) -> tuple[str, dict[str, Any]]:
    """Where the one link is changed, and its form as it stands there."""
    found = re.search(r'href="(/share/[^"]+/edit)"', client.get("/share").text)
    assert found
    page = client.get(found[1]).text
    given = dict(re.findall(r'name="(label|version|expires_on|embed_origin)"[^>]*value="([^"]*)"', page))
    given["shows"] = re.findall(r'name="shows" value="(\w+)"[^>]*checked', page)
    given["units"] = re.search(r'name="units" value="(\w+)"[^>]*checked', page)[1]  # type: ignore[index]
    return found[1], given


def test_what_a_link_shows_is_changed_at_the_same_address(easel: Easel) -> None:
    uid = hang(easel)
    home = make_link(easel, scope="panel", panel_uids=[uid], shows=["sizes"])
    assert "40.5 × 50 cm" in easel.client.get(home).text
    path, form = form_of(easel.client)
    assert (form["shows"], form["expires_on"], form["units"]) == (["sizes"], "2026-12-25", "metric")
    answer = easel.client.post(path, data=form | {"shows": ["sizes", "notes"], "label": "For her", "units": "imperial"})
    assert answer.status_code == 303
    shown = easel.client.get(home).text
    assert "Quiet remark" in shown
    assert "15.94 × 19.69 in" in shown or "15.9 × 19.7 in" in shown
    assert "50 cm" not in shown
    assert "“For her”" in easel.client.get("/history").text or "For her" in easel.client.get("/share").text
    undo = re.search(r'action="(/history/[^"]+/undo)"', easel.client.get("/history").text)
    assert undo
    easel.client.post(undo[1], data={"command_key": "u" * 16})
    assert "Quiet remark" not in easel.client.get(home).text


def test_an_expired_link_opens_again_with_a_later_day_and_a_revoked_one_does_not(easel: Easel, app: FastAPI) -> None:
    home = make_link(easel, lasts="week")
    app.state.clock = lambda: NOW + timedelta(days=9)
    client = easel.client
    assert client.get(home).status_code == 404
    path, form = form_of(client)
    late = client.post(path, data=form | {"expires_on": "2026-12-01"})
    assert late.status_code == 422
    assert "This day is past" in late.text
    # Its last day is past and stays so while something else is changed.
    assert client.post(path, data=form | {"label": "Named anew"}).status_code == 303
    assert client.get(home).status_code == 404
    assert client.post(path, data=form_of(client)[1] | {"expires_on": "2027-01-31"}).status_code == 303
    assert client.get(home).status_code == 200
    assert client.post(path, data=form_of(client)[1] | {"expires_on": ""}).status_code == 303
    app.state.clock = lambda: NOW + timedelta(days=4000)
    assert client.get(home).status_code == 200
    _, form = form_of(client)
    client.post(path.replace("/edit", "/revoke"), data={"command_key": "r" * 16})
    assert client.post(path, data=form | {"expires_on": "2030-01-31"}).status_code == 409
    assert client.get(home).status_code == 404


def test_two_who_change_one_link_are_told(easel: Easel) -> None:
    make_link(easel)
    path, form = form_of(easel.client)
    assert easel.client.post(path, data=form | {"label": "First", "command_key": "a" * 16}).status_code == 303
    second = easel.client.post(path, data=form | {"label": "Second", "command_key": "b" * 16})
    assert second.status_code == 409
    assert "Second" in second.text
    assert "First" in second.text


def test_the_units_are_the_makers_choice_and_never_the_readers(easel: Easel) -> None:
    uid = hang(easel)
    client = easel.client
    own = make_link(easel, scope="panel", panel_uids=[uid], shows=["sizes"], units="studio")
    reader = {"Accept-Language": "en-US"}
    assert "50 cm" in client.get(own, headers=reader).text
    settings = client.get(f"{API}/studio").json()
    version = {"If-Match": f'"{settings.pop("version")}"'}
    changed = client.put(f"{API}/studio", json=settings | {"length_unit": "in"}, headers=version)
    assert changed.status_code == 200, changed.text
    assert " in<" in client.get(own).text or "19.7" in client.get(own).text
    metric = make_link(easel, scope="panel", panel_uids=[uid], shows=["sizes"])
    assert "50 cm" in client.get(metric).text


def test_a_program_makes_changes_and_ends_a_link(easel: Easel, app: FastAPI) -> None:
    program = Program(easel.client)
    uid = hang(easel)
    made = program.done("/share-links", program.example("ShareLinkCreate", **{PANEL_UID: uid}), key="k")
    link = made["link"]
    home = made["address"].removeprefix("http://127.0.0.1")
    assert (link["state"], link["expires_on"], link["panel_uids"]) == ("open", "2027-06-30", [uid])
    again = program.done("/share-links", program.example("ShareLinkCreate", **{PANEL_UID: uid}), key="k")
    assert again["link"]["uid"] == link["uid"]
    home = again["address"].removeprefix("http://127.0.0.1")  # nobody saw the first answer, for all we know
    assert "50 cm" in easel.client.get(home).text
    at = f"/share-links/{link['uid']}"
    body = program.example("ShareLinkChange")
    assert program.send(at, body, method="PUT").status_code == 428
    changed = program.done(at, body, method="PUT", version=link["version"])
    assert (changed["units"], changed["expires_on"]) == ("imperial", None)
    stale = program.send(at, body | {"label": "Late"}, method="PUT", version=link["version"])
    assert (stale.status_code, stale.json()["current"]["label"]) == (412, "For the waiting room")
    assert " in" in easel.client.get(home).text
    other = program.done(f"{at}/renew")
    assert easel.client.get(home).status_code == 404
    elsewhere = other["address"].removeprefix("http://127.0.0.1")
    assert easel.client.get(elsewhere).status_code == 200
    at = f"/share-links/{other['link']['uid']}"
    assert program.done(f"{at}/revoke")["state"] == "revoked"
    assert easel.client.get(elsewhere).status_code == 404
    assert program.done(f"{at}/restore")["state"] == "open"
    first = program.get("/share-links?limit=1")
    rest = program.get(f"/share-links?after={first['next_after']}")
    assert [each["uid"] for each in (*first["items"], *rest["items"])] == [other["link"]["uid"], link["uid"]]
    assert made["address"] not in str(rest) and "address" not in rest["items"][0]


def test_a_program_makes_a_calendar_to_subscribe_to(easel: Easel) -> None:
    hang(easel)
    made = Program(easel.client).done("/share-links", {"label": "Phone", "kind": "feed"})
    for name in ("address", "tasks_address"):
        answer = easel.client.get(made[name].removeprefix("http://127.0.0.1"))
        assert answer.headers["content-type"].startswith("text/calendar")
        assert b"Two pears" in answer.content


def test_where_nobody_signs_in_there_are_no_people(client: TestClient) -> None:
    for path in ("members", "members/events", "invitations"):
        assert client.get(f"{API}/{path}").status_code == 404
