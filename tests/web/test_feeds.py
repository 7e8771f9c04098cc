"""Calendars over HTTP: what is in them, that nothing else is, and when a client need not fetch them again.

Read back by ``icalendar`` and by ``ical``, a parser of another make. ETag, If-None-Match, Last-Modified and 304: RFC
9110, 8.8 and 13. Content-Type: RFC 5545, 8.1.
"""

import re
from datetime import date, timedelta
from typing import Any

import icalendar
import pytest
from fastapi import FastAPI
from ical.calendar_stream import IcsCalendarStream
from sqlalchemy import update
from starlette.testclient import TestClient

from server.store.db import Database
from server.store.tables import ChangeSet
from tests.web.conftest import NOW
from tests.web.pages_of_records import Easel, form_to, make_easel
from tests.web.test_share import SECRETS, found_in, make_link
from tests.web.test_share import hang as hang_now


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db, "Europe/Madrid")


def hang(easel: Easel, title: str = "Two pears") -> str:
    """A panel, its changes dated as the app's clock has it (mixes are made by the real one)."""
    uid = hang_now(easel, title)
    with easel.db.write() as session:
        session.execute(update(ChangeSet).values(at=NOW))
    return uid


def feed(easel: Easel, **values: object) -> str:
    return make_link(easel, kind="feed", **values)


def items(content: bytes, kind: str = "VEVENT") -> dict[str, Any]:
    return {str(item["SUMMARY"]): item for item in icalendar.Calendar.from_ical(content).walk(kind)}


def read(easel: Easel, path: str, kind: str = "VEVENT") -> dict[str, Any]:
    answer = easel.client.get(path)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    IcsCalendarStream.calendar_from_ics(answer.text)  # raises for what it cannot read
    return items(answer.content, kind)


def planned(easel: Easel) -> None:
    """Hours every day, and a plan that is taken."""
    client = easel.client
    hours = {"painter": "A. Nyone", "weekdays": "1234567", "start": "09:00", "end": "17:00", "command_key": "h" * 12}
    assert client.post("/plan/hours", data=hours).status_code == 303
    assert client.post("/plan/make", data={"mix_setup_min": "30", "command_key": "m" * 12}).status_code == 303
    accept = found_in(r'action="(/plan/[^"]+/accept)"', client.get("/plan").text)
    assert client.post(accept, data={"command_key": "a" * 12}).status_code == 303


def test_a_feed_tells_due_dates_what_was_painted_and_when_it_is_dry(easel: Easel):
    hang(easel)
    found = read(easel, feed(easel))
    assert found["Two pears: due"]["DTSTART"].dt == date(2027, 2, 1)
    assert found["Two pears: due"]["DTEND"].dt == date(2027, 2, 2)
    assert found["Two pears: due"]["STATUS"] == "CONFIRMED"
    painted = found["Two pears: underpainting painted"]
    assert painted["DTSTART"].dt == date(2026, 11, 20)
    ready = found["Two pears: underpainting touch-dry"]
    assert ready["STATUS"] == "TENTATIVE"
    assert ready["TRANSP"] == "TRANSPARENT"
    low, after = ready["DTSTART"].dt, ready["DTEND"].dt
    assert low < after
    last = after - timedelta(days=1)
    assert f"to {last.day} " in ready["DESCRIPTION"] or f"likely {last.day} " in ready["DESCRIPTION"]
    assert "times in 10" in ready["DESCRIPTION"]
    assert not re.search(r"today|tomorrow|yesterday|Monday", ready["DESCRIPTION"])  # read on another day, it would lie


def test_a_sitting_of_the_plan_is_busy_and_by_the_studios_clock(easel: Easel):
    hang(easel)
    planned(easel)
    found = read(easel, feed(easel, shows=["names", "mixes"]))
    sitting = found["Two pears: second painting, with A. Nyone"]
    assert sitting["TRANSP"] == "OPAQUE"
    assert sitting["STATUS"] == "CONFIRMED"
    start = sitting["DTSTART"].dt
    assert sitting["DTSTART"].params["TZID"] == "Europe/Madrid"
    assert start.utcoffset() == timedelta(hours=1)
    assert 9 <= start.hour < 17
    plan = easel.client.get("/plan").text
    assert f"{start:%H:%M}" in plan
    plain = read(easel, feed(easel))
    assert "Two pears: second painting" in plain
    assert "A. Nyone" not in str(plain)


