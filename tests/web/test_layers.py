"""The pages of layers over HTTP."""

from datetime import datetime, timezone

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.services import layers
from server.store.db import Database
from tests.web.pages_of_records import NOBODY, Easel, form_to, make_easel

GAP = datetime(2026, 3, 29, 12, 0, tzinfo=timezone.utc)  # the day on which Europe's clocks went forward


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


@pytest.fixture
def panel(easel: Easel) -> str:
    return easel.panel(_ground_age="year")


def test_touches_on_a_tenth_leave_the_rest_as_it_is(easel: Easel, panel: str):
    easel.layer(panel, kind="detail", thickness_preset="normal_brush", **{"mixes-0-area_pct": "10"})
    told = " ".join(easel.client.get(panel).text.split())
    assert "10 % of the area" in told
    assert "90 % of the area stays as it is." in told


def test_shares_of_more_than_the_whole_are_refused(easel: Easel, panel: str):
    action = f"{panel}/layers/new"
    form = form_to(easel.client.get(action), action)
    over = {"mixes-0-mix_uid": easel.white, "mixes-0-area_pct": "60", "mixes-1-mix_uid": easel.black}
    answer = easel.client.post(action, data=form.filled(**over, **{"mixes-1-area_pct": "41"}))
    assert answer.status_code == 422
    assert "add up to 101 %. Together they make 100 % at the most" in answer.text
    assert form_to(answer, action).values["mixes-1-area_pct"] == "41"


def values_of(easel: Easel, layer: str) -> dict[str, str]:
    return form_to(easel.client.get(f"{layer}/edit"), f"{layer}/edit").values


def test_a_layer_is_planned_with_its_mixes(easel: Easel, panel: str):
    layer = easel.layer(
        panel,
        kind="glaze",
        thickness_preset="glaze_wiped",
        **{
            "mixes-0-area_pct": "70",
            "mixes-0-region": "sky",
            "mixes-1-mix_uid": easel.black,
            "mixes-1-area_pct": "30",
            "mixes-1-region": "trees",
        },
    )
    text = easel.client.get(panel).text
    assert "1. glaze" in text and "70\N{NO-BREAK SPACE}% of the area" in text and "in trees" in text
    values = values_of(easel, layer)
    assert (values["kind"], values["thickness_preset"], values["mixes-1-region"]) == ("glaze", "glaze_wiped", "trees")


def test_the_painters_own_word_for_a_layer(easel: Easel, panel: str):
    layer = easel.layer(panel, _own_kind="velatura")
    assert "1. velatura" in easel.client.get(panel).text
    values = values_of(easel, layer)
    assert values["_own_kind"] == "velatura"
    easel.send(f"{layer}/edit", notes="kept")
    assert "1. velatura" in easel.client.get(panel).text


def test_exact_micrometres_count_before_the_choice(easel: Easel, panel: str):
    layer = easel.layer(panel, thickness_preset="impasto", wet_thickness_um="37,5")
    values = values_of(easel, layer)
    assert values["wet_thickness_um"] == "37.5" and "thickness_preset" not in values


def test_a_choice_made_later_counts_before_the_figure_left_standing(easel: Easel, panel: str):
    layer = easel.layer(panel, wet_thickness_um="37.5")
    easel.send(f"{layer}/edit", thickness_preset="loaded_brush")
    values = values_of(easel, layer)
    assert values["thickness_preset"] == "loaded_brush" and values["wet_thickness_um"] == ""


def test_rows_of_mixes_come_and_go_without_script(easel: Easel, panel: str):
    action = f"{panel}/layers/new"
    form = form_to(easel.client.get(action), action)
    sent = form.filled(kind="glaze", notes="kept", **{"mixes-0-mix_uid": easel.white})
    more = easel.client.post(action, data=sent | {"_add": "mixes"})
    assert more.status_code == 200
    again = form_to(more, action)
    assert "mixes-1-mix_uid" in again.values and again.values["mixes-0-mix_uid"] == easel.white
    assert again.values["notes"] == "kept" and again.values["kind"] == "glaze"
    fewer = easel.client.post(action, data=again.filled(_remove="mixes-0"))
    names = form_to(fewer, action).values
    assert "mixes-0-mix_uid" not in names and "mixes-1-mix_uid" in names
    assert "Bare ground" in easel.client.get(panel).text


