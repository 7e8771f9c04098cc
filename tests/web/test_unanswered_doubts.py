"""Tests that nobody could be asked about when they came in are asked about later, on every page of their layer."""

import re
from datetime import timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from tests.web.conftest import NOW
from tests.web.pages_of_records import Easel, form_to, make_easel
from tests.web.test_every_route import check_page
from tests.web.test_learning import pressed, text_of

WANTS = "A touch test wants your word"


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def sent_later(easel: Easel, layer: str, stage: str, at: Any) -> None:
    """What a device sends when its network is back: the stage with the moment it was pressed."""
    answer = easel.client.post(
        f"{layer}/tests", data={"stage": stage}, headers={"Umberday-Happened-At": at.strftime("%Y-%m-%dT%H:%M:%SZ")}
    )
    assert answer.status_code == 303, answer.text


@pytest.fixture
def softer(easel: Easel) -> tuple[str, str]:
    """A layer found dry, and later, by a device without a network, found wet."""
    panel, layer = pressed(easel, "Went back", 9, (3, "tacky"), (6, "touch_dry"))
    sent_later(easel, layer, "wet", NOW - timedelta(hours=3))
    return panel, layer


def test_a_backward_test_of_a_device_without_a_network_is_taken_and_asked_about(easel: Easel, softer: tuple[str, str]):
    panel, layer = softer
    assert easel.client.get("/").text.count(WANTS) == 1
    text = text_of(easel.client, panel)
    assert "A touch test of this layer wants your word" in text
    assert "It does not go with a test of another time: a film does not turn soft again. Is it right?" in text
    text = text_of(easel.client)
    assert "Tests that want your word" in text and "Went back, underpainting : wet on" in text
    check_page(easel.client.get("/learning").text)
    # It is not dropped meanwhile: the layer counts as wet.
    assert "From 3 tests of 1 layer" in text
    assert "Its first test" not in text_of(easel.client, f"{layer}/tests")


@pytest.mark.parametrize("answer", ["sure", "mistaken"])
def test_either_answer_ends_the_asking(easel: Easel, softer: tuple[str, str], answer: str):
    panel, _ = softer
    page = easel.client.get("/learning")
    asked = page.text[page.text.index("Tests that want your word") : page.text.index('id="learned"')]
    action = re.findall(rf'action="(/tests/[^"]+/{answer})"', asked)[0]
    done = easel.client.post(action, data=form_to(page, action).values)
    assert done.status_code == 303
    assert WANTS not in easel.client.get("/").text
    assert "wants your word" not in text_of(easel.client, panel)
    assert "Tests that want your word" not in text_of(easel.client)
    tests = 3 if answer == "sure" else 2
    assert f"From {tests} tests of 1 layer" in text_of(easel.client)
