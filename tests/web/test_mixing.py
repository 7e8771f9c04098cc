"""Mixes and the palette over HTTP: answers at once, keeps what was typed, says the same as the panel."""

import re
from urllib.parse import urlencode

import pytest
from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from server.store.db import Database
from tests.web.pages_of_records import NOBODY, Easel, Form, form_to, forms_of, make_easel

FRAGMENT = {"HX-Request": "true", "HX-Request-Type": "partial"}


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    made = make_easel(client, app, db)
    assert made.client.post("/shelf/starter", data={}).status_code == 303
    return made


@pytest.fixture
def items(easel: Easel) -> dict[str, str]:
    """What may go on the palette, by its label."""
    options = re.findall(
        r'<option value="((?:paint|medium|thinner):[^"]+)">([^<]+)</option>', easel.client.get("/mixing").text
    )
    return {label: value for value, label in options}


def asked(items: dict[str, str], *parts: tuple[str, str], **values: str) -> dict[str, str]:
    given: dict[str, str] = {}
    for number, (label, amount) in enumerate(parts):
        given |= {f"parts-{number}-item": items.get(label, label), f"parts-{number}-parts": amount}
    return given | values


def palette(easel: Easel, question: dict[str, str], **headers: str):
    return easel.client.get(f"/mixing?{urlencode(question)}", headers=headers)


def palette_form(page: Response) -> Form:
    """The palette's own form; above it one that only starts from a saved mix may stand."""
    return [form for form in forms_of(page) if form.action == "/mixing"][-1]


def test_an_empty_palette_says_what_to_do(easel: Easel):
    page = easel.client.get("/mixing")
    assert "Nothing on the palette" in page.text
    assert page.status_code == 200


def test_an_empty_shelf_leads_to_the_shelf(client: TestClient):
    assert "The shelf is empty" in client.get("/mixing").text


def test_the_palette_answers_a_plain_submit(easel: Easel, items: dict[str, str]):
    page = palette(easel, asked(items, ("White", "10"), ("Linseed oil", "2")))
    assert page.status_code == 200
    text = page.text.replace("\u00a0", " ")
    # D 1.20 and M a sixth: arithmetic of the definitions.
    for words in ("1.20", "17 %", "critical PVC", "reduced PVC", "g/ml", "Touch-dry likely", "dry-to-touch", "8.3 ml"):
        assert words in text
    assert "Oily rags" in text
    values = palette_form(page).values
    assert (values["parts-0-item"], values["parts-0-parts"]) == (items["White"], "10")


def test_htmx_gets_the_answer_alone_and_the_line_that_stays_in_sight(easel: Easel, items: dict[str, str]):
    answer = palette(easel, asked(items, ("White", "1")), **FRAGMENT)
    assert answer.status_code == 200
    assert "<html" not in answer.text
    assert "<form" not in answer.text
    assert 'id="gist"' in answer.text
    assert 'hx-swap-oob="true"' in answer.text


def test_half_typed_parts_are_no_error_for_htmx(easel: Easel, items: dict[str, str]):
    answer = palette(easel, asked(items, ("White", "")), **FRAGMENT)
    assert answer.status_code == 200
    assert "Not yet" in answer.text


def test_the_palette_asks_the_rules_of_a_panel(easel: Easel, items: dict[str, str]):
    panel = easel.panel(title="Two pears", width_cm="40", height_cm="50")
    easel.painted(panel, "2026-11-23T10:00")
    uid = panel.rpartition("/")[2]
    question = asked(items, ("White", "9"), panel_uid=uid)
    text = palette(easel, question).text.replace("\u00a0", " ")
    assert "Over “<a" in text
    assert "Rule R03" in text
    assert "13 ml" in text
    lean = palette(easel, asked(items, ("White", "9"), panel_uid=uid, wet_thickness_um="100")).text
    assert "26\u00a0ml" in lean
    # A link from the panel fills the panel in.
    assert palette_form(easel.client.get(f"/mixing?panel={uid}")).values["panel_uid"] == uid


def test_a_lean_layer_over_a_rich_one_gets_its_oil_in_ml_grams_and_drops(easel: Easel, items: dict[str, str]):
    rich = asked(items, ("White", "10"), ("Linseed oil", "2"), label="Rich")
    kept = easel.client.post("/mixing/keep", data=rich)
    mix = kept.headers["location"].rpartition("/")[2]
    panel = easel.panel(width_cm="40", height_cm="50")
    easel.painted(panel, "2026-11-23T10:00", **{"mixes-0-mix_uid": mix})
    text = palette(easel, asked(items, ("White", "1"), panel_uid=panel.rpartition("/")[2])).text
    remedy = re.search(r'class="remedy">.*?</p>', text)
    assert remedy
    assert re.search(r"\d ml of oil \([\d.]+ g, about \d+ drops\)", remedy[0].replace("\u00a0", " "))


