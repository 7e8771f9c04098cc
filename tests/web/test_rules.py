"""The rule book over HTTP: what each rule says of itself, and limits that are set, put back and undone."""

import re
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.science.soundness import ROWS, RULES
from server.store.db import Database
from tests.web.pages_of_records import Form, form_to, forms_of, make_easel
from tests.web.test_every_route import check_page

IDS = sorted({rule.id for rule in RULES})
FORBIDDEN = re.compile(r"\b(safe|safely|archival|guaranteed)\b", re.IGNORECASE)
R01 = "/rules/R01"
PASS, STOP = "limits-0-value", "limits-1-value"


def text_of(answer: Response) -> str:
    return unescape(answer.text)


def send(client: TestClient, address: str = R01, **values: Any) -> Response:
    """Open the page and send the form of its limits with these values."""
    names = {name.replace("_", "-"): str(value) for name, value in values.items()}
    return client.post(address, data=form_to(client.get(address), address).filled(**names))


def shown(client: TestClient, address: str = R01) -> Form:
    return form_to(client.get(address), address)


def test_the_list_has_every_rule_with_its_support(client: TestClient, queries: Callable[[], int]):
    queries()
    answer = client.get("/rules")
    assert queries() <= 8
    check_page(answer.text)
    text = text_of(answer)
    for rule in RULES:
        assert f'href="/rules/{rule.id}">{rule.id} {rule.title}</a>' in text
    assert text.count("From memory, not checked") == 2
    assert "All limits back" not in text
    assert not FORBIDDEN.search(text)


@pytest.mark.parametrize("rule_id", IDS)
def test_every_rule_has_a_page_with_reason_support_and_drawing(client: TestClient, rule_id: str):
    answer = client.get(f"/rules/{rule_id}")
    assert answer.status_code == 200
    check_page(answer.text)
    text = text_of(answer)
    for rule in (rule for rule in RULES if rule.id == rule_id):
        for told in (rule.title, rule.why, rule.looks_at, rule.evidence, rule.dispute):
            assert told in text
    for row in ROWS:
        assert (row.meaning in text) == (rule_id in row.rules), row.name
    assert re.search(r'<svg class="drawing"[^>]+role="img" aria-labelledby="fault-1-t fault-1-d">', text)
    assert "<title id=" in text and "<desc id=" in text
    assert not FORBIDDEN.search(text)
    assert " style=" not in text


@pytest.mark.parametrize("rule_id", ["R00", "R39", "r01", "R1", "reset", "%00", "a" * 300])
def test_a_rule_that_is_none_is_not_found(client: TestClient, rule_id: str):
    assert client.get(f"/rules/{rule_id}").status_code == 404
    if rule_id != "reset":
        assert client.post(f"/rules/{rule_id}", data={"version": "1"}).status_code == 404
    assert client.post(f"{R01}/reset/{rule_id}").status_code == 404


def test_a_limit_is_set_told_and_taken_back(client: TestClient):
    answer = send(client, **{PASS: "0,08"})
    assert answer.status_code == 303, answer.text
    assert answer.headers["location"] == R01
    page = client.get(R01)
    assert "Set the limits of rule R01: How much leaner than the one below a new layer may be 0.05 → 0.08" in page.text
    assert "set by you" in page.text
    assert shown(client).values[PASS] == "0.08"
    assert "1 limit set by you" in client.get("/rules").text
    assert "0.05 → 0.08" in client.get("/history").text
    undo = next(form for form in forms_of(page) if form.action.endswith("/undo"))
    assert client.post(undo.action, data=undo.values).status_code == 303
    assert shown(client).values[PASS] == "0.05"
    assert "set by you" not in client.get(R01).text