@pytest.mark.parametrize(
    ("changed", "at", "told"),
    [
        ({"kind": "", "_own_kind": ""}, "kind", "Fill this in."),
        ({"_own_kind": "x" * 33}, "kind", "Shorten this to 32 characters."),
        ({"_own_kind": "bell\x07"}, "kind", "cannot be shown"),
        ({"wet_thickness_um": "5000000"}, "wet_thickness_um", "at most 20000"),
        ({"wet_thickness_um": "-5"}, "wet_thickness_um", "at least 1"),
        ({"wet_thickness_um": "0"}, "wet_thickness_um", "at least 1"),
        ({"wet_thickness_um": "thin"}, "wet_thickness_um", "Write a number"),
        ({"thickness_preset": "gigantic"}, "thickness_preset", "Choose one of the list."),
        ({"mixes-0-mix_uid": "no-such-mix"}, "mixes-0-mix_uid", "Choose one of the list."),
        ({"mixes-0-area_pct": "0"}, "mixes-0-area_pct", "more than 0"),
        ({"mixes-0-area_pct": "140"}, "mixes-0-area_pct", "at most 100"),
        ({"solvent_pct": "96"}, "solvent_pct", "at most 95"),
        ({"solvent_pct": "-1"}, "solvent_pct", "at least 0"),
        ({"thinner_uid": "no-such-thinner"}, "thinner_uid", "Choose one of the list."),
        ({"sitting_min": "2.5"}, "sitting_min", "Write a whole number"),
        ({"sitting_min": "100000"}, "sitting_min", "at most 1440"),
        ({"planned_on": "soon"}, "planned_on", "Write a date"),
        ({"texture": "bumpy"}, "texture", "Choose one of the list."),
        ({"material": "gouache"}, "material", "Choose one of the list."),
        ({"notes": "y" * 4001}, "notes", "Shorten this to 4000 characters."),
    ],
)
def test_what_cannot_be_is_said_at_its_field_and_all_that_was_typed_stays(
    easel: Easel, panel: str, changed: dict[str, str], at: str, told: str
):
    action = f"{panel}/layers/new"
    form = form_to(easel.client.get(action), action)
    sent = form.filled(planned_on="2026-12-01", notes="Keep me", **{"mixes-0-mix_uid": easel.white}) | changed
    answer = easel.client.post(action, data=sent)
    assert answer.status_code == 422
    assert told in answer.text
    assert f'id="e-{at}"' in answer.text
    again = form_to(answer, action).values
    kept = {name: value for name, value in sent.items() if name not in {*changed, "kind"}}
    assert kept.items() <= again.items()
    assert "Bare ground" in easel.client.get(panel).text


def test_a_planned_layer_is_painted_in_two_taps(easel: Easel, panel: str):
    layer = easel.layer(panel, sitting_min="90")
    assert f'href="{layer}/paint"' in easel.client.get(panel).text
    action = f"{layer}/paint"
    form = form_to(easel.client.get(action), action)
    assert form.values["painted_at"] == "2026-11-25T09:00" and form.values["sitting_min"] == "90"
    assert easel.client.post(action, data=form.values).status_code == 303
    text = easel.client.get(panel).text
    assert "painted today at 09:00" in text and "Painted “underpainting” on “Two pears”" in text


def test_rags_and_solvent_are_cautioned_where_a_layer_is_logged_as_painted(easel: Easel, panel: str):
    text = easel.client.get(f"{easel.layer(panel)}/paint").text.partition("Before you leave the easel")[2]
    assert "Oily rags" in text and "Solvent" in text


