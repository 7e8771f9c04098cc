"""What was changed, and taking it back, over HTTP."""

import html
import re
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.services import paints
from server.store.db import Database
from tests.web.pages_of_records import NOBODY, Easel, form_to, forms_of, make_easel


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def undo_buttons(easel: Easel, address: str = "/history") -> list[str]:
    """Where the page's undo and redo buttons are sent, from the top."""
    forms = forms_of(easel.client.get(address))
    return list(dict.fromkeys(form.action for form in forms if form.action.endswith("/undo")))


def press(easel: Easel, action: str):
    return easel.client.post(action, data={})


def test_the_newest_stands_first(easel: Easel):
    panel = easel.panel(title="Two pears")
    easel.layer(panel, kind="glaze")
    text = easel.client.get("/history").text
    text = text[text.index("<h1>") :]  # the message of what was just done stands before
    assert text.index("Planned “glaze” on “Two pears”") < text.index("Added the panel “Two pears”")


def test_undo_and_redo(easel: Easel):
    panel = easel.panel(title="Two pears")
    easel.send(f"{panel}/edit", title="Three pears")
    undo = undo_buttons(easel, panel)[0]
    assert press(easel, undo).status_code == 303
    assert "<h1>Two pears</h1>" in easel.client.get(panel).text
    text = easel.client.get("/history").text
    assert "undone" in text and "Undid: Corrected the panel" in text
    redo = undo.replace("/undo", "/redo")
    assert press(easel, redo).status_code == 303
    assert "<h1>Three pears</h1>" in easel.client.get(panel).text
    assert press(easel, redo).status_code == 303  # once more changes nothing
    assert "<h1>Three pears</h1>" in easel.client.get(panel).text


def test_undo_right_after(easel: Easel):
    """The message of what was done has its own undo."""
    panel = easel.panel(title="Two pears")
    page = easel.client.get(panel).text
    flash = page[page.index('id="flash"') :][:800]
    [action] = re.findall(r'action="(/history/[^"]+/undo)"', flash)
    assert press(easel, action).status_code == 303
    assert ">Two pears</a>" not in easel.client.get("/panels").text


def test_undo_of_a_touch_test_and_of_painting(easel: Easel):
    panel = easel.panel(_ground_age="year")
    layer = easel.layer(panel)
    easel.send(f"{layer}/paint")
    easel.client.post(f"{layer}/tests", data={"stage": "wet"})
    assert "Touch tests (1)" in easel.client.get(panel).text
    press(easel, undo_buttons(easel)[0])
    assert "Touch tests (0)" in easel.client.get(panel).text
    painted = next(form.action for form in forms_of(easel.client.get(panel)) if form.action.endswith("/undo"))
    assert painted
    label = re.search(
        r"Painted “underpainting”.*?action=\"(/history/[^\"]+/undo)\"", easel.client.get("/history").text, re.S
    )
    assert label
    assert press(easel, label[1]).status_code == 303
    assert "Change the plan" in easel.client.get(panel).text


def test_undo_is_refused_in_plain_words_when_the_record_changed_since(easel: Easel):
    panel = easel.panel(title="Two pears")
    easel.send(f"{panel}/edit", title="Three pears")
    easel.send(f"{panel}/edit", title="Four pears")
    newest, before = undo_buttons(easel, panel)[:2]
    answer = press(easel, before)
    assert answer.status_code == 409
    assert "Nothing was changed" in answer.text and "since" in answer.text
    assert "<h1>Four pears</h1>" in easel.client.get(panel).text
    assert press(easel, newest).status_code == 303


def test_undo_leads_back_to_the_record_it_was_pressed_on(easel: Easel):
    panel = easel.panel()
    easel.send(f"{panel}/edit", title="Other")
    action = undo_buttons(easel, panel)[0]
    sent = [form for form in forms_of(easel.client.get(panel)) if form.action == action][-1].values
    assert easel.client.post(action, data=sent).headers["location"] == panel


def test_undo_sent_twice_is_one_undo(easel: Easel):
    panel = easel.panel(title="Two pears")
    easel.send(f"{panel}/edit", title="Three pears")
    action = undo_buttons(easel, panel)[0]
    sent = form_to(easel.client.get("/history"), action).values
    for _ in range(2):
        assert easel.client.post(action, data=sent).status_code == 303
    assert "<h1>Two pears</h1>" in easel.client.get(panel).text