def test_an_empty_box_or_a_button_means_the_default(client: TestClient):
    send(client, **{PASS: "0.08", STOP: "0.2"})
    send(client, **{PASS: " "})
    values = shown(client).values
    assert (values[PASS], values[STOP]) == ("0.05", "0.2")
    back = f"{R01}/reset/fat_gap_stop"
    for _ in range(2):
        sent = {"command_key": "a-key-of-its-own"}
        assert client.post(back, data=sent).headers["location"] == R01
    assert shown(client).values[STOP] == "0.15"
    assert back not in client.get(R01).text


def test_all_limits_go_back_at_once(client: TestClient):
    send(client, **{PASS: "0.08"})
    send(client, "/rules/R06", **{"limits-0-value": "400"})
    form = form_to(client.get("/rules"), "/rules/reset")
    assert client.post("/rules/reset", data=form.values).headers["location"] == "/rules"
    assert "set by you" not in client.get("/rules").text
    assert shown(client, "/rules/R06").values["limits-0-value"] == "500"


@pytest.mark.parametrize(
    ("name", "typed", "told"),
    [
        (PASS, "7", "Give a number from 0 to 1."),
        (PASS, "-0.1", "Give a number from 0 to 1."),
        (PASS, "much", "Write a number, such as 2.5."),
        (PASS, "0.3", "This must not be more than “Leaner by more than this stops"),
        (PASS, "nan", "Write a number, such as 2.5."),
        (STOP, "0.01", "This must not be less than “How much leaner"),
    ],
)
def test_what_cannot_be_comes_back_as_typed_with_its_fault(client: TestClient, name: str, typed: str, told: str):
    answer = send(client, **{name: typed})
    assert answer.status_code == 422
    check_page(answer.text)
    assert told in text_of(answer)
    assert form_to(answer, R01).values[name] == typed
    assert "set by you" not in client.get(R01).text


def test_a_form_of_another_rule_s_limits_is_refused(client: TestClient):
    sent = form_to(client.get("/rules/R06"), "/rules/R06").values
    answer = client.post(R01, data=sent)
    assert answer.status_code == 422
    assert "a limit that this rule does not have" in answer.text


def test_two_tabs_and_a_second_press(client: TestClient):
    first, second = shown(client), shown(client)
    sent = first.filled(**{PASS: "0.08"})
    assert [client.post(R01, data=sent).status_code for _ in range(2)] == [303, 303]
    answer = client.post(R01, data=second.filled(**{PASS: "0.1"}))
    assert answer.status_code == 409
    text = text_of(answer)
    assert "Somebody changed these limits while you were typing" in text
    assert "Stored now: <strong>0.08</strong>" in re.sub(r"\s+", " ", text)
    again = form_to(answer, R01)
    assert again.values[PASS] == "0.1"
    assert client.post(R01, data=again.values).status_code == 303
    assert shown(client).values[PASS] == "0.1"
    assert client.get("/history").text.count("<p>Set the limits of rule R01") == 2


def test_a_refused_reset_says_why(client: TestClient):
    send(client, **{PASS: "0.3", STOP: "0.4"})
    answer = client.post(f"{R01}/reset/fat_gap_stop")
    assert answer.status_code == 409
    assert "cannot go back to 0.15 alone" in answer.text


def test_a_verdict_follows_its_limit_on_every_page(client: TestClient, app: FastAPI, db: Database):
    easel = make_easel(client, app, db)
    panel = easel.panel()
    thick = easel.painted(panel, "2026-10-28T10:00", thickness_preset="", wet_thickness_um="600")
    easel.test(thick, stage="touch_dry")
    easel.layer(panel, thickness_preset="", wet_thickness_um="400")
    uid = panel.rpartition("/")[2]
    pages = ("/", panel, f"/mixing?mix={easel.white}&panel={uid}")
    finding = 'href="/rules/R06"'

    def told() -> list[bool]:
        return [finding in client.get(page).text for page in pages]

    assert told() == [True, True, True]
    send(client, "/rules/R06", **{"limits-0-value": "700"})
    assert told() == [False, False, False]
    client.post("/rules/R06/reset/impasto_um")
    assert told() == [True, True, True]