def test_the_stop_is_said_before_it_is_logged_as_painted(easel: Easel, panel: str):
    easel.painted(panel, "2026-11-24T10:00")
    layer = easel.layer(panel, kind="second painting")
    text = easel.client.get(f"{layer}/paint").text
    assert "Stop" in text and "Rule R03" in text


def test_painting_otherwise_than_planned(easel: Easel, panel: str):
    layer = easel.layer(panel)
    answer = easel.send(
        f"{layer}/paint",
        painted_at="2026-11-24T18:30",
        wet_thickness_um="80",
        **{"mixes-0-area_pct": "60", "mixes-1-mix_uid": easel.black, "mixes-1-area_pct": "40"},
    )
    assert answer.status_code == 303
    values = values_of(easel, layer)
    assert values["painted_at"] == "2026-11-24T18:30" and values["wet_thickness_um"] == "80"
    assert values["mixes-1-mix_uid"] == easel.black


@pytest.mark.parametrize(
    ("at", "told"),
    [
        ("2026-11-25T09:30", "still to come"),
        ("2031-01-01T00:00", "still to come"),
        ("2026-11-20T09:59", "This one cannot be older"),
        ("2025-01-01T09:59", "cannot be older"),
        ("noon", "Write a day and a time"),
        ("2026-02-30T10:00", "Write a day and a time"),
        ("", "Say when it was painted"),
    ],
)
def test_times_that_cannot_be(easel: Easel, panel: str, at: str, told: str):
    easel.painted(panel, "2026-11-20T10:00", kind="imprimatura")
    action = f"{panel}/layers/new?painted=1"
    form = form_to(easel.client.get(action), action)
    sent = form.filled(painted_at=at, notes="Keep me", **{"mixes-0-mix_uid": easel.white})
    answer = easel.client.post(action, data=sent)
    assert answer.status_code == 422 and told in answer.text and 'id="e-painted_at"' in answer.text
    again = form_to(answer, action).values
    assert again["painted_at"] == at and again["notes"] == "Keep me" and again["mixes-0-mix_uid"] == easel.white


def test_a_planned_layer_cannot_be_painted_before_the_one_below(easel: Easel, panel: str):
    easel.painted(panel, "2026-11-20T10:00", kind="imprimatura")
    layer = easel.layer(panel)
    answer = easel.send(f"{layer}/paint", painted_at="2026-11-19T10:00")
    assert answer.status_code == 422 and "This one cannot be older" in answer.text
    assert form_to(answer, f"{layer}/paint").values["painted_at"] == "2026-11-19T10:00"


def test_times_are_the_studios_own(client: TestClient, app: FastAPI, db: Database):
    easel = make_easel(client, app, db, "Pacific/Auckland")  # thirteen hours ahead of UTC in November
    panel = easel.panel(_ground_age="year")
    form = form_to(easel.client.get(f"{panel}/layers/new?painted=1"), f"{panel}/layers/new?painted=1")
    assert form.values["painted_at"] == "2026-11-25T22:00"
    assert "Pacific/Auckland" in easel.client.get(f"{panel}/layers/new?painted=1").text
    layer = easel.painted(panel, "2026-11-25T21:45")
    assert "painted today at 21:45" in easel.client.get(panel).text
    assert values_of(easel, layer)["painted_at"] == "2026-11-25T21:45"


def test_a_time_that_the_clocks_skipped(client: TestClient, app: FastAPI, db: Database):
    app.state.clock = lambda: GAP
    easel = make_easel(client, app, db, "Europe/Lisbon")  # 01:00 became 02:00
    panel = easel.panel(_ground_age="year")
    action = f"{panel}/layers/new?painted=1"
    form = form_to(easel.client.get(action), action)
    sent = form.filled(painted_at="2026-03-29T01:30", **{"mixes-0-mix_uid": easel.white})
    answer = easel.client.post(action, data=sent)
    assert answer.status_code == 422
    assert "The clocks skipped this time" in answer.text
    assert form_to(answer, action).values["painted_at"] == "2026-03-29T01:30"


