"""The pages of the shelf over HTTP: forms that keep what was typed, and a way back from everything."""

from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from server.services import mixes, paints
from server.services.paints import PaintCreate
from server.store.db import Database
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.pages_of_records import NOBODY, Form, form_to, forms_of

TUBE = {"label": "Studio white", "pigments-0-pigment": "titanium white", "tube_ml": "37", "left_ml": "12,5"}
MEDIUM = {"label": "Lean", "parts-0-material": "oil:linseed", "parts-0-parts": "1"}
THINNER = {"label": "Can", "solvent": "mineral_spirits"}
FORMS = {"paints": TUBE, "mediums": MEDIUM, "thinners": THINNER}
KINDS = sorted(FORMS)


def new_form(client: TestClient, kind: str) -> Form:
    return form_to(client.get(f"/shelf/{kind}/new"), f"/shelf/{kind}/new")


def add(client: TestClient, kind: str, **values: str) -> str:
    """The address of a new thing's form."""
    answer = client.post(f"/shelf/{kind}/new", data=new_form(client, kind).filled(**(FORMS[kind] | values)))
    assert answer.status_code == 303, answer.text
    return f"/shelf/{kind}/{answer.headers['location'].rpartition('#')[2]}/edit"


def test_an_empty_shelf_offers_a_starter_in_one_tap(client: TestClient):
    page = client.get("/shelf")
    assert "Nothing on the shelf yet" in page.text
    sent = form_to(page, "/shelf/starter").values
    for _ in range(2):
        assert client.post("/shelf/starter", data=sent).status_code == 303
    shelf = client.get("/shelf").text
    assert "Titanium white" in shelf
    assert "PBr7 raw umber in linseed oil" in shelf
    assert "Put up the starter shelf" not in shelf.partition("<main")[2]
    assert shelf.count('/edit">Titanium white</a>') == 1


def test_a_tube_is_added_and_shown_with_what_is_left(client: TestClient):
    add(client, "paints", label="Lead <b>", **{"pigments-0-pigment": "PW1", "left_ml": "3"})
    shelf = client.get("/shelf").text
    assert "Lead &lt;b&gt;" in shelf
    assert "Nearly empty" in shelf
    assert "37 ml left".replace(" ml", "\u00a0ml") in shelf
    assert 'href="/cautions#lead"' in shelf
    assert "data sheet" in shelf


def test_a_form_shows_the_pigment_as_it_is_written_on_a_tube(client: TestClient):
    address = add(client, "paints", **{"pigments-0-pigment": "pbr7/raw umber"})
    values = form_to(client.get(address), address).values
    assert values["pigments-0-pigment"] == "PBr7 raw umber"
    assert values["pigments-0-share_pct"] == "100"
    assert (values["tube_ml"], values["left_ml"]) == ("37", "12.5")


@pytest.mark.parametrize(
    ("kind", "name", "typed", "told"),
    [
        ("paints", "label", "", "Fill this in."),
        ("paints", "label", "x" * 121, "Shorten this to 120 characters."),
        ("paints", "label", "bell\x07", "cannot be shown"),
        ("paints", "oil", "butter", "Choose one of the oils in the list."),
        ("paints", "pigments-0-pigment", "PBr7", "PBr7 raw umber, PBr7 burnt umber"),
        ("paints", "pigments-0-pigment", "PW99", "PW99 is not in the table"),
        ("paints", "pigments-0-pigment", "mud", "Write its Colour Index name"),
        ("paints", "pigments-0-share_pct", "0", "more than 0"),
        ("paints", "pigments-0-share_pct", "-10", "more than 0"),
        ("paints", "pigments-0-share_pct", "many", "Write a number"),
        ("paints", "tube_ml", "0", "more than 0"),
        ("paints", "tube_ml", "1,000", "without a mark for thousands"),
        ("paints", "left_ml", "38", "more left than the tube holds"),
        ("paints", "left_ml", "-1", "at least 0"),
        ("paints", "density_g_cm3", "500", "at most 15"),
        ("paints", "notes", "y" * 4001, "Shorten this to 4000 characters."),
        ("paints", "colour", "red", "not known here"),
        ("mediums", "label", "", "Fill this in."),
        ("mediums", "parts-0-material", "oil:butter", "Choose one of the list."),
        ("mediums", "parts-0-parts", "0", "more than 0"),
        ("mediums", "parts-0-parts", "1e9", "Write a number"),
        ("mediums", "parts-0-parts", "", "Fill this in."),
        ("thinners", "label", "a\nb", "cannot be shown"),
        ("thinners", "solvent", "", "Fill this in."),
        ("thinners", "solvent", "water", "Choose one of the list."),
    ],
)
def test_what_cannot_be_is_said_at_its_field_and_all_that_was_typed_stays(
    client: TestClient, kind: str, name: str, typed: str, told: str
):
    sent = new_form(client, kind).filled(**FORMS[kind]) | {name: typed}
    answer = client.post(f"/shelf/{kind}/new", data=sent)
    assert answer.status_code == 422
    assert told in answer.text
    again = form_to(answer, f"/shelf/{kind}/new").values
    kept = {key: value for key, value in sent.items() if key not in {name, "colour"}}
    assert kept.items() <= again.items()
    if name != "colour":
        assert f'id="e-{name}"' in answer.text
        assert f'href="#f-{name}"' in answer.text
    assert f"{FORMS[kind]['label']}</a>" not in client.get("/shelf").text