def test_a_record_tells_what_changed_field_by_field(easel: Easel):
    panel = easel.panel(title="Two pears")
    easel.send(f"{panel}/edit", title="Three pears", due_on="2026-12-24")
    text = easel.client.get(panel).text
    assert "title: Two pears → Three pears" in text and "due on: 24 December 2026" in text
    layer = easel.layer(panel, wet_thickness_um="40")
    easel.send(f"{layer}/edit", wet_thickness_um="60")
    assert "wet thickness: 40 µm → 60 µm" in easel.client.get(f"{layer}/edit").text


def test_days_and_moments_are_told_as_the_studio_tells_them(easel: Easel):
    panel = easel.panel(title="2026-12-24")
    easel.send(f"{panel}/edit", title="2026-12-25", due_on="2026-12-24")
    layer = easel.painted(panel, "2026-11-25T08:00")
    easel.client.post(f"{layer.removesuffix('/edit')}/unpaint", data={})
    text = easel.client.get(panel).text
    assert "title: 2026-12-24 → 2026-12-25" in text  # a name stays as it was typed
    assert "due on: 24 December 2026" in text
    easel.client.post(f"{panel}/archive", data={})
    assert "archived: 25 November 2026 at 09:00" in easel.client.get(panel).text
    easel.send("/studio", date_order="mdy", clock="12")
    text = easel.client.get(panel).text
    assert "archived: November 25, 2026 at 9:00 am" in text and "due on: December 24, 2026" in text


def test_older_pages(easel: Easel):
    panel = easel.panel()
    for number in range(52):
        easel.client.post(f"{panel}/{'archive' if number % 2 == 0 else 'restore'}", data={})
    page = easel.client.get("/history").text
    [older] = re.findall(r'href="(/history\?before=[^"]+)"', page)
    text = easel.client.get(older).text
    assert "Added the panel" in text and "Added the panel" not in page


def test_nothing_to_take_back(easel: Easel):
    assert press(easel, f"/history/{NOBODY}/undo").status_code == 404
    assert easel.client.get(f"/history?before={NOBODY}").status_code == 200
    assert press(easel, f"/history/{NOBODY}/redo").status_code == 404
    assert easel.client.get(f"/history/{NOBODY}/undo").status_code == 405
    assert easel.client.get(f"/history/{NOBODY}/redo").status_code == 405
    assert easel.client.post("/history", data={}).status_code == 405


def told_lines(easel: Easel, page: str) -> list[str]:
    """What the page's own history says, field by field."""
    text = html.unescape(easel.client.get(page).text)
    part = text[text.rindex("What was changed (") :]
    return [re.sub(r"<[^>]+>", "", line).strip() for line in re.findall(r'<p class="small">(.*?)</p>', part, re.S)]


@pytest.mark.parametrize(
    ("edit", "page", "values", "line"),
    [
        ("/shelf/paints/{paint}/edit", "/shelf/paints/{paint}/edit", {"label": "Old white"}, "name: White → Old white"),
        ("/shelf/paints/{paint}/edit", "/shelf/paints/{paint}/edit", {"oil": "walnut"}, "oil: linseed → walnut"),
        ("/mixes/{mix}/edit", "/mixes/{mix}", {"label": "Chalk"}, "name: White → Chalk"),
        ("/mixes/{mix}/edit", "/mixes/{mix}", {"parts-0-parts": "7"}, "paint, 7"),
        ("/room/{place}/edit", "/room/{place}", {"name": "Loft"}, "name: Easel room → Loft"),
        ("/room/{place}/edit", "/room/{place}/edit", {"relative_humidity_pct": "61"}, "humidity, %: 50 → 61"),
        ("/studio", "/studio", {"name": "Mill"}, "→ Mill"),
    ],
)
def test_every_records_page_tells_what_was_changed_and_takes_it_back(
    easel: Easel, edit: str, page: str, values: dict[str, str], line: str
):
    with easel.db.read() as session:
        paint = next(each for each in paints.all_open(session, easel.actor) if each.label == "White").uid
    uids = {"paint": paint, "mix": easel.white, "place": easel.place}
    edit, page = edit.format(**uids), page.format(**uids)
    assert easel.send(edit, **values).status_code == 303
    assert any(line in each for each in told_lines(easel, page)), told_lines(easel, page)
    undo = undo_buttons(easel, page)[0]
    form = form_to(easel.client.get(page), undo)
    assert easel.client.post(undo, data=form.values).headers["location"] == page
    name, changed = next(iter(values.items()))
    assert (name, changed) not in form_to(easel.client.get(edit), edit).fields