def test_a_time_that_came_twice_stays_as_it_is(client: TestClient, app: FastAPI, db: Database):
    second = datetime(2026, 10, 25, 1, 30, tzinfo=timezone.utc)  # 01:30 in Lisbon for the second time
    app.state.clock = lambda: second
    easel = make_easel(client, app, db, "Europe/Lisbon")
    panel = easel.panel(_ground_age="year")
    layer = easel.layer(panel)
    easel.client.post(f"{layer}/paint", data={"version": "1"})
    app.state.clock = lambda: datetime(2026, 11, 1, 9, 0, tzinfo=timezone.utc)
    assert easel.send(f"{layer}/edit", notes="a word").status_code == 303
    with db.read() as session:
        stored = layers.get(session, easel.actor, layer.removeprefix("/layers/"))
        assert stored.painted_at == second


def test_a_layer_painted_earlier_goes_below_the_planned_ones(easel: Easel, panel: str):
    easel.layer(panel, kind="glaze")
    easel.painted(panel, "2026-11-01T10:00", kind="imprimatura")
    text = easel.client.get(panel).text
    assert "2. glaze" in text and "1. imprimatura" in text


def test_an_oil_layer_says_which_mix_went_on(easel: Easel, panel: str):
    layer = easel.layer(panel, **{"mixes-0-mix_uid": ""})
    answer = easel.send(f"{layer}/paint")
    assert answer.status_code == 422 and "Say which mix went on." in answer.text


def test_planned_layers_change_places(easel: Easel, panel: str):
    first, second = easel.layer(panel, kind="glaze"), easel.layer(panel, kind="scumble")
    assert easel.client.post(f"{second}/move", data={"direction": "down"}).status_code == 303
    text = easel.client.get(panel).text
    assert "1. scumble" in text and "2. glaze" in text
    assert easel.client.post(f"{first}/move", data={"direction": "up"}).status_code == 409
    assert "topmost layer" in easel.client.post(f"{first}/move", data={"direction": "up"}).text


def test_a_painted_layer_is_corrected_and_put_back(easel: Easel, panel: str):
    layer = easel.painted(panel, "2026-11-20T10:00")
    assert easel.send(f"{layer}/edit", painted_at="2026-11-21T10:00", surface="gloss").status_code == 303
    assert values_of(easel, layer)["surface"] == "gloss"
    assert "Corrected “underpainting”" in easel.client.get(f"{layer}/edit").text
    assert easel.client.post(f"{layer}/unpaint", data={}).status_code == 303
    assert "Planned" in easel.client.get(panel).text and "painted_at" not in values_of(easel, layer)


def test_what_lies_below_stays_painted(easel: Easel, panel: str):
    lower = easel.painted(panel, "2026-11-01T10:00")
    easel.painted(panel, "2026-11-20T10:00", kind="glaze")
    answer = easel.client.post(f"{lower}/unpaint", data={})
    assert answer.status_code == 409 and "painted on top of it" in answer.text and f'href="{panel}"' in answer.text


def test_archive_and_back(easel: Easel, panel: str):
    layer = easel.layer(panel, kind="glaze")
    assert easel.client.post(f"{layer}/archive", data={}).status_code == 303
    text = easel.client.get(panel).text
    assert "1 archived layer" in text and "1. glaze" not in text
    assert easel.client.post(f"{layer}/restore", data={}).status_code == 303
    assert "1. glaze" in easel.client.get(panel).text


def test_two_tabs_lose_nothing(easel: Easel, panel: str):
    layer = easel.layer(panel, notes="old")
    action = f"{layer}/edit"
    mine, theirs = (form_to(easel.client.get(action), action) for _ in range(2))
    easel.client.post(action, data=theirs.filled(planned_on="2026-12-24"))
    answer = easel.client.post(action, data=mine.filled(notes="mine", planned_on="2026-12-31"))
    assert answer.status_code == 409
    again = form_to(answer, action)
    assert again.values["notes"] == "mine" and again.values["planned_on"] == "2026-12-31"
    assert "Stored now: <strong>24 December 2026</strong>" in answer.text
    assert easel.client.post(action, data=again.values).status_code == 303
    assert values_of(easel, layer)["planned_on"] == "2026-12-31"