def test_the_sequence_grows_when_a_due_date_moves_and_the_uid_stays(easel: Easel, app: FastAPI):
    uid = hang(easel)
    path = feed(easel)
    before = read(easel, path)["Two pears: due"]
    assert before["SEQUENCE"] == 0
    assert before["DTSTAMP"].dt <= NOW
    app.state.clock = lambda: NOW + timedelta(hours=2)
    answer = easel.send(f"/panels/{uid}/edit", due_on="2027-02-08")
    assert answer.status_code == 303
    after = read(easel, path)["Two pears: due"]
    assert (after["UID"], after["SEQUENCE"]) == (before["UID"], 1)
    assert after["DTSTART"].dt == date(2027, 2, 8)
    assert after["DTSTAMP"].dt == after["LAST-MODIFIED"].dt == NOW + timedelta(hours=2)
    assert after["CREATED"].dt == before["CREATED"].dt


def test_an_archived_panel_takes_its_days_out_of_the_calendar(easel: Easel):
    uid = hang(easel)
    path = feed(easel)
    read(easel, path)
    easel.client.post(f"/panels/{uid}/archive", data={"command_key": "a" * 16})
    due = read(easel, path)["Two pears: due"]
    assert (due["STATUS"], due["SEQUENCE"]) == ("CANCELLED", 1)
    restored = easel.client.post(f"/panels/{uid}/restore", data={"command_key": "r" * 16})
    assert restored.status_code == 303
    due = read(easel, path)["Two pears: due"]
    assert (due["STATUS"], due["SEQUENCE"]) == ("CONFIRMED", 2)


def test_what_is_to_do_is_a_list_of_tasks(easel: Easel):
    uid = hang(easel)
    path = feed(easel).replace("calendar.ics", "tasks.ics")
    found = read(easel, path, "VTODO")
    assert found["Two pears: paint the underpainting"]["STATUS"] == "COMPLETED"
    assert found["Two pears: paint the second painting"]["STATUS"] == "NEEDS-ACTION"
    assert found["Two pears: press the underpainting"]["STATUS"] == "NEEDS-ACTION"
    assert read(easel, path, "VEVENT") == {}
    layer = found_in(r"/layers/([\w-]+)/tests", easel.client.get(f"/panels/{uid}").text)
    easel.send(f"/layers/{layer}/tests", stage="touch_dry")
    pressed = read(easel, path, "VTODO")["Two pears: press the underpainting"]
    assert (pressed["STATUS"], pressed["COMPLETED"].dt) == ("COMPLETED", NOW)


def test_steps_of_the_finish_stand_there_years_ahead(easel: Easel):
    panel = easel.panel(title="Old boat", ground_on="2026-01-05")
    easel.painted(panel, "2026-10-01T10:00")
    easel.client.post(f"{panel}/finish", data={"command_key": "f" * 12})
    form = form_to(easel.client.get(f"{panel}/finish/steps?action=final_varnish"), f"{panel}/finish/steps")
    answer = easel.client.post(form.action, data=form.values | {"planned_on": "2028-05-02"})
    assert answer.status_code == 303
    found = read(easel, feed(easel))
    assert found["Old boat: final varnish"]["DTSTART"].dt == date(2028, 5, 2)
    assert found["Old boat: final varnish"]["STATUS"] == "TENTATIVE"
    ranged = found["Old boat: a final varnish may be tested for"]
    assert ranged["DTSTART"].dt > date(2027, 1, 1)
    assert "after a swab test" in ranged["DESCRIPTION"]


def test_a_feed_tells_nothing_that_was_not_ticked_and_no_private_id(easel: Easel):
    uid = hang(easel)
    planned(easel)
    path = feed(easel)
    for address in (path, path.replace("calendar.ics", "tasks.ics")):
        text = easel.client.get(address).text.replace("\r\n ", "")
        assert not [secret for secret in (*SECRETS, uid, "Why this day") if secret in text]
    shown = easel.client.get(feed(easel, shows=["names"])).text.replace("\r\n ", "")
    assert "due for A. Nyone" in shown


def test_a_feed_of_one_panel_holds_no_other(easel: Easel):
    chosen = hang(easel)
    hang(easel, "The other one")
    text = easel.client.get(feed(easel, scope="panel", panel_uids=[chosen])).text
    assert "Two pears" in text
    assert "The other one" not in text


def test_a_client_that_has_it_already_gets_304(easel: Easel, app: FastAPI):
    uid = hang(easel)
    path = feed(easel)
    first = easel.client.get(path)
    again = easel.client.get(path)
    assert again.content == first.content
    etag = first.headers["etag"]
    for sent in (etag, f'"other", {etag}', etag.removeprefix("W/"), "*"):
        known = easel.client.get(path, headers={"If-None-Match": sent})
        assert (known.status_code, known.content) == (304, b"")
        assert known.headers["etag"] == etag
    since = {"If-Modified-Since": first.headers["last-modified"]}
    assert easel.client.get(path, headers=since).status_code == 304
    assert easel.client.get(path, headers={"If-None-Match": '"x"', **since}).status_code == 200  # RFC 9110, 13.2.2
    assert easel.client.get(path, headers={"If-Modified-Since": "no date"}).status_code == 200
    app.state.clock = lambda: NOW + timedelta(hours=1)
    easel.send(f"/panels/{uid}/edit", due_on="2027-02-09")
    changed = easel.client.get(path, headers={"If-None-Match": etag})
    assert changed.status_code == 200
    assert changed.headers["etag"] != etag
    assert easel.client.get(path, headers=since).status_code == 200