def test_shares_that_do_not_sum_are_said_at_the_pigments(client: TestClient):
    rows = {"pigments-0-share_pct": "60", "pigments-1-pigment": "PW4", "pigments-1-share_pct": "60"}
    answer = client.post("/shelf/paints/new", data=new_form(client, "paints").filled(**TUBE) | rows)
    assert answer.status_code == 422
    assert 'id="e-pigments"' in answer.text
    assert "add up to 120 %" in answer.text


def test_an_empty_form_says_everything_at_once(client: TestClient):
    answer = client.post("/shelf/paints/new", data={})
    assert answer.status_code == 422
    assert answer.text.count('class="fault"') >= 2


def test_rows_come_and_go_without_script(client: TestClient):
    sent = new_form(client, "paints").filled(**TUBE)
    more = client.post("/shelf/paints/new", data=sent | {"_add": "pigments"})
    assert more.status_code == 200
    values = form_to(more, "/shelf/paints/new").values
    assert values["pigments-1-pigment"] == ""
    assert values["label"] == "Studio white"
    both = values | {"pigments-1-pigment": "PW4", "pigments-1-share_pct": "20"}
    fewer = client.post("/shelf/paints/new", data=both | {"_remove": "pigments-0"})
    left = form_to(fewer, "/shelf/paints/new").values
    assert left["pigments-1-pigment"] == "PW4"
    assert "pigments-0-pigment" not in left


@pytest.mark.parametrize("kind", KINDS)
def test_a_form_sent_twice_adds_one(client: TestClient, kind: str):
    sent = new_form(client, kind).filled(**(FORMS[kind] | {"label": "Once"}))
    first, second = (client.post(f"/shelf/{kind}/new", data=sent) for _ in range(2))
    assert (first.status_code, second.status_code) == (303, 303)
    assert first.headers["location"] == second.headers["location"]
    assert client.get("/shelf").text.count(">Once</a>") == 1


@pytest.mark.parametrize("kind", KINDS)
def test_two_tabs_lose_nothing(client: TestClient, kind: str):
    address = add(client, kind)
    mine, theirs = (form_to(client.get(address), address) for _ in range(2))
    assert client.post(address, data=theirs.filled(label="Theirs")).status_code == 303
    answer = client.post(address, data=mine.filled(label="Mine", notes="typed for long"))
    assert answer.status_code == 409
    again = form_to(answer, address)
    assert (again.values["label"], again.values["notes"]) == ("Mine", "typed for long")
    assert "Stored now: <strong>Theirs</strong>" in answer.text
    assert client.post(address, data=again.values).status_code == 303
    assert ">Mine</a>" in client.get("/shelf").text


