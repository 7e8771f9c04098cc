"""The finish over HTTP: gates, steps, tests, the reason against a rule, the record and the end of a sitting."""

import json
import re
from html import unescape

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from tests.web.pages_of_records import Easel, form_to, forms_of, make_easel


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def old_picture(easel: Easel, painted_at: str = "2026-10-01T10:00") -> str:
    panel = easel.panel(_ground_age="year")
    easel.painted(panel, painted_at)
    return panel


def step(easel: Easel, panel: str, action: str, **values: str) -> str:
    """The address of a new planned step."""
    form = form_to(easel.client.get(f"{panel}/finish/steps?action={action}"), f"{panel}/finish/steps")
    answer = easel.client.post(form.action, data=form.filled(**values))
    assert answer.status_code == 303, answer.text
    page = easel.client.get(f"{panel}/finish").text
    return re.findall(r'href="(/finish/[\w-]+)/edit"', page)[0]


def test_the_page_of_the_finish_says_from_when(easel: Easel) -> None:
    """Six months before varnish: Parkhurst 1898."""
    page = easel.client.get(f"{old_picture(easel)}/finish").text
    for words in ("Final varnish", "Temporary varnish", "Frame under glass", "Wrap", "Stack", "Send"):
        assert words in page
    assert "Not before 30 March 2027, say the rules" in page
    assert "How to make it" in page


def test_bare_ground_has_nothing_to_finish(easel: Easel) -> None:
    page = easel.client.get(f"{easel.panel()}/finish").text
    assert "Nothing is painted yet" in page


def test_a_step_is_planned_changed_done_and_put_back(easel: Easel) -> None:
    panel = old_picture(easel)
    address = step(easel, panel, "frame", planned_on="2026-12-01")
    assert "Tuesday 1 December 2026" in easel.client.get(f"{panel}/finish").text
    assert easel.send(f"{address}/edit", planned_on="2026-12-04", note="oak").status_code == 303
    assert easel.send(f"{address}/do").status_code == 303
    page = easel.client.get(f"{panel}/finish").text
    assert "Framed, open" in page and "oak" in page
    for action in ("undone", "archive", "restore"):
        answer = easel.client.post(f"{address}/{action}", data={"command_key": f"key-{action}"})
        assert answer.status_code == 303, action
    assert "Friday 4 December 2026" in easel.client.get(f"{panel}/finish").text


def test_against_a_stop_the_reason_is_asked_for_at_its_field_and_everything_stays(easel: Easel) -> None:
    panel = old_picture(easel)
    address = step(easel, panel, "final_varnish")
    answer = easel.send(f"{address}/do", note="two thin coats")
    assert answer.status_code == 422
    assert "two thin coats" in answer.text and "Final varnish (R35)" in answer.text
    assert 'id="e-override_reason"' in answer.text
    assert '<a href="#f-override_reason">Why all the same</a>' in answer.text
    answer = easel.send(f"{address}/do", override_reason="The buyer leaves on Friday", note="two thin coats")
    assert answer.status_code == 303
    page = easel.client.get(f"{panel}/finish").text
    assert "Done all the same" in page and "The buyer leaves on Friday" in page


def test_a_layer_painted_against_a_stop_asks_for_its_reason(easel: Easel) -> None:
    panel = easel.panel()
    easel.painted(panel, "2026-11-24T10:00")
    layer = easel.layer(panel, kind="glaze", notes="warm")
    form = form_to(easel.client.get(f"{layer}/paint"), f"{layer}/paint")
    assert "override_reason" in form.values
    answer = easel.send(f"{layer}/paint", notes="thin and warm", sitting_min="45")
    assert answer.status_code == 422
    for kept in ("thin and warm", 'value="45"', "(R03)", 'id="e-override_reason"'):
        assert kept in answer.text
    again = form_to(answer, f"{layer}/paint")
    answer = easel.client.post(f"{layer}/paint", data=again.filled(override_reason="Only the corner that is dry"))
    assert answer.status_code == 303
    assert "Only the corner that is dry" in easel.client.get(panel).text
    edit = form_to(easel.client.get(f"{layer}/edit"), f"{layer}/edit")
    assert edit.values["override_reason"] == "Only the corner that is dry"


