"""The page that tries a layer out laid otherwise."""

import re

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from tests.web.pages_of_records import NOBODY, Easel, form_to, make_easel

HTMX = {"HX-Request": "true"}


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


@pytest.fixture
def layer(easel: Easel) -> str:
    """White on most of a panel and black in the eyes."""
    panel = easel.panel(_ground_age="year")
    return easel.layer(
        panel,
        thickness_preset="normal_brush",
        **{
            "mixes-0-area_pct": "90",
            "mixes-1-mix_uid": easel.black,
            "mixes-1-area_pct": "10",
            "mixes-1-region": "the eyes",
        },
    )


def told(answer_text: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer_text).split())


def test_the_layer_as_it_is_says_what_holds_it_and_what_would_help(easel: Easel, layer: str):
    answer = easel.client.get(f"{layer}/what-if")
    assert answer.status_code == 200
    text = told(answer.text)
    assert "The ivory black in “the eyes” holds this layer" in text
    assert "15 % burnt umber in “the eyes” would bring" in text
    assert "Nothing is changed by asking." in text


def test_the_parts_of_the_time_stand_there_with_their_reasons(easel: Easel, layer: str):
    text = told(easel.client.get(f"{layer}/what-if").text)
    assert "the eyes: what makes it touch-dry dry-to-touch in about" in text
    assert "Base 4.5 days clear linseed, 30 µm, reference room" in text
    assert "ivory black (2.2)" in text


def test_every_region_has_its_curves_and_the_table_beside_them(easel: Easel, layer: str):
    page = easel.client.get(f"{layer}/what-if").text
    assert page.count('class="chance"') == 2 * 4
    assert "Chance of each stage by day, the eyes" in page
    assert "about 1" in page and "in 20" in page


def test_what_is_tried_out_stands_beside_what_is(easel: Easel, layer: str):
    answer = easel.client.get(
        f"{layer}/what-if", params={"wet_thickness_um": "20", "medium": "alkyd", "medium_pct": "20"}
    )
    assert answer.status_code == 200
    text = told(answer.text)
    assert "So it would be touch-dry" in text
    assert "As tried out" in text
    assert "20 µm wet" in text
    assert "alkyd, " in text


def test_htmx_gets_the_answer_alone(easel: Easel, layer: str):
    answer = easel.client.get(f"{layer}/what-if", params={"temperature_c": "28"}, headers=HTMX)
    assert answer.status_code == 200
    assert "<html" not in answer.text
    assert "As tried out" in answer.text


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("wet_thickness_um", "thick"),
        ("wet_thickness_um", "0"),
        ("thinner_pct", "99"),
        ("pigment", "PZ999"),
        ("medium", "glue"),
        ("region", "7"),
        ("place_uid", NOBODY),
        ("temperature_c", "500"),
        ("nobody_knows", "1"),
    ],
)
def test_what_cannot_be_tried_is_said_at_its_field(easel: Easel, layer: str, field: str, value: str):
    answer = easel.client.get(f"{layer}/what-if", params={field: value})
    assert answer.status_code == 422
    if field in {"wet_thickness_um", "thinner_pct", "pigment", "temperature_c"}:
        assert f'id="e-{field}"' in answer.text
        assert f'value="{value}"' in answer.text


def test_a_pigment_is_read_as_painters_write_it(easel: Easel, layer: str):
    as_is = easel.client.get(
        f"{layer}/what-if", params={"pigment": "PBr7 burnt umber", "pigment_pct": "30", "region": "1"}
    )
    assert as_is.status_code == 200
    assert "burnt umber (" in told(as_is.text)


def test_a_layer_that_lies_is_asked_from_now_on(easel: Easel):
    panel = easel.panel(_ground_age="year")
    layer = easel.layer(panel, thickness_preset="normal_brush")
    version = form_to(easel.client.get(f"{layer}/paint"), f"{layer}/paint").values
    assert easel.client.post(f"{layer}/paint", data=version).status_code == 303
    page = easel.client.get(f"{layer}/what-if")
    text = told(page.text)
    assert "It lies already: where it dries and how warm can still be changed." in text
    assert "your touch tests of it count" in text and "burnt umber" not in text.partition("What would still help")[2]
    warmer = told(easel.client.get(f"{layer}/what-if", params={"temperature_c": "28"}).text)
    assert "From now on so, it would be touch-dry" in warmer
    assert "The room makes it take 0." in warmer
    thinner = told(easel.client.get(f"{layer}/what-if", params={"wet_thickness_um": "20"}).text)
    assert "Laid so, it would have been touch-dry" in thinner
    assert "Its thickness makes it take 0." in thinner


def test_nobodys_layer_is_not_found(easel: Easel):
    assert easel.client.get(f"/layers/{NOBODY}/what-if").status_code == 404


def test_a_layer_without_a_date_says_so(easel: Easel):
    panel = easel.panel(_ground_age="year")
    layer = easel.layer(panel, material="acrylic")
    answer = easel.client.get(f"{layer}/what-if")
    assert answer.status_code == 200
    assert "No date can be given for this layer" in answer.text


def test_the_panel_leads_there(easel: Easel):
    panel = easel.panel(_ground_age="year")
    layer = easel.layer(panel)
    assert f'href="{layer}/what-if"' in easel.client.get(panel).text


def test_the_number_of_queries_stays(easel: Easel, layer: str, queries):
    easel.client.get(f"{layer}/what-if")
    queries()
    easel.client.get(f"{layer}/what-if", params={"wet_thickness_um": "33"})
    assert queries() < 40