@pytest.mark.parametrize("kind", KINDS)
def test_archive_and_back(client: TestClient, kind: str):
    address = add(client, kind, label="Old friend")
    away, back = address.replace("/edit", "/archive"), address.replace("/edit", "/restore")
    assert client.post(away, data=form_to(client.get(address), away).values).status_code == 303
    assert ">Old friend</a>" not in client.get("/shelf").text
    archived = client.get("/shelf?archived=true")
    assert ">Old friend</a>" in archived.text
    form = client.get(address)
    assert "is archived" in form.text
    assert client.post(address, data=form_to(form, address).values | {"label": "x"}).status_code == 409
    assert client.post(back, data=form_to(archived, back).values).status_code == 303
    assert ">Old friend</a>" in client.get("/shelf").text


def test_what_was_done_is_told_with_its_undo(client: TestClient):
    address = add(client, "paints", label="Mistake")
    page = client.get("/shelf")
    assert "Added the paint “Mistake”" in page.text
    undo = next(form for form in forms_of(page) if form.action.endswith("/undo"))
    assert client.post(undo.action, data=undo.values).status_code == 303
    assert ">Mistake</a>" not in client.get("/shelf").text
    assert client.get(address).status_code == 200


def test_the_table_stands_beside_a_painters_own_figures(client: TestClient):
    address = add(client, "paints", paint_oil_g_per_100g="30")
    page = client.get(address)
    assert '<details class="field-wide" open>' in page.text
    assert "17" in page.text.partition("The table's figures")[2]
    assert "calculated with your own figures" in client.get("/shelf").text


@pytest.mark.parametrize("path", ["/shelf/paints/{}/edit", "/shelf/mediums/{}/edit", "/shelf/thinners/{}/edit"])
def test_there_is_no_such_thing(client: TestClient, path: str):
    assert client.get(path.format(NOBODY)).status_code == 404
    assert client.post(path.format(NOBODY), data={}).status_code == 404
    for act in ("archive", "restore"):
        assert client.post(path.format(NOBODY).replace("edit", act), data={}).status_code == 404


def test_there_is_no_such_kind(client: TestClient):
    assert client.get("/shelf/brushes/new").status_code == 422


def test_too_much_text_is_refused_plainly(client: TestClient):
    answer = client.post("/shelf/paints/new", data={"label": "x" * 10_000_000})
    assert answer.status_code == 413


@pytest.fixture
def bench(db: Database) -> Bench:
    """Ask for it before the client."""
    return make_bench(db)


def test_a_tube_is_told_by_what_was_painted_and_asked_for_its_own_amount(bench: Bench, client: TestClient) -> None:
    titanium = {"label": "Titanium", "pigments": [{"pigment": "PW6"}], "tube_ml": 40, "left_ml": 30}
    with bench.unit(now=NOW - timedelta(days=9)) as work:
        tube = paints.create(work.session, bench.actor, PaintCreate.model_validate(titanium))
        made = mixes.of_tube(work.session, bench.actor, tube.uid)
    thick = {"thickness_preset": None, "wet_thickness_um": 60, "mixes": [{"mix_uid": made.uid}]}
    bench.painted(bench.panel(), 2, **thick)
    bench.layer(bench.panel(title="Quince"), **thick, planned_on=NOW.date() + timedelta(days=2))
    page = " ".join(client.get("/shelf").text.split())
    assert "About 14 ml of 40" in page.replace("\xa0", " ")  # drying.md: 12 ml net, 1.3 with loss
    assert "Running low against what is planned" in page and "“Quince”: underpainting" in page
    edit = f"/shelf/paints/{tube.uid}/edit"
    form = client.get(edit)
    assert "You said" in form.text and form_to(form, edit).values["left_ml"] == "14"
    client.post(edit, data=form_to(form, edit).filled(label="Titanium, new label"))
    assert "About 14" in client.get("/shelf").text
    client.post(edit, data=form_to(client.get(edit), edit).filled(left_ml="33"))
    page = client.get("/shelf").text
    assert "33\xa0ml of 40" in page and "Running low" not in page
    assert "Tubes you looked at" in client.get("/sittings/end").text
    seen = {"rags": "spread", "tubes-0-paint_uid": tube.uid}
    refused = client.post("/sittings/end", data=seen | {"tubes-0-left_ml": "41"})
    assert refused.status_code == 422 and "more left than the tube holds" in refused.text
    client.post("/sittings/end", data=seen | {"tubes-0-left_ml": "3"})
    assert "Nearly empty" in client.get("/shelf").text
