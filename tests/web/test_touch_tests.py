"""The pages of touch tests over HTTP."""

import re
from datetime import datetime, timezone

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from tests.web.pages_of_records import NOBODY, Easel, form_to, forms_of, make_easel


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


@pytest.fixture
def panel(easel: Easel) -> str:
    return easel.panel(_ground_age="year")


@pytest.fixture
def layer(easel: Easel, panel: str) -> str:
    return easel.painted(panel, "2026-11-23T10:00")


def test_one_press_is_one_test(easel: Easel, panel: str, layer: str):
    form = form_to(easel.client.get(panel), f"{layer}/tests")
    answer = easel.client.post(f"{layer}/tests", data=form.filled(stage="tacky"))
    assert answer.status_code == 303 and answer.headers["location"] == panel
    text = easel.client.get(panel).text
    assert "Touch tests (1)" in text and "“underpainting” on “Two pears” pressed: tacky" in text


def test_a_press_leads_back_to_where_it_was_made(easel: Easel, layer: str):
    answer = easel.client.post(f"{layer}/tests", data={"stage": "wet", "next": "/?on=2026-11-25"})
    assert answer.headers["location"] == "/?on=2026-11-25"


@pytest.mark.parametrize(
    "address", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "/\t/elsewhere", "panels"]
)
def test_a_press_leads_nowhere_else(easel: Easel, panel: str, layer: str, address: str):
    answer = easel.client.post(f"{layer}/tests", data={"stage": "wet", "next": address})
    assert answer.status_code == 303 and answer.headers["location"] == panel


def test_the_full_form(easel: Easel, layer: str):
    assert form_to(easel.client.get(f"{layer}/tests"), f"{layer}/tests").values["pressed_at"] == "2026-11-25T09:00"
    easel.test(layer, stage="touch_dry", pressed_at="2026-11-24T20:15", place_on_panel="lower edge", note="a <hair>")
    text = easel.client.get(f"{layer}/tests").text
    assert "yesterday at 20:15" in text and "lower edge: a &lt;hair&gt;" in text
    assert "with a clean dry fingertip" in text and "witness strip" in text


@pytest.mark.parametrize(
    ("changed", "at", "told"),
    [
        ({"stage": ""}, "stage", "Choose one of the list."),
        ({"stage": "gooey"}, "stage", "Choose one of the list."),
        ({"pressed_at": "2026-11-25T09:30"}, "pressed_at", "still to come"),
        ({"pressed_at": "2026-11-23T09:59"}, "pressed_at", "cannot be older"),
        ({"pressed_at": "after lunch"}, "pressed_at", "Write a day and a time"),
        ({"place_on_panel": "x" * 121}, "place_on_panel", "Shorten this to 120 characters."),
        ({"place_on_panel": "bell\x07"}, "place_on_panel", "cannot be shown"),
        ({"note": "y" * 1001}, "note", "Shorten this to 1000 characters."),
    ],
)
def test_what_cannot_be_is_said_at_its_field_and_all_that_was_typed_stays(
    easel: Easel, layer: str, changed: dict[str, str], at: str, told: str
):
    action = f"{layer}/tests"
    form = form_to(easel.client.get(action), action)
    sent = form.filled(stage="tacky", pressed_at="2026-11-24T08:00", place_on_panel="edge", note="Keep me") | changed
    answer = easel.client.post(action, data=sent)
    assert answer.status_code == 422 and told in answer.text and f'id="e-{at}"' in answer.text
    again = form_to(answer, action).values
    kept = {name: value for name, value in sent.items() if name not in changed}
    assert kept.items() <= again.items()
    assert "None yet." in easel.client.get(action).text


def test_the_way_back_survives_a_fault(easel: Easel, layer: str):
    action = f"{layer}/tests"
    answer = easel.client.post(action, data={"stage": "gooey", "next": "/calendar"})
    assert answer.status_code == 422
    again = form_to(answer, action)
    assert easel.client.post(action, data=again.filled(stage="wet")).headers["location"] == "/calendar"


def test_a_press_sent_twice_is_one_test(easel: Easel, panel: str, layer: str):
    sent = form_to(easel.client.get(panel), f"{layer}/tests").filled(stage="touch_dry")
    for _ in range(2):
        assert easel.client.post(f"{layer}/tests", data=sent).status_code == 303
    assert "Touch tests (1)" in easel.client.get(panel).text


def test_a_planned_layer_cannot_be_pressed(easel: Easel, panel: str):
    planned = easel.layer(panel)
    answer = easel.client.post(f"{planned}/tests", data={"stage": "wet"})
    assert answer.status_code == 409 and "nothing to touch" in answer.text


