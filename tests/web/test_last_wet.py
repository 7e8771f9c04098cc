"""When a layer whose first test found it dry was last seen wet: asked on the spot, answered by one tap, or left."""

import re
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from server.web.touch_questions import last_wet_of
from tests.web.conftest import NOW
from tests.web.pages_of_records import Easel, form_to, make_easel
from tests.web.test_every_route import check_page
from tests.web.test_learning import pressed

HTMX = {"HX-Request": "true", "HX-Request-Type": "partial", "Sec-Fetch-Site": "same-origin"}
ASKS = "When did you last see it wet?"


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def press(easel: Easel, layer: str, stage: str = "touch_dry", **headers: str) -> Any:
    """One tap on Today: the stage alone."""
    return easel.client.post(f"{layer}/tests", data={"stage": stage, "is_sure": "1"}, headers=headers)


def choices(page: str) -> list[str]:
    found = re.findall(r'action="/learning/seen-wet/.*?<button[^>]*>(.*?)</button>', page, re.DOTALL)
    return [unescape(words) for words in found]


def test_today_asks_at_once_in_the_card_and_one_tap_answers(easel: Easel):
    panel, layer = pressed(easel, "Late look", 3)
    answer = press(easel, layer, **HTMX)
    card = easel.client.get(answer.headers["location"].partition("#")[0], headers=HTMX).text
    assert ASKS in card and "Undo" in card
    assert choices(card) == ["A few hours before", "The day before", "Two days before", "Only when I painted it"]
    action = f"/learning/seen-wet/{layer.rpartition('/')[2]}"
    given = form_to(type(answer)(200, text=card, request=answer.request), action).filled(days_before="1.0")
    done = easel.client.post(action, data=given, headers=HTMX)
    uid = panel.rpartition("/")[2]
    assert done.status_code == 303 and done.headers["location"] == f"/?card={uid}#card-{uid}"
    assert ASKS not in easel.client.get(f"/?card={uid}", headers=HTMX).text
    assert "From 2 tests of 1 layer" in easel.client.get("/learning").text


def test_without_script_today_asks_above_the_wall_and_only_then(easel: Easel):
    _, layer = pressed(easel, "Late look", 3)
    answer = press(easel, layer)
    page = easel.client.get(answer.headers["location"].partition("#")[0]).text
    check_page(page)
    assert ASKS in page and page.index(ASKS) < page.index('class="hang"')
    assert ASKS not in easel.client.get("/").text


def test_the_panels_page_asks_while_somebody_may_remember(easel: Easel, app: FastAPI):
    panel, layer = pressed(easel, "Late look", 3)
    press(easel, layer)
    page = easel.client.get(panel).text
    check_page(page)
    assert choices(page) == ["A few hours before", "The day before", "Two days before", "Only when I painted it"]
    app.state.clock = lambda: NOW + timedelta(days=15)
    assert not choices(easel.client.get(panel).text)
    # The page of the tests goes on asking.
    assert len(choices(easel.client.get(f"{layer}/tests").text)) == 4


@pytest.mark.parametrize("stage", ["wet", "tacky"])
def test_a_first_test_that_found_it_soft_asks_nothing(easel: Easel, stage: str):
    panel, layer = pressed(easel, "Early look", 3)
    answer = press(easel, layer, stage, **HTMX)
    assert ASKS not in easel.client.get(answer.headers["location"].partition("#")[0], headers=HTMX).text
    assert not choices(easel.client.get(panel).text)


def test_what_lies_before_the_painting_is_no_answer():
    asked = last_wet_of("uid", NOW - timedelta(days=1.5), NOW, "/")
    assert [days for days, _ in asked.choices] == [0.2, 1.0, 60.0]


def test_an_answer_leads_nowhere_else(easel: Easel):
    panel, layer = pressed(easel, "Late look", 3)
    press(easel, layer)
    action = f"/learning/seen-wet/{layer.rpartition('/')[2]}"
    answer = easel.client.post(action, data={"days_before": "1", "next": "https://elsewhere.example/"})
    assert answer.status_code == 303 and answer.headers["location"] == panel


def test_how_to_test_is_a_tap_away_from_today(easel: Easel):
    pressed(easel, "Drying", 3)
    assert 'href="/glossary#touch-test"' in easel.client.get("/").text
    assert "Press at an edge, where it will not show" in easel.client.get("/glossary").text