def test_time_that_goes_on_alone_changes_no_date_stamp(easel: Easel, app: FastAPI):
    """DTSTAMP from the revision, not from now: a day later the entries that say the same are the same."""
    hang(easel)
    path = feed(easel)
    before = {str(item["UID"]): item for item in read(easel, path).values()}
    app.state.clock = lambda: NOW + timedelta(minutes=30)
    for item in read(easel, path).values():
        earlier = before[str(item["UID"])]
        if item.get("DESCRIPTION") == earlier.get("DESCRIPTION"):
            assert item.to_ical() == earlier.to_ical()


def test_the_feed_may_be_packed_and_asked_with_head(easel: Easel):
    hang(easel)
    path = feed(easel)
    packed = easel.client.get(path, headers={"Accept-Encoding": "gzip"})
    assert packed.headers["content-encoding"] == "gzip"
    assert packed.headers["etag"].startswith("W/")
    assert easel.client.head(path).headers["etag"] == packed.headers["etag"]


def test_a_feeds_token_opens_no_page_and_a_pages_none(easel: Easel):
    hang(easel)
    calendar, page = feed(easel), make_link(easel)
    token = calendar.split("/")[2]
    gone = easel.client.get("/f/" + "x" * 43 + "/calendar.ics")
    other = f"/f/{page.removeprefix('/s/')}"
    for path in (f"/s/{token}", f"{other}/calendar.ics", f"{other}/tasks.ics"):
        assert easel.client.get(path).status_code == 404
    assert gone.status_code == 404
    assert gone.headers["referrer-policy"] == "no-referrer"


def test_a_revoked_feed_is_gone(easel: Easel):
    path = feed(easel)
    revoke = found_in(r'action="(/share/[^"]+/revoke)"', easel.client.get("/share").text)
    easel.client.post(revoke, data={"command_key": "k" * 12})
    assert easel.client.get(path).status_code == 404


def test_the_whole_calendar_as_a_file(easel: Easel):
    hang(easel)
    answer = easel.client.get("/calendar.ics")
    assert answer.headers["content-disposition"] == 'attachment; filename="calendar.ics"'
    assert "Two pears: due for A. Nyone" in items(answer.content)
    assert "Two pears: press the underpainting" in items(answer.content, "VTODO")
    assert "SOURCE" not in answer.text
    assert 'href="/calendar.ics"' in easel.client.get("/calendar").text


def test_an_empty_studio_has_an_empty_calendar(easel: Easel):
    answer = easel.client.get(feed(easel))
    assert items(answer.content) == {}
    assert answer.headers["last-modified"]


def test_a_day_that_was_given_by_hand_is_the_tasks_too(easel: Easel, app: FastAPI):
    """As the calendar tells it, though the panel is ready before."""
    panel = easel.panel(title="Bare board")
    easel.layer(panel, kind="block-in", planned_on="2026-12-10")
    easel.layer(easel.panel(title="Another board"), kind="block-in")
    found = read(easel, feed(easel).replace("calendar.ics", "tasks.ics"), "VTODO")
    given, free = found["Bare board: paint the block-in"], found["Another board: paint the block-in"]
    assert (given["DTSTART"].dt, given["DUE"].dt) == (date(2026, 12, 10), date(2026, 12, 11))
    assert free["DTSTART"].dt == NOW.date() and "DUE" not in free


def test_what_a_link_shows_otherwise_is_modified_for_a_client_that_asks_by_the_date_alone(easel: Easel, app: FastAPI):
    """RFC 9110, 8.8.2: the date is when the representation was changed last, and not only what is planned in it."""
    hang(easel)
    path = feed(easel)
    since = {"If-Modified-Since": easel.client.get(path).headers["last-modified"]}
    assert easel.client.get(path, headers=since).status_code == 304
    app.state.clock = lambda: NOW + timedelta(hours=2)
    edit = found_in(r'href="(/share/[^"]+/edit)"', easel.client.get("/share").text)
    form = form_to(easel.client.get(edit), edit)
    assert easel.client.post(edit, data=form.filled() | {"shows": ["names"]}).status_code == 303
    changed = easel.client.get(path, headers=since)
    assert changed.status_code == 200 and "due for A. Nyone" in changed.text
    since = {"If-Modified-Since": changed.headers["last-modified"]}
    assert easel.client.get(path, headers=since).status_code == 304