def test_a_sittings_end_tells_its_own_history(easel: Easel):
    easel.painted(easel.panel(), "2026-11-25T08:00")
    assert easel.send("/sittings/end", rags="water").status_code == 303
    page = easel.client.get("/sittings")
    assert "What was changed (1)" in page.text
    taken_back = next(form for form in forms_of(page) if form.action.endswith("/archive"))
    easel.client.post(taken_back.action, data=taken_back.values)
    assert "What was changed (2)" in easel.client.get("/sittings").text


def told_there(easel: Easel, address: str) -> str:
    """The lists of changes on a page, as words."""
    lists = re.findall(r'<ol class="changes.*?</ol>', easel.client.get(address).text, re.S)
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", " ".join(lists))))


def send_to(easel: Easel, page: str, action: str, **values: Any) -> None:
    sent = form_to(easel.client.get(page), action).filled(**values)
    assert easel.client.post(action, data=sent).status_code == 303


def press_there(easel: Easel, page: str, label: str) -> None:
    """The button beside a change, with all its form sends; it leads back to the page."""
    text = easel.client.get(page).text
    entry = next(
        each for each in re.findall(r'<li class="change">.*?</li>', text, re.S) if label in html.unescape(each)
    )
    action = re.search(r'action="([^"]+)"', entry)
    assert action is not None, entry
    answer = easel.client.post(action[1], data={"next": page})
    assert (answer.status_code, answer.headers["location"]) == (303, page)


def test_hours_tell_on_their_page_what_was_changed_and_take_it_back(easel: Easel):
    week = {"painter": "Ada", "weekdays": ["1", "2", "3", "4", "5"], "start": "09:00", "end": "12:30"}
    easel.client.post("/plan/hours/week", data=week)
    easel.client.post("/plan/hours/week", data=week | {"weekdays": ["6"]})
    told = told_there(easel, "/plan/hours")
    assert "Added hours of Ada" in told and "hours: Monday to Friday, 09:00 to 12:30" in told
    archive = next(f.action for f in forms_of(easel.client.get("/plan/hours")) if f.action.endswith("/archive"))
    easel.client.post(archive, data={})
    assert "Took away hours of Ada: Monday to Friday, 09:00 to 12:30" in told_there(easel, "/plan/hours")
    assert 'row-of"><p>Monday to Friday' not in easel.client.get("/plan/hours").text
    press_there(easel, "/plan/hours", "Took away hours of Ada")
    assert 'row-of"><p>Monday to Friday' in easel.client.get("/plan/hours").text


def test_a_rule_tells_on_its_page_what_was_changed_of_its_limits_and_takes_it_back(easel: Easel):
    page, other = "/rules/R01", "/rules/R03"
    before = form_to(easel.client.get(page), page).values["limits-0-value"]
    send_to(easel, page, page, **{"limits-0-value": str(float(before) * 0.99)})
    assert "Set the limits of rule R01" in told_there(easel, page) and "→" in told_there(easel, page)
    assert "Set the limits of rule R01" not in told_there(easel, other)
    press_there(easel, page, "Set the limits of rule R01")
    assert form_to(easel.client.get(page), page).values["limits-0-value"] == before


def test_a_place_tells_on_its_page_what_was_changed_of_its_readings_and_takes_it_back(easel: Easel):
    place = "/room/" + easel.client.get("/room").text.partition('<li class="slab" id="')[2].partition('"')[0]
    send_to(easel, place, f"{place}/readings", temperature_c="18.5", relative_humidity_pct="61")
    away = next(f.action for f in forms_of(easel.client.get(place)) if f.action.endswith("/set-aside"))
    easel.client.post(away, data={})
    told = told_there(easel, place)
    assert "Wrote down a reading: 18.5 °C, 61 %" in told and "Set readings aside" in told
    assert "(set aside)" in easel.client.get(place).text
    press_there(easel, place, "Set readings aside")
    assert "(set aside)" not in easel.client.get(place).text


def test_what_to_learn_and_the_plans_tell_on_their_pages_what_was_changed(easel: Easel):
    send_to(easel, "/learning", "/learning/mode", mode="off")
    assert told_there(easel, "/learning").count("Undo") == 1
    assert "What was changed (0)" in easel.client.get("/plan").text