def test_a_mix_that_was_added_elsewhere_is_shown(easel: Easel, panel: str):
    layer = easel.layer(panel)
    action = f"{layer}/edit"
    mine, theirs = (form_to(easel.client.get(action), action) for _ in range(2))
    two = {"mixes-0-area_pct": "75", "mixes-1-mix_uid": easel.black, "mixes-1-area_pct": "25"}
    assert easel.client.post(action, data=theirs.filled(**two)).status_code == 303
    answer = easel.client.post(action, data=mine.filled(notes="mine"))
    assert answer.status_code == 409
    assert "Stored now as well: <strong>Black, 25 %" in answer.text


def test_a_form_sent_twice_adds_one_layer(easel: Easel, panel: str):
    action = f"{panel}/layers/new"
    sent = form_to(easel.client.get(action), action).filled(**{"mixes-0-mix_uid": easel.white})
    first, second = (easel.client.post(action, data=sent) for _ in range(2))
    assert first.headers["location"] == second.headers["location"]
    assert "2. underpainting" not in easel.client.get(panel).text


def test_painted_sent_twice_is_painted_once(easel: Easel, panel: str):
    layer = easel.layer(panel)
    sent = form_to(easel.client.get(f"{layer}/paint"), f"{layer}/paint").values
    answers = [easel.client.post(f"{layer}/paint", data=sent) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [303, 303]


def test_painted_in_another_tab_meanwhile(easel: Easel, panel: str):
    layer = easel.layer(panel)
    mine = form_to(easel.client.get(f"{layer}/paint"), f"{layer}/paint")
    easel.send(f"{layer}/paint")
    answer = easel.client.post(f"{layer}/paint", data=mine.filled(notes="kept"))
    assert answer.status_code == 409 and "painted already" in answer.text
    assert form_to(answer, f"{layer}/paint").values["notes"] == "kept"


def test_too_much_text_is_refused_plainly(easel: Easel, panel: str):
    assert easel.client.post(f"{panel}/layers/new", data={"notes": "x" * 10_000_000}).status_code == 413


@pytest.mark.parametrize("path", ["edit", "paint", "tests"])
def test_no_such_layer(easel: Easel, path: str):
    assert easel.client.get(f"/layers/{NOBODY}/{path}").status_code == 404


@pytest.mark.parametrize("path", ["edit", "paint", "unpaint", "move", "archive", "restore", "tests"])
def test_nothing_can_be_done_to_no_such_layer(easel: Easel, path: str):
    assert easel.client.post(f"/layers/{NOBODY}/{path}", data={"version": "1"}).status_code == 404


@pytest.mark.parametrize("path", ["unpaint", "move", "archive", "restore"])
def test_wrong_methods(easel: Easel, panel: str, path: str):
    assert easel.client.get(f"{easel.layer(panel)}/{path}").status_code == 405


def test_a_mix_that_was_archived_stays_in_the_layer_that_names_it(easel: Easel, panel: str):
    layer = easel.layer(panel)
    easel.client.post(f"/mixes/{easel.white}/archive", data={})
    values = values_of(easel, layer)
    assert values["mixes-0-mix_uid"] == easel.white
    assert easel.send(f"{layer}/edit", notes="still there").status_code == 303


def test_now_in_the_hour_that_comes_twice(client: TestClient, app: FastAPI, db: Database):
    second = datetime(2026, 10, 25, 1, 30, 20, tzinfo=timezone.utc)  # 01:30 in Lisbon for the second time
    app.state.clock = lambda: second
    easel = make_easel(client, app, db, "Europe/Lisbon")
    layer = easel.layer(easel.panel(_ground_age="year"))
    assert easel.send(f"{layer}/paint").status_code == 303
    with db.read() as session:
        assert layers.get(session, easel.actor, layer.removeprefix("/layers/")).painted_at == second
