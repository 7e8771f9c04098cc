"""Stacks through the pages: kept, changed, checked before any paint is squeezed, put on a panel, taken back."""

import re
from urllib.parse import urlencode

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from tests.web.pages_of_records import NOBODY, Easel, form_to, make_easel


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    made = make_easel(client, app, db)
    assert made.client.post("/shelf/starter", data={}).status_code == 303
    return made


@pytest.fixture
def stacks(easel: Easel) -> dict[str, str]:
    """The four to begin with: addresses by name."""
    assert easel.client.post("/stacks/starter", data={}).status_code == 303
    page = easel.client.get("/stacks").text
    return {name: address for address, name in re.findall(r'href="(/stacks/[^"/?]+)">([^<]+)</a></h2>', page)}


def two_layers(easel: Easel, **more: str) -> dict[str, str]:
    rows = {
        "layers-0-kind": "underpainting",
        "layers-0-mix_uid": easel.white,
        "layers-0-wet_thickness_um": "40",
        "layers-1-kind": "glaze",
        "layers-1-wet_thickness_um": "12",
        "layers-1-advice": "wiped",
    }
    return {"label": "Mine", **rows, **more}


def words(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_four_stacks_to_begin_with_are_made_from_the_shelf_once(easel: Easel, stacks: dict[str, str]):
    assert set(stacks) == {"Direct", "Two layers", "Underpainting and glaze", "Grisaille"}
    page = easel.client.get("/stacks").text
    assert "To begin with:" not in page
    assert easel.client.post("/stacks/starter", data={}).status_code == 303
    text = easel.client.get("/stacks").text
    assert text.count('<h2 class="title">') == 4
    # Each is drawn as a section through it, and told in words to those who do not see it.
    assert text.count('aria-label="From the ground up: ') == 4
    assert re.search(r'aria-label="From the ground up: underpainting [\d.]+ µm wet, second painting', text)
    assert ">Lean grey-brown</a>" in easel.client.get("/mixes").text


def test_a_stack_of_ours_is_sound_from_the_bottom_up(easel: Easel, stacks: dict[str, str]):
    """Common practice is what ours are made of: the rules, which come from the same practice, let them through."""
    for name, address in stacks.items():
        text = words(easel.client.get(address).text)
        heads = re.findall(r'<li class="slab is-(\w+)"', text)
        assert heads, name
        assert set(heads) <= {"sound", "note", "caution"}, (name, heads, re.findall(r"Rule (R\d\d)", text))
        assert heads.count("caution") == text.count("without a caution from") <= 1
        assert "touch-dry likely" in text
        assert "<desc" in text and "When each layer can go on, lowest first." in text


def test_the_whole_stack_is_checked_over_a_panel_and_each_layer_waits_for_the_one_below(
    easel: Easel, stacks: dict[str, str]
):
    panel = easel.panel(title="Two pears")
    easel.painted(panel, "2026-11-24T10:00")
    uid = panel.rpartition("/")[2]
    text = words(easel.client.get(f"{stacks['Two layers']}?panel_uid={uid}").text)
    assert "On “<a" in text and "Below lies what is painted: underpainting." in text
    assert re.search(r"<h3>3\. second painting", text) and re.search(r"<h3>2\. underpainting", text)
    early, late = re.search(r"lowest first\. (.*?)</desc>", text)[1].split("; ")  # type: ignore[index]
    assert early.startswith("underpainting: between") and late.startswith("second painting: between")


def test_lean_over_rich_is_told_with_its_remedy_before_any_paint_is_squeezed(easel: Easel, stacks: dict[str, str]):
    text = easel.client.get("/mixes").text
    rich = re.search(r'/mixes/([^"]+)">Half-tone with a little oil<', text)
    lean = re.search(r'/mixes/([^"]+)">Lean grey-brown<', text)
    assert rich and lean
    swapped = {"mixes-0-layer": "0", "mixes-0-mix_uid": rich[1], "mixes-1-layer": "1", "mixes-1-mix_uid": lean[1]}
    page = words(easel.client.get(f"{stacks['Two layers']}?{urlencode(swapped)}").text)
    assert "Rule R01" in page
    assert re.search(r"Add [\d.]+ ml of oil \([\d.]+ g, about \d+ drops\)", page)


def test_its_layers_are_planned_on_a_panel_and_taken_back_at_once(easel: Easel, stacks: dict[str, str]):
    panel = easel.panel()
    uid = panel.rpartition("/")[2]
    sent = {"panel_uid": uid, "command_key": "stack-key-0001", "mixes-0-layer": "0", "mixes-0-mix_uid": easel.white}
    address = stacks["Underpainting and glaze"]
    first, second = (easel.client.post(f"{address}/apply", data=sent) for _ in range(2))
    assert first.status_code == second.status_code == 303
    assert first.headers["location"] == panel
    page = easel.client.get(panel).text
    assert all(kind in page for kind in ("imprimatura", "underpainting", "second painting", "glaze"))
    assert "Planned 4 layers of “Underpainting and glaze”" in page
    undo = re.search(r'action="(/history/[^"]+/undo)"', page)
    assert undo
    assert easel.client.post(undo[1], data={}).status_code == 303
    assert "imprimatura" not in re.sub(r"(?s)<details.*?</details>", "", easel.client.get(panel).text)


def test_a_finished_panel_takes_no_more_and_no_panel_none(easel: Easel, stacks: dict[str, str]):
    panel = easel.panel()
    easel.painted(panel, "2026-11-20T10:00")
    assert easel.send(f"{panel}/finish", panel).status_code == 303
    uid = panel.rpartition("/")[2]
    refused = easel.client.post(f"{stacks['Direct']}/apply", data={"panel_uid": uid})
    assert refused.status_code == 409 and "called finished" in refused.text
    page = easel.client.get(f"{stacks['Direct']}?panel_uid={uid}").text
    assert "called finished" in page and "Over a finished picture" in page, "as mixing says it"
    nowhere = easel.client.post(f"{stacks['Direct']}/apply", data={"support": "hardboard"})
    assert nowhere.status_code == 422 and 'id="e-panel_uid"' in nowhere.text


def test_a_stack_is_written_down_changed_and_put_away(easel: Easel):
    made = easel.client.post("/stacks/new", data=two_layers(easel))
    assert made.status_code == 303
    address = made.headers["location"]
    text = easel.client.get(address).text
    assert "Not all of it can be checked" in text and "names no mix" in text
    action = f"{address}/edit"
    mine, theirs = (form_to(easel.client.get(action), action) for _ in range(2))
    assert mine.values["layers-1-advice"] == "wiped"
    changed = theirs.filled(label="Theirs", **{"layers-1-mix_uid": easel.black})
    assert easel.client.post(action, data=changed).status_code == 303
    late = easel.client.post(action, data=mine.filled(label="Mine"))
    assert late.status_code == 409 and "Stored now: <strong>Theirs</strong>" in late.text
    assert "Not all" not in easel.client.get(address).text
    assert easel.client.post(f"{address}/archive", data={}).status_code == 303
    assert "Theirs" not in easel.client.get("/stacks").text.partition("Archived stacks")[0].partition("<h2")[2]
    assert "Theirs" in easel.client.get("/stacks?archived=true").text
    assert easel.client.post(f"{address}/restore", data={}).status_code == 303


@pytest.mark.parametrize(
    ("values", "name", "told"),
    [
        ({"label": ""}, "label", "Fill this in."),
        ({"layers-0-kind": ""}, "layers-0-kind", "Fill this in."),
        ({"layers-0-wet_thickness_um": "0"}, "layers-0-wet_thickness_um", "at least 1"),
        ({"layers-0-solvent_pct": "99"}, "layers-0-solvent_pct", "at most 95"),
        ({"layers-0-mix_uid": NOBODY}, "layers-0-mix_uid", "no longer there"),
        ({"layers-1-advice": "x" * 201}, "layers-1-advice", "200"),
    ],
)
def test_a_stack_that_cannot_be_keeps_what_was_typed(easel: Easel, values: dict[str, str], name: str, told: str):
    answer = easel.client.post("/stacks/new", data=two_layers(easel, notes="A\nB") | values)
    assert answer.status_code == 422
    assert told in answer.text and f'id="e-{name}"' in answer.text
    assert form_to(answer, "/stacks/new").values["notes"] == "A\nB"


def test_a_question_that_makes_no_sense_is_answered_at_its_field(easel: Easel, stacks: dict[str, str]):
    for query, name in (
        ({"panel_uid": "nowhere"}, "panel_uid"),
        ({"place_uid": "nowhere"}, "place_uid"),
        ({"ground_kind": "sand"}, "ground_kind"),
        ({"mixes-0-layer": "0", "mixes-0-mix_uid": "nowhere"}, "mixes-0-mix_uid"),
    ):
        answer = easel.client.get(f"{stacks['Direct']}?{urlencode(query)}")
        assert answer.status_code == 422, query
        assert f'id="e-{name}"' in answer.text, query


@pytest.mark.parametrize("path", ["", "/edit", "/archive", "/restore", "/apply"])
def test_there_is_no_such_stack(client: TestClient, path: str):
    read = path in {"", "/edit"}
    answer = client.get(f"/stacks/{NOBODY}{path}") if read else client.post(f"/stacks/{NOBODY}{path}")
    assert answer.status_code in {404, 422} if path == "/apply" else answer.status_code == 404