@pytest.mark.parametrize(
    ("values", "name", "told"),
    [
        ({"parts-0-parts": "0"}, "parts-0-parts", "more than 0"),
        ({"parts-0-parts": "-1"}, "parts-0-parts", "more than 0"),
        ({"parts-0-parts": ""}, "parts-0-parts", "Fill this in."),
        ({"parts-0-parts": "some"}, "parts-0-parts", "Write a number"),
        ({"parts-0-item": "paint:nowhere"}, "parts-0-item", "no longer on the shelf"),
        ({"parts-0-item": "brush:x"}, "parts-0-item", "Choose one of the list."),
        ({"parts-0-item": ""}, "parts-0-item", "Choose something from the shelf."),
        ({"wet_thickness_um": "5000000"}, "wet_thickness_um", "at most 20000"),
        ({"wet_thickness_um": "-5"}, "wet_thickness_um", "at least 1"),
        ({"preset": "trowel"}, "preset", "Choose one of the list."),
        ({"coverage_pct": "0"}, "coverage_pct", "more than 0"),
        ({"coverage_pct": "101"}, "coverage_pct", "at most 100"),
        ({"loss": "0"}, "loss", "at least 1"),
        ({"driers-0-metal": "Fe", "driers-0-percent_on_oil": "1"}, "driers-0-metal", "Choose one of the list."),
        ({"driers-0-percent_on_oil": "90"}, "driers-0-percent_on_oil", "at most 5"),
        ({"clove_drops_per_10_ml": "-3"}, "clove_drops_per_10_ml", "more than 0"),
        ({"label": "a\x07"}, "label", "cannot be shown"),
    ],
)
def test_a_question_that_makes_no_sense_is_answered_at_its_field(
    easel: Easel, items: dict[str, str], values: dict[str, str], name: str, told: str
):
    question = asked(items, ("White", "3"), ("Raw umber", "1")) | values
    for answer in (palette(easel, question), easel.client.post("/mixing/keep", data={"label": "x"} | question)):
        assert answer.status_code == 422
        assert told in answer.text
        assert f'id="e-{name}"' in answer.text
        values_again = palette_form(answer).values
        assert values_again["parts-1-parts"] == "1"


def test_a_panel_that_is_not_there_is_said_at_its_field(easel: Easel, items: dict[str, str]):
    answer = palette(easel, asked(items, ("White", "3"), panel_uid="nowhere"))
    assert answer.status_code == 422
    assert 'id="e-panel_uid"' in answer.text


def test_rows_come_and_go_without_script(easel: Easel, items: dict[str, str]):
    question = asked(items, ("White", "3"), ("Raw umber", "1"))
    more = palette(easel, question | {"_add": "parts"})
    assert palette_form(more).values["parts-2-item"] == ""
    fewer = palette_form(palette(easel, question | {"_remove": "parts-0"})).values
    assert fewer["parts-1-item"] == items["Raw umber"]


def test_what_is_on_the_palette_is_kept_once(easel: Easel, items: dict[str, str]):
    page = palette(easel, asked(items, ("White", "9"), ("Raw umber", "1"), label="Warm <grey>"))
    key = re.search(r'name="command_key" value="([^"]+)"', page.text.partition("/mixing/keep")[2])
    assert key
    sent = palette_form(page).values | {"command_key": key[1]}
    first, second = (easel.client.post("/mixing/keep", data=sent) for _ in range(2))
    assert first.status_code == second.status_code == 303
    assert first.headers["location"] == second.headers["location"]
    mix = easel.client.get(first.headers["location"])
    assert "Warm &lt;grey&gt;" in mix.text
    assert "Kept the mix" in mix.text
    assert easel.client.get("/mixes").text.count("Warm &lt;grey&gt;</a>") == 1


def test_a_mix_without_a_name_is_not_kept_and_not_lost(easel: Easel, items: dict[str, str]):
    answer = easel.client.post("/mixing/keep", data=asked(items, ("White", "9"), label="  "))
    assert answer.status_code == 422
    assert "Give the mix a name" in answer.text
    assert palette_form(answer).values["parts-0-parts"] == "9"


