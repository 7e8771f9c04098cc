"""The pages of panels over HTTP."""

import re

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from tests.web.pages_of_records import NOBODY, Easel, form_to, forms_of, make_easel


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def test_an_empty_wall_leads_to_a_first_panel(client: TestClient):
    page = client.get("/panels")
    assert page.status_code == 200
    assert "The wall is bare" in page.text and 'href="/panels/new"' in page.text


def test_a_panel_is_added_and_shown(easel: Easel):
    address = easel.panel(title="Two pears", width_cm="40,5", height_cm="50", notes="For <Ada> & co")
    page = easel.client.get(address)
    assert page.status_code == 200
    assert "40.5 × 50 cm" in page.text
    assert "For &lt;Ada&gt; &amp; co" in page.text
    assert "Added the panel “Two pears”" in page.text
    assert "Two pears" in easel.client.get("/panels").text


def test_a_size_keeps_its_millimetres(easel: Easel):
    address = easel.panel(width_cm="29.7", height_cm="21.0")
    values = form_to(easel.client.get(f"{address}/edit"), f"{address}/edit").values
    assert (values["width_cm"], values["height_cm"]) == ("29.7", "21")


def test_roughly_how_old_becomes_a_date(easel: Easel):
    address = easel.panel(_ground_age="fortnight")
    values = form_to(easel.client.get(f"{address}/edit"), f"{address}/edit").values
    assert values["ground_on"] == "2026-11-11"


def test_a_date_of_the_ground_says_more_than_roughly(easel: Easel):
    address = easel.panel(_ground_age="year", ground_on="2026-10-01")
    values = form_to(easel.client.get(f"{address}/edit"), f"{address}/edit").values
    assert values["ground_on"] == "2026-10-01"


@pytest.mark.parametrize(
    ("name", "typed", "told"),
    [
        ("title", "", "Fill this in."),
        ("title", "x" * 201, "Shorten this to 200 characters."),
        ("title", "bell\x07", "cannot be shown"),
        ("title", "\u202egnp.exe", "cannot be shown"),
        ("width_cm", "", "Fill this in."),
        ("width_cm", "-3", "at least 0.1"),
        ("width_cm", "0", "at least 0.1"),
        ("width_cm", "wide", "Write a number"),
        ("height_cm", "99999", "at most 1000"),
        ("height_cm", "nan", "Write a number"),
        ("support", "marble", "Choose one of the list."),
        ("ground_kind", "chewing_gum", "Choose one of the list."),
        ("ground_surface", "", "Choose one of the list."),
        ("ground_on", "yesterday", "Write a date"),
        ("ground_on", "2027-06-01", "cannot have been laid"),
        ("ground_pigment", "PW1", "Only an oil ground"),
        ("due_on", "2026-02-30", "Write a date"),
        ("due_on", "0026-02-03", "between 1500 and 2200"),
        ("place_uid", "nowhere", "Choose one of the list."),
        ("notes", "y" * 8001, "Shorten this to 8000 characters."),
        ("colour", "red", "not known here"),
    ],
)
def test_what_cannot_be_is_said_at_its_field_and_all_that_was_typed_stays(
    easel: Easel, name: str, typed: str, told: str
):
    form = form_to(easel.client.get("/panels/new"), "/panels/new")
    sent = form.filled(title="Keep me", width_cm="41,25", height_cm="50", due_for="Show", notes="A\nB") | {name: typed}
    answer = easel.client.post("/panels/new", data=sent)
    assert answer.status_code == 422
    assert told in answer.text
    again = form_to(answer, "/panels/new")
    kept = {key: value for key, value in sent.items() if key not in {name, "colour"}}
    assert kept.items() <= again.values.items()
    if "cannot be shown" not in told and name in again.values and typed in again.options.get(name, [typed]):
        assert again.values[name] == typed
    if name != "colour":
        assert f'id="e-{name}"' in answer.text
    assert "Keep me" not in easel.client.get("/panels").text


def test_too_much_text_is_refused_plainly(easel: Easel):
    answer = easel.client.post("/panels/new", data={"title": "x" * 10_000_000})
    assert answer.status_code == 413
    assert "too much at once" in answer.text


def test_a_form_sent_twice_adds_one_panel(easel: Easel):
    sent = form_to(easel.client.get("/panels/new"), "/panels/new").filled(title="Once", width_cm="30", height_cm="30")
    first, second = (easel.client.post("/panels/new", data=sent) for _ in range(2))
    assert first.status_code == second.status_code == 303
    assert first.headers["location"] == second.headers["location"]
    assert easel.client.get("/panels").text.count(">Once</a>") == 1


def test_two_tabs_lose_nothing(easel: Easel):
    address = easel.panel(title="Two pears", notes="old")
    action = f"{address}/edit"
    mine, theirs = (form_to(easel.client.get(action), action) for _ in range(2))
    assert easel.client.post(action, data=theirs.filled(title="Three pears")).status_code == 303
    answer = easel.client.post(action, data=mine.filled(title="Four pears", notes="mine"))
    assert answer.status_code == 409
    again = form_to(answer, action)
    assert again.values["title"] == "Four pears" and again.values["notes"] == "mine"
    assert "Three pears" in answer.text and "Stored now" in answer.text
    assert easel.client.post(action, data=again.values).status_code == 303
    assert "Four pears" in easel.client.get(address).text


def test_a_place_that_was_chosen_elsewhere_is_told_by_its_name(easel: Easel):
    address = easel.panel(support="plywood")
    action = f"{address}/edit"
    mine, theirs = (form_to(easel.client.get(action), action) for _ in range(2))
    easel.client.post(action, data=theirs.filled(support="stretched_linen"))
    answer = easel.client.post(action, data=mine.filled(title="Other"))
    assert "Stretched linen</strong>" in answer.text