def test_a_test_is_corrected(easel: Easel, panel: str, layer: str):
    test = easel.test(layer, pressed_at="2026-11-24T08:00")
    assert easel.send(f"{test}/edit", stage="touch_dry", note="a second look").status_code == 303
    values = form_to(easel.client.get(f"{test}/edit"), f"{test}/edit").values
    assert (values["stage"], values["note"], values["pressed_at"]) == ("touch_dry", "a second look", "2026-11-24T08:00")
    assert "tacky → touch dry" in easel.client.get(f"{test}/edit").text


@pytest.mark.parametrize("typed", ["2026-11-26T09:00", "2026-11-01T09:00"])
def test_a_correction_cannot_be_at_a_time_that_cannot_be(easel: Easel, layer: str, typed: str):
    test = easel.test(layer)
    answer = easel.send(f"{test}/edit", pressed_at=typed, note="kept")
    assert answer.status_code == 422 and 'id="e-pressed_at"' in answer.text
    again = form_to(answer, f"{test}/edit").values
    assert again["pressed_at"] == typed and again["note"] == "kept"


def test_marked_as_mistaken_and_back(easel: Easel, panel: str, layer: str):
    test = easel.test(layer)
    assert easel.client.post(f"{test}/mistaken", data={}).status_code == 303
    assert "Touch tests (0)" in easel.client.get(panel).text
    assert "Marked as mistaken" in easel.client.get(f"{layer}/tests").text
    assert "does not count" in easel.client.get(f"{test}/edit").text
    assert easel.client.post(f"{test}/restore", data={}).status_code == 303
    assert "Touch tests (1)" in easel.client.get(panel).text


def test_two_tabs_lose_nothing(easel: Easel, layer: str):
    test = easel.test(layer)
    action = f"{test}/edit"
    mine, theirs = (form_to(easel.client.get(action), action) for _ in range(2))
    easel.client.post(action, data=theirs.filled(stage="touch_dry"))
    answer = easel.client.post(action, data=mine.filled(note="mine", stage="wet"))
    assert answer.status_code == 409 and "Stored now: <strong>Touch-dry</strong>" in answer.text
    again = form_to(answer, action)
    assert again.values["note"] == "mine" and again.values["stage"] == "wet"
    assert easel.client.post(action, data=again.values).status_code == 303


def test_an_unlikely_press_is_asked_about_and_kept_once_answered(easel: Easel, panel: str):
    layer = easel.painted(panel, "2026-11-25T08:00")
    action = f"{layer}/tests"
    sent = form_to(easel.client.get(panel), action).filled(stage="firm")
    answer = easel.client.post(action, data=sent)
    assert answer.status_code == 422 and "That is unusual. Sure?" in answer.text
    again = form_to(answer, action)
    assert again.values["stage"] == "firm" and again.values["next"] == panel
    assert "None yet." in easel.client.get(action).text
    assert easel.client.post(action, data=again.values | {"is_sure": "1"}).headers["location"] == panel
    assert "You said that it is right." in easel.client.get(action).text


def test_of_two_that_contradict_one_is_right(easel: Easel, panel: str):
    layer = easel.painted(panel, "2026-11-20T08:00")
    action = f"{layer}/tests"
    easel.test(layer, stage="touch_dry", pressed_at="2026-11-24T08:00")
    answer = easel.client.post(action, data={"stage": "tacky"})
    assert answer.status_code == 422 and "Which one is right?" in answer.text and "yesterday at 08:00" in answer.text
    uid = answer.text.partition('name="mistaken" value="')[2].partition('"')[0]
    assert easel.client.post(action, data=form_to(answer, action).values | {"mistaken": uid}).status_code == 303
    text = easel.client.get(action).text
    assert text.count("Marked as mistaken") == 1 and "You said that it is right." not in text


@pytest.mark.parametrize(
    ("before", "now"),
    [(("touch_dry", "2026-11-24T08:00"), ("tacky", "")), (("tacky", "2026-11-24T08:00"), ("firm", "2026-11-23T08:00"))],
)
def test_paint_does_not_go_back_whichever_test_comes_in_later(easel: Easel, panel: str, before, now):
    """Written down late, the harder one of two is the older: what paint does not go back to is the softer."""
    layer = easel.painted(panel, "2026-11-20T08:00")
    easel.test(layer, stage=before[0], pressed_at=before[1])
    answer = easel.client.post(f"{layer}/tests", data={"stage": now[0], "pressed_at": now[1]})
    assert answer.status_code == 422 and "paint does not go back to tacky" in answer.text


def test_a_date_turned_round_is_put_right_by_one_tap(easel: Easel, panel: str):
    layer = easel.painted(panel, "2026-05-03T09:00")
    action = f"{layer}/tests"
    answer = easel.client.post(action, data={"stage": "wet", "pressed_at": "2026-06-05T10:00"})
    assert answer.status_code == 422 and "No, it was Wednesday 6 May 2026" in answer.text
    sent = form_to(answer, action).values | {"instead": "2026-05-06T10:00"}
    assert easel.client.post(action, data=sent).status_code == 303
    assert "6 May at 10:00" in easel.client.get(action).text