def test_a_saved_mix_is_put_on_the_palette(easel: Easel, items: dict[str, str]):
    page = easel.client.get(f"/mixing?mix={easel.white}")
    assert palette_form(page).values["parts-0-item"] == items["White"]
    assert "Touch-dry likely" in page.text
    assert easel.client.get(f"/mixing?mix={NOBODY}").status_code == 200


def test_a_mix_is_written_down_changed_and_shown(easel: Easel, items: dict[str, str]):
    form = form_to(easel.client.get("/mixes/new"), "/mixes/new")
    rows = asked(items, ("Lead white", "5"), ("Cadmium red", "1"))
    answer = easel.client.post("/mixes/new", data=form.filled(label="Flesh", swatch="#e0b0a0") | rows)
    assert answer.status_code == 303
    address = answer.headers["location"]
    page = easel.client.get(address)
    assert 'fill="#e0b0a0"' in page.text
    uid = address.rpartition("/")[2]
    assert 'fill="#e0b0a0"' in easel.client.get(f"/mixing?mix={uid}").text, "as the painter sees it"
    assert 'fill="#e0b0a0"' not in easel.client.get("/mixing", params={"mix": uid, **rows}).text, "another mix by now"
    for word in ("Lead", "Cadmium", "Oily rags", "How it dries", "What it is"):
        assert word in page.text
    action = f"{address}/edit"
    mine, theirs = (form_to(easel.client.get(action), action) for _ in range(2))
    assert easel.client.post(action, data=theirs.filled(label="Theirs")).status_code == 303
    late = easel.client.post(action, data=mine.filled(label="Mine"))
    assert late.status_code == 409
    assert "Stored now: <strong>Theirs</strong>" in late.text
    assert easel.client.post(action, data=form_to(late, action).values).status_code == 303
    assert "Mine" in easel.client.get("/mixes").text


@pytest.mark.parametrize(
    ("values", "name", "told"),
    [
        ({"label": ""}, "label", "Fill this in."),
        ({"swatch": "red"}, "swatch", "not written in the way"),
        ({"parts-0-parts": "0"}, "parts-0-parts", "more than 0"),
        ({"parts-0-item": "paint:nowhere"}, "parts-0-item", "no longer on the shelf"),
    ],
)
def test_a_mix_that_cannot_be_keeps_what_was_typed(
    easel: Easel, items: dict[str, str], values: dict[str, str], name: str, told: str
):
    sent = asked(items, ("Lead white", "5"), ("Cadmium red", "1"), label="Flesh", notes="A\nB") | values
    answer = easel.client.post("/mixes/new", data=sent)
    assert answer.status_code == 422
    assert told in answer.text
    assert f'id="e-{name}"' in answer.text
    assert form_to(answer, "/mixes/new").values["notes"] == "A\nB"


def test_a_mix_without_parts_is_told_so(easel: Easel):
    answer = easel.client.post("/mixes/new", data={"label": "Air"})
    assert answer.status_code == 422
    assert 'id="e-parts"' in answer.text


def test_archive_and_back(easel: Easel):
    address = f"/mixes/{easel.white}"
    assert easel.client.post(f"{address}/archive", data={}).status_code == 303
    assert ">White</a>" not in easel.client.get("/mixes").text
    assert ">White</a>" in easel.client.get("/mixes?archived=true").text
    assert "Bring it back" in easel.client.get(address).text
    assert easel.client.post(f"{address}/restore", data={}).status_code == 303
    assert ">White</a>" in easel.client.get("/mixes").text


def test_a_mix_holds_an_archived_tube(easel: Easel, items: dict[str, str]):
    uid = items["White"].partition(":")[2]
    assert easel.client.post(f"/shelf/paints/{uid}/archive", data={}).status_code == 303
    page = easel.client.get(f"/mixes/{easel.white}")
    assert "archived" in page.text
    assert "Touch-dry likely" in page.text
    action = f"/mixes/{easel.white}/edit"
    form = form_to(easel.client.get(action), action)
    assert form.values["parts-0-item"] == items["White"]
    assert easel.client.post(action, data=form.filled(label="Still white")).status_code == 303


@pytest.mark.parametrize("path", ["", "/edit", "/archive", "/restore"])
def test_there_is_no_such_mix(client: TestClient, path: str):
    answer = client.get(f"/mixes/{NOBODY}{path}") if path in {"", "/edit"} else client.post(f"/mixes/{NOBODY}{path}")
    assert answer.status_code == 404
