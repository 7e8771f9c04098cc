"""A picture that is varnished for good or sent: what every page says of it, and of one that was painted over since."""

import re

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.store.db import Database
from tests.web.pages_of_records import Easel, form_to, make_easel
from tests.web.test_finish import old_picture, step

AT_RISK = re.compile(r"dates? at risk|is-at_risk", re.IGNORECASE)


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def finished(easel: Easel, **values: str) -> str:
    """A picture painted to the end long ago, with packing and a way of no days."""
    panel = easel.panel(_ground_age="year", packing_d="0", finished_on="2026-10-01", **values)
    easel.painted(panel, "2026-10-01T10:00")
    return panel


def done(easel: Easel, panel: str, action: str, at: str = "2026-11-24T10:00") -> None:
    reason = {"override_reason": "the buyer leaves"} if action == "final_varnish" else {}
    assert easel.send(f"{step(easel, panel, action)}/do", done_at=at, **reason).status_code == 303


def test_a_picture_that_left_says_so_and_asks_for_no_press(easel: Easel) -> None:
    panel = finished(easel, due_on="2026-12-20")
    assert "what does a fingertip say?" in easel.client.get(panel).text
    done(easel, panel, "ship")
    for address in ("/", panel, f"{panel}/finish", "/panels"):
        assert "sent yesterday; a final varnish likely" in easel.client.get(address).text, address
    assert "sent yesterday, in time" in easel.client.get(panel).text
    assert "what does a fingertip say?" not in easel.client.get(panel).text
    assert 'name="stage" value="firm"' not in easel.client.get("/").text


def test_a_picture_that_left_too_late_is_told_no_odds(easel: Easel) -> None:
    panel = finished(easel, due_on="2026-11-20")
    done(easel, panel, "ship")
    for address in ("/", panel):
        page = easel.client.get(address).text
        assert "sent yesterday, too late for that day" in page, address
        assert "chance of keeping it" not in page and "that the day is kept" not in page, address


def test_a_picture_that_left_too_late_is_no_more_at_risk_anywhere(easel: Easel) -> None:
    panel = finished(easel, due_on="2026-11-20")
    pages = ("/", "/plan", "/wall", "/calendar", "/calendar?view=agenda", panel)
    step(easel, panel, "frame")
    marks = {address: AT_RISK.search(easel.client.get(address).text) for address in pages}
    assert all(marks[address] for address in ("/", "/plan", panel))
    done(easel, panel, "ship")
    assert not [address for address in pages if AT_RISK.search(easel.client.get(address).text)]


def test_a_sent_picture_that_nobody_called_finished_says_that_it_left(easel: Easel) -> None:
    panel = old_picture(easel)
    done(easel, panel, "ship")
    assert "Nothing planned <small>sent yesterday" in easel.client.get(panel).text


def test_a_varnish_that_is_on_is_not_stopped_at_its_gate(easel: Easel) -> None:
    panel = finished(easel)
    done(easel, panel, "final_varnish")
    gate = easel.client.get(f"{panel}/finish").text.partition('id="gate-final_varnish"')[2].partition("</li>")[0]
    assert "Varnished <small>yesterday at 10:00" in gate
    assert "Stop" not in gate and "say the rules" not in gate
    assert "what does a fingertip say?" not in easel.client.get(panel).text


def test_a_varnish_under_a_later_layer_is_not_the_varnish_of_the_picture(easel: Easel) -> None:
    panel = old_picture(easel)
    done(easel, panel, "temporary_varnish", "2026-11-20T10:00")
    done(easel, panel, "final_varnish")
    assert "It has its final varnish" in easel.client.get(f"{panel}/record").text
    easel.painted(panel, "2026-11-24T15:00", kind="glaze", override_reason="the buyer wants it warmer")
    record = easel.client.get(f"{panel}/record").text
    assert "It has its final varnish" not in record and "final varnish on since" not in record
    assert "none; a final varnish" in record and "Varnish lies under its last layer" in record
    assert "varnished" not in easel.client.get(f"{panel}/finish").text.partition("Planned and done")[0]


def test_what_is_stored_meanwhile_is_told_in_words(easel: Easel) -> None:
    panel = finished(easel)
    address = step(easel, panel, "frame", planned_on="2026-12-01")
    form = form_to(easel.client.get(f"{address}/edit"), f"{address}/edit")
    assert easel.send(f"{address}/edit", planned_on="2026-12-04").status_code == 303
    assert easel.send(f"{address}/do", done_at="2026-11-24T16:05").status_code == 303
    late = easel.client.post(form.action, data=form.filled(note="oak"))
    assert late.status_code == 409
    assert "Stored now: <strong>4 December 2026</strong>" in late.text
    assert "Stored now: <strong>24 November 2026 at 16:05</strong>" in late.text


