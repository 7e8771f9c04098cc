"""The list of what is wrong calls each field as the form does; what must come out is our own rule.

WCAG 2.2, 3.3.1 (error identification) asks that the item in error is identified; technique G139 leads to it by a link.
"""

import re
from html import unescape

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.services import stack_plans
from server.services.stack_plans import StackCreate
from server.store.db import Database
from server.web.faults_named import names_of_fields, with_names
from tests.services.conftest import Bench, make_bench
from tests.web.pages_of_records import forms_of, make_easel
from tests.web.test_every_route import PAGES

HOURS = {"painter": "Ada", "weekdays": ["1"], "start": "09:00", "end": "12:30"}
LINK = re.compile(r'<li><a href="#f-([^"]+)">([^<]*)</a>:? ')
# What a name of the program's ends in where it tells a unit or a kind.
OF_THE_CODE = re.compile(r"_| (d|h|pct|min|cm|mm|um|ml|c|uid)$")


@pytest.fixture
def bench(db: Database) -> Bench:
    return make_bench(db)


def told(text: str) -> dict[str, str]:
    """The names in the list of what is wrong, by field."""
    return {field: unescape(name) for field, name in LINK.findall(text)}


def test_a_question_is_told_without_a_colon(client: TestClient, app: FastAPI, db: Database) -> None:
    easel = make_easel(client, app, db)
    panel = easel.panel()
    easel.painted(panel, "2026-11-01T10:00")
    answer = easel.send(f"{panel}/finish/tests", method="swab", result="", tested_at="soon")
    assert answer.status_code == 422
    assert ">What did it show?</a> Choose one of the list." in answer.text
    assert ">When</a>: Write a day and a time" in answer.text


def test_packing_and_the_days_on_the_way_are_called_so(bench: Bench, client: TestClient) -> None:
    layer = {"kind": "block-in", "mix_uid": bench.white.uid, "wet_thickness_um": 40}
    with bench.unit("A stack") as work:
        stack_plans.create(work.session, bench.actor, StackCreate.model_validate({"label": "One", "layers": [layer]}))
    sent = {"title": "", "packing_d": "-1", "transit_d": "-1", "width_cm": "x", "wanted_on": "soon"}
    answer = client.post("/plan/promise", data=sent)
    assert answer.status_code == 422 and "data-called" not in answer.text and "[[" not in answer.text
    names = told(answer.text)
    assert {field: names[field] for field in sent} == {
        "title": "What is it",
        "packing_d": "Packing",
        "transit_d": "On the way",
        "width_cm": "Width",
        "wanted_on": "Wanted by",
    }
    assert names["stack_uid"] == "Painted with the stack"


def test_in_another_language_the_list_calls_them_as_the_form_does(bench: Bench, client: TestClient) -> None:
    sent = HOURS | {"painter": "", "again_start": "14:00", "again_end": "13:00"}
    answer = client.post("/plan/hours/week", data=sent, headers={"Accept-Language": "nl"})
    assert told(answer.text) == {"painter": "Wie", "again_end": "Tot"}


def test_mixing_a_palette_and_rows_are_called_as_the_form_calls_them(bench: Bench, client: TestClient) -> None:
    client.post("/plan/hours/week", data=HOURS)
    panel = bench.panel()
    bench.layer(panel)
    names = told(client.post("/plan/make", data={"mix_setup_min": "-5", "easels": "-1"}).text)
    assert names["mix_setup_min"] == "Mixing a palette takes"
    names = told(client.post("/mixes/new", data={"label": "Grey", "parts-0-parts": "x", "parts-0-item": "none"}).text)
    assert names["parts-0-parts"] == "Parts by volume, line 1: Parts"


def test_what_the_page_calls_a_field_is_read_from_labels_legends_and_names_read_aloud() -> None:
    page = """
    <label class="field-label" for="f-a">Width &amp; more <small>if you like</small></label><input id="f-a">
    <label class="unit" for="f-a">cm</label>
    <fieldset class="field choices"><legend class="field-label">Which days</legend>
      <label class="choice"><input type="checkbox" id="f-days">Monday</label></fieldset>
    <fieldset id="f-parts"><legend>Parts</legend><label class="field-label" for="f-parts-1-kind">Kind</label></fieldset>
    <label class="tick"><input id="f-is" type="checkbox"> <span>Measured</span></label>
    <input id="f-months-3-temperature_c" aria-label="April, temperature">"""
    assert names_of_fields(page) == {
        "a": "Width & more",
        "days": "Which days",
        "parts": "Parts",
        "parts-1-kind": "Kind",
        "is": "Measured",
        "months-3-temperature_c": "April, temperature",
    }
    row = '<a href="#f-{0}" data-called="plain">[[{1}]], line 4: [[{0}]]</a>'
    assert ">Parts, line 4: Kind<" in with_names(page + row.format("parts-1-kind", "parts"))
    assert ">April, temperature<" in with_names(page + row.format("months-3-temperature_c", "months"))
    assert ">Width &amp; more<" in with_names(page + '<a href="#f-a" data-called="plain">[[a]]</a>')
    assert ">plain<" in with_names(page + '<a href="#f-gone" data-called="plain">[[gone]]</a>')


def test_no_form_calls_a_field_by_the_name_it_has_in_the_code(client: TestClient, app: FastAPI, db: Database) -> None:
    easel = make_easel(client, app, db)
    panel = easel.panel()
    painted = easel.painted(panel, "2026-11-20T10:00")
    stands = [panel, f"{panel}/edit", f"{panel}/layers/new", painted, f"{painted}/tests", f"{painted}/edit"]
    adds = [f"/plan/hours?add={kind}" for kind in ("week", "away", "repeat", "holidays", "rule")]
    asked, unnamed = 0, {}
    for address in [*(path for path in PAGES if "{" not in path), *stands, *adds]:
        page = client.get(address)
        for form in forms_of(page):
            hidden = re.findall(r'<input type="hidden" name="([^"]+)"', page.text)
            typed = {name: "-1" for name, _ in form.fields if name not in hidden and not name.startswith("_")}
            if not typed or not form.action:
                continue
            answer = client.post(form.action, data=form.filled(**typed))
            shown = names_of_fields(answer.text)
            for field, name in told(answer.text).items():
                asked += 1
                if field not in shown or OF_THE_CODE.search(name):
                    unnamed[form.action.replace(panel, "/panels/…"), field] = name
    assert unnamed == {}
    assert asked > 60