def test_without_a_stop_nothing_is_asked(easel: Easel) -> None:
    layer = easel.layer(easel.panel())
    form = form_to(easel.client.get(f"{layer}/paint"), f"{layer}/paint")
    assert "override_reason" not in form.values
    assert easel.send(f"{layer}/paint").status_code == 303


def test_recording_one_of_today_asks_as_well(easel: Easel) -> None:
    panel = easel.panel()
    easel.painted(panel, "2026-11-24T10:00")
    values = {"mixes-0-mix_uid": easel.white, "painted_at": "2026-11-25T08:00"}
    answer = easel.send(f"{panel}/layers/new?painted=1", **values)
    assert answer.status_code == 422 and 'id="e-override_reason"' in answer.text
    answer = easel.send(f"{panel}/layers/new?painted=1", override_reason="The light was right", **values)
    assert answer.status_code == 303


def test_a_test_is_one_press_and_can_be_corrected_and_taken_back(easel: Easel) -> None:
    panel = old_picture(easel)
    press = next(form for form in forms_of(easel.client.get(f"{panel}/finish")) if form.values.get("method") == "nail")
    answer = easel.client.post(press.action, data=press.filled(result="no_dent"))
    assert answer.status_code == 303 and answer.headers["location"] == f"{panel}/finish#tests"
    page = easel.client.get(f"{panel}/finish").text
    assert "Fingernail: no dent" in page
    address = re.findall(r'href="(/finish-tests/[\w-]+)/edit"', page)[0]
    assert easel.send(f"{address}/edit", result="dent", place_on_panel="sky").status_code == 303
    assert "Fingernail: a dent" in easel.client.get(f"{panel}/finish").text
    assert easel.send(f"{address}/edit", result="clean").status_code == 422
    assert easel.client.post(f"{address}/mistaken", data={"command_key": "k1"}).status_code == 303
    assert "it does not count" in easel.client.get(f"{panel}/finish").text
    assert easel.client.post(f"{address}/restore", data={"command_key": "k2"}).status_code == 303


def test_a_test_written_down_with_its_place(easel: Easel) -> None:
    panel = old_picture(easel)
    values = {
        "method": "swab",
        "result": "colour",
        "tested_at": "2026-11-20T10:00",
        "place_on_panel": "under the rebate",
    }
    assert easel.send(f"{panel}/finish/tests", **values).status_code == 303
    assert "under the rebate" in easel.client.get(f"{panel}/finish").text
    early = easel.send(f"{panel}/finish/tests", **(values | {"tested_at": "2026-09-20T10:00"}))
    assert early.status_code == 422 and "under the rebate" in early.text


def test_the_record_is_a_sheet_and_two_files(easel: Easel) -> None:
    panel = old_picture(easel)
    address = step(easel, panel, "wrap")
    easel.send(f"{address}/do", override_reason="Only for the stairs")
    page = easel.client.get(f"{panel}/record").text
    for words in ("PW6", "linseed", "µm wet", "Only for the stairs", "Final varnish", "Oily rags", "<svg", "Two pears"):
        assert words in page, words
    text = easel.client.get(f"{panel}/record/txt")
    assert text.headers["content-type"] == "text/plain; charset=utf-8"
    assert text.headers["content-disposition"] == 'attachment; filename="two-pears.txt"'
    assert "PW6 (titanium white) in linseed oil" in text.text and "Only for the stairs" in text.text
    assert max(len(line) for line in text.text.splitlines()) <= 78
    record = json.loads(easel.client.get(f"{panel}/record/json").text)
    assert record["format"] == "umberday-panel-record"
    assert record["layers"][0]["mixes"][0]["paints"][0]["pigments"][0]["ci_name"] == "PW6"
    assert record["steps"][0]["overruled"]["reason"] == "Only for the stairs"
    assert easel.client.get(f"{panel}/record/pdf").status_code == 404