def test_what_a_device_sends_later_is_taken_and_asked_about_later(easel: Easel, panel: str):
    layer = easel.painted(panel, "2026-11-25T08:00")
    action = f"{layer}/tests"
    late = {"Umberday-Happened-At": "2026-11-25T08:50:00+00:00"}
    assert easel.client.post(action, data={"stage": "firm"}, headers=late).status_code == 303
    page = easel.client.get(action)
    assert "That is unusual. Sure?" in page.text
    [sure] = {form.action for form in forms_of(page) if form.action.endswith("/sure")}
    assert easel.client.post(sure, data=form_to(page, sure).values).status_code == 303
    assert "You said that it is right." in easel.client.get(action).text


def test_times_are_the_studios_own(client: TestClient, app: FastAPI, db: Database):
    easel = make_easel(client, app, db, "America/St_Johns")  # three and a half hours behind UTC
    layer = easel.painted(easel.panel(_ground_age="year"), "2026-11-24T10:00")
    test = easel.test(layer, pressed_at="2026-11-25T05:29")
    assert "today at 05:29" in easel.client.get(f"{layer}/tests").text
    values = form_to(easel.client.get(f"{test}/edit"), f"{test}/edit").values
    assert values["pressed_at"] == "2026-11-25T05:29"


def test_a_time_that_the_clocks_skipped(client: TestClient, app: FastAPI, db: Database):
    app.state.clock = lambda: datetime(2026, 3, 29, 12, 0, tzinfo=timezone.utc)
    easel = make_easel(client, app, db, "Europe/Lisbon")  # 01:00 became 02:00
    layer = easel.painted(easel.panel(_ground_age="year"), "2026-03-28T10:00")
    answer = easel.send(f"{layer}/tests", stage="wet", pressed_at="2026-03-29T01:10")
    assert answer.status_code == 422 and "The clocks skipped this time" in answer.text


def test_too_much_text_is_refused_plainly(easel: Easel, layer: str):
    assert easel.client.post(f"{layer}/tests", data={"note": "x" * 10_000_000}).status_code == 413


def test_no_such_test(easel: Easel):
    assert easel.client.get(f"/tests/{NOBODY}/edit").status_code == 404
    for path in ("edit", "mistaken", "restore"):
        assert easel.client.post(f"/tests/{NOBODY}/{path}", data={"stage": "wet", "version": "1"}).status_code == 404


@pytest.mark.parametrize("path", ["mistaken", "restore"])
def test_wrong_methods(easel: Easel, layer: str, path: str):
    assert easel.client.get(f"{easel.test(layer)}/{path}").status_code == 405


ARCHIVED = "This panel is archived. Bring it back first, then change it."


@pytest.mark.parametrize("stage", ["tacky", "firm"])  # the second so soon is a doubt, which is then not asked about
def test_a_layer_of_an_archived_panel_takes_no_test(easel: Easel, panel: str, layer: str, stage: str):
    assert easel.client.post(f"{panel}/archive").status_code == 303
    action = f"{layer}/tests"
    waited = {"Umberday-Happened-At": "2026-11-25T08:50:00+00:00"}
    for headers in ({}, waited):  # from here, and from a device that had no network
        answer = easel.client.post(action, data={"stage": stage, "note": "a little pull"}, headers=headers)
        assert answer.status_code == 409
        [fault] = re.findall(r'class="faults-title".*?</p>', answer.text, re.DOTALL)
        assert ARCHIVED in fault  # /waiting tells that
        assert "a little pull" in answer.text
    assert client_tests(easel, layer) == []


def test_the_page_of_a_layer_on_an_archived_panel_offers_nothing_that_is_refused(easel: Easel, panel: str, layer: str):
    easel.test(layer)
    assert easel.client.post(f"{panel}/archive").status_code == 303
    told = easel.client.get(f"{layer}/tests").text
    main = told.partition("<main")[2].partition("</main>")[0]
    assert "Bring the panel back to change anything here" in main and "Made so far" in main
    assert "<form" not in main and "/edit" not in main
    assert easel.client.post(f"{panel}/restore").status_code == 303
    assert f'action="{layer}/tests"' in easel.client.get(f"{layer}/tests").text


def client_tests(easel: Easel, layer: str) -> list[object]:
    found: list[object] = easel.client.get(f"/api/v1{layer}/touch-tests").json()["items"]
    return found


def test_a_call_for_a_test_on_an_archived_panel_is_refused(easel: Easel, panel: str, layer: str):
    assert easel.client.post(f"{panel}/archive").status_code == 303
    answer = easel.client.post(f"/api/v1{layer}/touch-tests", json={"stage": "tacky"})
    assert answer.status_code == 409 and ARCHIVED in answer.json()["detail"]