def test_a_step_whose_day_went_by_says_so(easel: Easel) -> None:
    panel = finished(easel)
    step(easel, panel, "frame", planned_on="2026-11-23")
    assert "Frame, open, 23 November: that day is past" in easel.client.get("/").text
    page = easel.client.get(f"{panel}/finish").text
    assert "That day is past" in page and "Too early <small>" not in page


def test_a_mistaken_test_says_so_on_paper_too(easel: Easel) -> None:
    panel = finished(easel)
    assert easel.send(f"{panel}/finish/tests", method="thumb", result="mark").status_code == 303
    uid = re.findall(r'href="(/finish-tests/[\w-]+)/edit"', easel.client.get(f"{panel}/finish").text)[0]
    assert easel.client.post(f"{uid}/mistaken", data={"command_key": "k"}).status_code == 303
    made = easel.client.get(f"{panel}/finish").text.partition("Made so far")[2]
    shown = re.sub(r'<div class="row-of no-print">.*?</div>', "", made, flags=re.DOTALL)
    assert "Marked as mistaken; it does not count." in shown


def test_once_the_wait_for_a_varnish_is_over_no_page_tells_a_day_that_is_long_past(easel: Easel) -> None:
    """Half a year before varnish: Parkhurst 1898. Of paint from 2025 that day is in spring 2026."""
    panel = easel.panel(_ground_age="", ground_on="2024-01-01", finished_on="2025-09-10")
    easel.painted(panel, "2025-09-10T10:00", thickness_preset="thin_opaque")
    assert "the wait is over: a swab test" in easel.client.get(panel).text
    assert "A final varnish likely" not in easel.client.get(panel).text
    agenda = easel.client.get("/calendar?view=agenda").text
    assert "worth a swab test: the wait for a final varnish is over" in agenda
    assert "none; the wait for a final varnish is over" in easel.client.get(f"{panel}/record").text
    assert easel.send(f"{panel}/finish/tests", method="swab", result="clean").status_code == 303
    assert "A final varnish likely" not in easel.client.get(panel).text


@pytest.mark.parametrize("planned_on", ["2019-12-02", "2026-09-30"])
def test_nothing_is_planned_for_a_day_before_the_last_layer_went_on(easel: Easel, planned_on: str) -> None:
    panel = old_picture(easel)
    said = "The last layer was painted on 1 October 2026 at 10:00. This cannot be planned for before."
    new = easel.send(f"{panel}/finish/steps", f"{panel}/finish/steps?action=frame", planned_on=planned_on, note="oak")
    assert new.status_code == 422 and said in new.text and 'id="e-planned_on"' in new.text and "oak" in new.text
    planned = step(easel, panel, "frame")
    assert said in easel.send(f"{planned}/edit", planned_on=planned_on).text
    assert easel.send(f"{planned}/edit", planned_on="2026-10-01").status_code == 303
    layer = easel.layer(panel)
    assert said in easel.send(f"{layer}/edit", planned_on=planned_on).text
    again = easel.send(f"{panel}/layers/new", planned_on=planned_on, notes="thin", **{"mixes-0-mix_uid": easel.white})
    assert again.status_code == 422 and said in again.text and "thin" in again.text


def test_the_finish_of_an_archived_panel_is_to_look_at_only(easel: Easel) -> None:
    panel = finished(easel)
    done(easel, panel, "frame")
    step(easel, panel, "ship", planned_on="2026-12-01")
    assert easel.send(f"{panel}/finish/tests", method="thumb", result="mark").status_code == 303
    assert easel.client.post(f"{panel}/archive", data={"command_key": "k"}).status_code == 303
    page = easel.client.get(f"{panel}/finish")
    main = page.text.partition("<main")[2].partition("</main>")[0]
    assert "Archived" in main and "Framed, open" in main and "Thumb: a mark" in main
    assert "<form" not in main and "/finish/" not in main and "/finish-tests/" not in main


def test_an_archived_panel_offers_no_change_of_its_layers(easel: Easel) -> None:
    panel = old_picture(easel)
    easel.layer(panel)
    assert "/paint" in easel.client.get(panel).text and "/unpaint" in easel.client.get(panel).text
    assert easel.client.post(f"{panel}/archive", data={"command_key": "k"}).status_code == 303
    page = easel.client.get(panel).text
    assert "Bring it back" in page and not re.search(r"/layers/[\w-]+/(paint|edit|unpaint|move|archive)", page)