@pytest.mark.parametrize("painted_on", ["2026-11-24", "2026-11-05", "2026-10-01", "2026-06-03"])
def test_days_of_the_record_can_be_read_on_any_day(easel: Easel, painted_on: str) -> None:
    """Printed on one day and read on another: dates with their year, never a weekday or weeks from now."""
    panel = old_picture(easel, f"{painted_on}T10:00")
    told = [words_of(easel.client.get(f"{panel}/record{kind}").text) for kind in ("", "/txt", "/json")]
    for text in told:
        found = re.findall(r"(?:dry through (?!nothing)|a final varnish )[^.;]*|Not before [^.;]*", text)
        assert len(found) >= 2
        for days in found:
            assert re.search(r"\b20\d\d\b|the wait is over", days), days
            assert not re.search(r"week|[nsir]day|tomorrow", days), days


def words_of(text: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", text)))


def test_the_record_tells_what_was_painted_then(easel: Easel) -> None:
    """A mix that is changed afterwards, and its new name, leave the record as it was."""
    panel = old_picture(easel)
    before = easel.client.get(f"{panel}/record/json").text
    answer = easel.send(f"/mixes/{easel.white}/edit", label="Something else", **{"parts-0-parts": "7"})
    assert answer.status_code == 303
    assert easel.client.get(f"{panel}/record/json").text == before


def test_the_end_of_a_sitting_is_asked_for_once(easel: Easel) -> None:
    client = easel.client
    assert "Leaving the easel?" not in client.get("/").text
    panel = easel.panel()
    layer = easel.layer(panel)
    assert easel.send(f"{layer}/paint").status_code == 303
    assert "Leaving the easel?" in client.get(panel).text
    assert "Leaving the easel?" in client.get("/").text
    form = form_to(client.get("/sittings/end"), "/sittings/end")
    refused = client.post("/sittings/end", data=form.filled(note="late"))
    assert refused.status_code == 422 and "late" in refused.text and 'id="e-rags"' in refused.text
    kept = {"mixes-0-mix_uid": easel.white, "mixes-0-left_ml": "4.5", "mixes-0-kept_in": "fridge"}
    answer = client.post("/sittings/end", data=form.filled(rags="water", brushes="true", **kept))
    assert answer.status_code == 303
    assert "Leaving the easel?" not in client.get("/").text
    listed = client.get("/sittings").text
    assert "under water in a lidded can" in listed and "4.5" in listed and "in a fridge" in listed
    [back] = [form.action for form in forms_of(client.get("/sittings")) if form.action.endswith("/archive")]
    assert client.post(back, data={"command_key": "k"}).status_code == 303
    assert "Leaving the easel?" in client.get("/").text
    assert client.post(back.replace("archive", "restore"), data={"command_key": "l"}).status_code == 303
    assert "Leaving the easel?" not in client.get("/").text


def test_the_end_of_a_sitting_logs_what_the_plan_has_for_today(easel: Easel) -> None:
    panel = easel.panel()
    easel.layer(panel, planned_on="2026-11-25")
    form = form_to(easel.client.get("/sittings/end"), "/sittings/end")
    assert form.values["layers-0-is_painted"] == "true"
    assert easel.client.post("/sittings/end", data=form.filled(rags="none")).status_code == 303
    assert "painted today at 09:00" in easel.client.get(panel).text


def test_a_finished_panel_shows_its_next_test_on_today(easel: Easel) -> None:
    """Half a year before varnish: Parkhurst 1898."""
    panel = old_picture(easel)
    assert easel.client.post(f"{panel}/finish", data={"command_key": "k"}).status_code == 303
    wall = easel.client.get("/").text
    assert "Swab test, from 30 March 2027" in wall and f'href="{panel}/finish"' in wall
    later = easel.client.get("/?on=2027-04-02").text
    assert "the wait is over: a swab test says whether it may be varnished" in later


def test_a_step_that_is_planned_too_early_says_so(easel: Easel) -> None:
    panel = old_picture(easel)
    step(easel, panel, "final_varnish", planned_on="2027-02-01")
    assert easel.client.get(f"{panel}/finish").text.count("Too early <small>") == 1
    step(easel, panel, "frame", planned_on="2027-02-01")
    assert easel.client.get(f"{panel}/finish").text.count("Too early <small>") == 1