def test_archive_and_back(easel: Easel):
    address = easel.panel(title="Two pears")
    assert easel.client.post(f"{address}/archive", data={}).status_code == 303
    wall = easel.client.get("/panels").text
    assert ">Two pears</a>" not in wall and "1 archived panel" in wall
    assert ">Two pears</a>" in easel.client.get("/panels?state=archived").text
    page = easel.client.get(address)
    assert page.status_code == 200 and "Bring it back" in page.text
    assert (
        easel.client.post(
            f"{address}/edit", data=form_to(easel.client.get(f"{address}/edit"), f"{address}/edit").values
        ).status_code
        == 409
    )
    assert easel.client.post(f"{address}/restore", data={}).status_code == 303
    assert ">Two pears</a>" in easel.client.get("/panels").text


def test_the_list_is_searched_and_filtered(easel: Easel):
    easel.panel(title="Red door")
    bare = easel.panel(title="Grey heron")
    easel.layer(bare)
    found = easel.client.get("/panels", params={"q": "DOOR"}).text
    assert ">Red door</a>" in found and ">Grey heron</a>" not in found
    planned = easel.client.get("/panels", params={"state": "unplanned"}).text
    assert ">Red door</a>" in planned and ">Grey heron</a>" not in planned
    assert easel.client.get("/panels", params={"state": "no-such-state", "q": "x" * 5000}).status_code == 200


def test_the_page_shows_the_stack_and_what_may_go_on(easel: Easel):
    address = easel.panel()
    easel.painted(address, "2026-11-23T10:00", kind="underpainting")
    easel.layer(address, kind="glaze")
    text = easel.client.get(address).text
    assert "Cross-section of Two pears" in text
    assert re.search(r"Next: glaze", text)
    assert "Rule R03" in text and "Basis:" in text and "Source:" in text
    for words in ("Touch-dry", "dry-to-touch", "Firm", "dry-through", "set-to-touch", "dry-to-recoat"):
        assert words in text
    assert "Oily rags" in text


def test_the_section_has_a_second_scale(easel: Easel):
    address = easel.panel()
    easel.painted(address, "2026-11-01T10:00", kind="imprimatura", wet_thickness_um="10")
    easel.painted(address, "2026-11-10T10:00", kind="impasto", wet_thickness_um="800")
    assert "scale=log" in easel.client.get(address).text
    assert "logarithmic scale" in easel.client.get(f"{address}?scale=log").text


@pytest.mark.parametrize("path", ["/panels/{}", "/panels/{}/edit", "/panels/{}/layers/new"])
def test_no_such_panel(easel: Easel, path: str):
    assert easel.client.get(path.format(NOBODY)).status_code == 404
    assert easel.client.get(path.format("x" * 300)).status_code == 404


@pytest.mark.parametrize("path", ["edit", "archive", "restore", "layers/new"])
def test_nothing_can_be_done_to_no_such_panel(easel: Easel, path: str):
    assert easel.client.post(f"/panels/{NOBODY}/{path}", data={"title": "x"}).status_code == 404


def test_wrong_methods(easel: Easel):
    address = easel.panel()
    for path in (f"{address}/archive", f"{address}/restore"):
        assert easel.client.get(path).status_code == 405
    for path in ("/panels", address):
        assert easel.client.post(path, data={}).status_code == 405
    assert easel.client.delete(address).status_code == 405


def test_lightly_into_a_tacky_film(easel: Easel):
    """A thin, well thinned white with a touch of black on gesso-primed hardboard, three days on: not yet touch-dry, but
    it takes light work with a brush wiped free of thinner (common practice, no source)."""
    mix = easel.grey()
    address = easel.panel(support="hardboard", ground_kind="acrylic", _ground_age="quarter")
    first = {"mixes-0-mix_uid": mix, "wet_thickness_um": "40", "solvent_pct": "50"}
    easel.painted(address, "2026-11-22T09:00", **first)
    easel.layer(address, kind="second painting", **{"mixes-0-mix_uid": mix, "wet_thickness_um": "40"})
    text = easel.client.get(address).text
    assert "Test first" in text and "Most likely tacky" in text
    assert "Rule R03" in text
    lightly = text[text.index("May I work on it lightly?") :]
    assert "Lightly, yes" in lightly[:600]
    assert "Rule R05" in lightly and "light pressure" in lightly and "wiped" in lightly


def test_a_panel_is_finished_with_one_tap_and_comes_back_by_undo(easel: Easel):
    panel = easel.panel(_ground_age="year")
    assert f'action="{panel}/finish"' not in easel.client.get(panel).text  # nothing is on it yet
    easel.painted(panel, "2026-11-02T10:00")
    page = easel.client.get(panel)
    assert easel.client.post(f"{panel}/finish", data=form_to(page, f"{panel}/finish").values).status_code == 303
    done = easel.client.get(panel)
    assert "Finished" in done.text
    assert f'action="{panel}/finish"' not in done.text
    assert form_to(easel.client.get(f"{panel}/edit"), f"{panel}/edit").values["finished_on"] == "2026-11-02"
    undo = next(form for form in forms_of(done) if form.action.endswith("/undo"))
    assert easel.client.post(undo.action, data=undo.values).status_code == 303
    assert f'action="{panel}/finish"' in easel.client.get(panel).text


def test_bare_ground_cannot_be_finished(easel: Easel):
    answer = easel.client.post(f"{easel.panel()}/finish", data={})
    assert answer.status_code == 409
    assert "Nothing is painted on this panel yet" in answer.text
