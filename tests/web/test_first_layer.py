"""From bare studio to a first layer: nothing has to be known beforehand, and no way loses the place it started from."""

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.services import mixes, paints
from server.services.unit import unit
from server.store.db import Database
from tests.web.pages_of_records import Easel, form_to, forms_of, make_easel


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def labels_of(easel: Easel) -> list[str]:
    with easel.db.read() as session:
        return [mix.label for mix in mixes.all_open(session, easel.actor)]


def test_an_empty_studio_gets_its_shelf_from_the_form_of_the_layer_and_paints_from_the_tube(client: TestClient):
    """The whole way of a newcomer: panel, shelf, layer, each by the form the one before led to."""
    form = form_to(client.get("/panels/new"), "/panels/new")
    hung = client.post("/panels/new", data=form.filled(title="Two pears", width_cm="30", height_cm="24"))
    panel = hung.headers["location"]
    action = f"{panel}/layers/new"
    page = client.get(action)
    assert "Put up the starter shelf" in page.text
    typed = form_to(page, action).filled(kind="glaze", notes="Warm <light>")
    back = client.post(action, data=typed | {"_starter": "yes"})
    assert back.status_code == 200
    assert "No paint to name yet" not in back.text and "Not saved yet" not in back.text
    form = form_to(back, action)
    assert (form.values["kind"], form.values["notes"]) == ("glaze", "Warm <light>")
    tubes = [value for value in form.options["mixes-0-mix_uid"] if value.startswith("tube-")]
    assert len(tubes) > 10
    planned = client.post(action, data=form.filled(**{"mixes-0-mix_uid": tubes[0]}))
    assert planned.headers["location"].startswith(panel)
    assert "100 % of the area" in " ".join(client.get(panel).text.split())


def test_a_tube_as_it_is_is_kept_as_one_mix_however_often_it_is_used(easel: Easel):
    panel = easel.panel()
    before = labels_of(easel)
    with unit(easel.db, easel.actor, label="Bought a tube") as work:
        command = paints.PaintCreate.model_validate({"label": "Ochre", "pigments": [{"pigment": "PY43"}]})
        ochre = f"tube-{paints.create(work.session, easel.actor, command).uid}"
    for _ in range(2):
        easel.layer(panel, **{"mixes-0-mix_uid": ochre})
    offered = form_to(easel.client.get(f"{panel}/layers/new"), f"{panel}/layers/new").options["mixes-0-mix_uid"]
    assert ochre not in offered  # it stands among the mixes now
    assert sorted(labels_of(easel)) == sorted([*before, "Ochre"])


def test_a_tube_that_is_gone_is_told_at_its_line(easel: Easel):
    action = f"{easel.panel()}/layers/new"
    form = form_to(easel.client.get(action), action)
    answer = easel.client.post(action, data=form.filled(notes="Keep me") | {"mixes-0-mix_uid": "tube-nothing"})
    assert answer.status_code == 422
    assert 'id="e-mixes-0-mix_uid"' in answer.text
    assert "no longer on the shelf" in answer.text
    assert form_to(answer, action).values["notes"] == "Keep me"


def test_a_mix_made_for_a_panel_leads_back_to_its_layer_with_the_mix_chosen(easel: Easel):
    panel = easel.panel()
    start = f"/mixes/new?panel={panel.rsplit('/', 1)[1]}"
    form = form_to(easel.client.get(start), start)
    item = next(value for value in form.options["parts-0-item"] if value.startswith("paint:"))
    sent = form.filled(label="Half-tone", **{"parts-0-item": item, "parts-0-parts": "2"})
    answer = easel.client.post(start, data=sent)
    led_to = answer.headers["location"]
    assert led_to.startswith(f"{panel}/layers/new?mix=")
    chosen = form_to(easel.client.get(led_to), f"{panel}/layers/new").values["mixes-0-mix_uid"]
    assert chosen == led_to.rpartition("=")[2]
    assert "Half-tone" in labels_of(easel)


def test_what_was_typed_of_a_layer_is_there_again_once_something_was_mixed_for_it(easel: Easel):
    panel = easel.panel()
    action = f"{panel}/layers/new?painted=1"
    form = form_to(easel.client.get(action), action)
    typed = {"kind": "glaze", "notes": "Warm & <light>\nthin", "mixes-0-mix_uid": easel.white, "mixes-0-area_pct": "40"}
    left = easel.client.post(action, data=form.filled(**typed) | {"_mix_first": "yes"})
    assert left.status_code == 303
    page = easel.client.get(left.headers["location"])
    [mixing] = [each for each in forms_of(page) if each.action.startswith("/mixes/new?panel=")]
    item = next(value for value in mixing.options["parts-0-item"] if value.startswith("paint:"))
    sent = mixing.filled(label="Half-tone", **{"parts-0-item": item, "parts-0-parts": "2"})
    answers = [easel.client.post(mixing.action, data=sent) for _ in range(2)]
    assert len({answer.headers["location"] for answer in answers}) == 1
    again = form_to(easel.client.get(answers[0].headers["location"]), action).values
    assert (again["kind"], again["mixes-0-mix_uid"], again["mixes-0-area_pct"]) == ("glaze", easel.white, "40")
    assert again["notes"].replace("\r\n", "\n") == "Warm & <light>\nthin"
    assert again["painted_at"] == form.values["painted_at"]
    assert again["mixes-1-mix_uid"] not in ("", easel.white)


@pytest.mark.parametrize("back", ["https://elsewhere.example/", "//elsewhere.example", "/panels/x/archive", ""])
def test_the_starter_shelf_leads_to_no_other_place(easel: Easel, back: str):
    answer = easel.client.post("/shelf/starter", data={"back": back})
    assert answer.headers["location"] == "/shelf"
