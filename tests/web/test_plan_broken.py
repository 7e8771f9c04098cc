"""A sitting of the plan in use that holds no more: every screen, link and calendar that tells of it says why."""

import re
from datetime import datetime, timedelta
from typing import Any

import icalendar
import pytest
from fastapi import FastAPI
from sqlmodel import select
from starlette.testclient import TestClient

from server.store.db import Database
from server.store.tables import Layer, Mix, Panel
from tests.services.conftest import Bench, make_bench
from tests.services.layer_acts import change
from tests.web.pages_of_records import form_to
from tests.web.test_plan import HOURS, accepted, words

NO_ROOM = "the hours of Mornings have no room for it and its mixing"
DETAILS = ["notes", "names", "mixes", "section", "sizes"]


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


def hung(bench: Bench, title: str = "Two pears") -> tuple[Panel, Layer]:
    """A panel with a dry layer on, and one to come."""
    panel = bench.panel(title=title)
    bench.painted(panel, 60.0)
    return panel, bench.layer(panel, kind="glaze")


def page(client: TestClient, address: str) -> str:
    return words(client.get(address).text)


def link(client: TestClient, **values: object) -> str:
    given = {"label": "A link", "kind": "page", "scope": "studio", "lasts": "month", **values}
    told = client.get(client.post("/share", data=given).headers["location"]).text
    found = re.search(r'id="address"[^>]*value="http://127\.0\.0\.1(/[^"]+)"', told)
    assert found is not None
    return found[1]


def told_in(client: TestClient, feed: str, what: str, kind: str = "VEVENT") -> Any:
    content = client.get(feed).content
    [found] = [one for one in icalendar.Calendar.from_ical(content).walk(kind) if what in str(one["SUMMARY"])]
    return found


def cut_hours(client: TestClient) -> None:
    found = re.search(r"/plan/hours/[\w-]+/archive", client.get("/plan/hours").text)
    assert found is not None
    assert client.post(found[0], data={"command_key": "c" * 12}).status_code == 303


def taken_again(db: Database, layer: Layer) -> Layer:
    with db.read() as session:
        return session.exec(select(Layer).where(Layer.uid == layer.uid)).one()


def test_hours_that_were_cut_are_told_wherever_the_sitting_is(bare: Bench, client: TestClient, db: Database) -> None:
    panel, _ = hung(bare)
    accepted(client, db)
    places = ("/", "/calendar", "/calendar?view=agenda", f"/panels/{panel.uid}", "/plan/week")
    feed, shared = link(client, kind="feed", shows=["names"]), link(client)
    before = told_in(client, feed, "glaze")
    assert (before["STATUS"], before["SEQUENCE"]) == ("CONFIRMED", 0)
    assert all(NO_ROOM not in page(client, place).lower().replace("mornings", "Mornings") for place in places)
    cut_hours(client)
    for place in places:
        raw = client.get(place).text
        told = words(raw) + " ".join(re.findall(r"<title>([^<]+)</title>", raw))
        assert NO_ROOM in told or NO_ROOM.capitalize().replace("mornings", "Mornings") in told, place
    after = told_in(client, feed, "glaze")
    assert (after["STATUS"], after["SEQUENCE"], after["UID"]) == ("TENTATIVE", 1, before["UID"])
    assert NO_ROOM in after["DESCRIPTION"]
    assert (before["SUMMARY"], after["SUMMARY"]) == (
        f"{panel.title}: glaze, with Mornings",
        f"{panel.title}: glaze was planned, with Mornings",
    )
    for place in ("", "/calendar?view=agenda"):
        told = page(client, shared + place)
        assert "the working hours have no room for it" in told.lower() and "Mornings" not in told, place
        assert "plan anew" not in told  # that is not theirs to do


def test_a_sitting_that_a_rule_stops_for_good_stays_in_the_calendar_with_the_rule(
    bare: Bench, client: TestClient, db: Database
) -> None:
    _, glaze = hung(bare)
    accepted(client, db)
    feed, shared = link(client, kind="feed", shows=DETAILS), link(client, shows=DETAILS)
    uid = told_in(client, feed, "glaze")["UID"]
    change(bare, taken_again(db, glaze), material="acrylic")
    why = r"glaze was planned .*?; a rule stops it then: [^;]+\(R\d+\): plan anew"
    assert re.search(why, page(client, "/calendar?view=agenda"))
    season = client.get("/calendar").text
    assert re.search(rf"<title>{why}</title><svg class=\"cal-pin is-stopped\"", season)
    assert "Planned, but stopped by a rule" in season and 'class="sitting is-to-come"' not in season
    assert "Stopped by a rule On this day a rule stops it" in page(client, "/plan")
    told = told_in(client, feed, "glaze")
    assert (told["STATUS"], told["SEQUENCE"], told["UID"]) == ("CANCELLED", 1, uid)
    assert told["DESCRIPTION"].endswith(
        "it is being thought over\nWhite, mixed in the 30 minutes before"
    ) and "(R" not in str(told)
    assert "it is being thought over" in page(client, f"{shared}/calendar?view=agenda")
    assert not re.search(r"\(R\d+\)", page(client, f"{shared}/calendar?view=agenda"))


def test_a_layer_over_one_that_a_rule_stops_says_that_it_waits_for_it(
    bare: Bench, client: TestClient, db: Database
) -> None:
    panel, glaze = hung(bare)
    top = bare.layer(panel, kind="lights")
    accepted(client, db)
    feed, shared = link(client, kind="feed", shows=DETAILS), link(client, shows=DETAILS)
    change(bare, taken_again(db, glaze), material="acrylic")
    told = page(client, "/plan")
    assert told.count("Stopped by a rule On this day a rule stops it: ") == 1
    why = r"[Ii]t waits for “glaze” below it, which a rule stops: [^(]+\(R\d+\)"
    assert re.search(f"Waits for the layer below {why}\\.", told)
    [plan] = client.get("/api/v1/plans").json()["items"]
    [on] = [one["start_at"][:10] for one in plan["sittings"] if one["layer_uid"] == top.uid]
    assert re.search(why, page(client, f"/plan/week?start={on}"))
    for address in (f"{shared}/calendar", shared):
        assert not re.search(r"\(R\d+\)|it waits for “glaze”", page(client, address))
    assert "(R" not in str(told_in(client, feed, "lights"))
    broken = {one["layer_uid"]: one["broken"] for one in plan["sittings"]}
    assert (broken[glaze.uid]["below"], broken[top.uid]["below"]) == ("", "glaze")
    assert broken[glaze.uid]["rule"] == broken[top.uid]["rule"] != ""


def test_a_panels_own_page_knows_what_is_mixed_for_another_one_under_its_name_of_now(
    bare: Bench, client: TestClient, db: Database
) -> None:
    panels = [hung(bare, title)[0] for title in ("Two pears", "Quinces")]
    accepted(client, db)
    with bare.unit("Called otherwise") as work:
        work.session.get_one(Mix, bare.white.id).label = "Cold white"
    assert "mixed already that day" in page(client, "/plan")
    for panel in panels:
        assert "Holds no more" not in page(client, f"/panels/{panel.uid}")


def test_other_hours_do_not_bring_it_back_before_they_have_room(bare: Bench, client: TestClient, db: Database) -> None:
    hung(bare)
    accepted(client, db)
    cut_hours(client)
    client.post("/plan/hours", data=HOURS | {"start": "19:00", "end": "19:30"})
    assert NO_ROOM in page(client, "/calendar?view=agenda")
    client.post("/plan/hours", data=HOURS)
    assert NO_ROOM not in page(client, "/calendar?view=agenda")


def test_a_plan_made_by_another_time_zones_clock_is_told_and_set_right_by_the_new_one(
    bare: Bench, client: TestClient, db: Database
) -> None:
    """Else the pages would tell the hour as it was planned, and calendars the same moment by the new clock."""
    hung(bare)
    [sitting] = accepted(client, db)
    feed = link(client, kind="feed")
    studio = form_to(client.get("/studio"), "/studio")
    client.post("/studio", data=studio.filled(time_zone="Europe/Berlin"))  # the same hour as in Prague
    assert told_in(client, feed, "glaze")["STATUS"] == "CONFIRMED"
    studio = form_to(client.get("/studio"), "/studio")
    client.post("/studio", data=studio.filled(time_zone="Europe/Lisbon"))
    for place in ("/", "/plan", "/plan/week", "/calendar?view=agenda"):
        assert "by the clock of another time zone" in page(client, place), place
    told = told_in(client, feed, "glaze")
    assert (told["STATUS"], "by the clock of another time zone" in told["DESCRIPTION"]) == ("TENTATIVE", True)
    assert told["DTSTART"].dt == datetime.fromisoformat(sitting["start_at"])
    client.post("/plan/right")
    found = re.search(r"/plan/[\w-]+/accept", client.get("/plan").text)
    assert found is not None
    client.post(found[0])
    assert "by the clock of another time zone" not in page(client, "/plan")
    told = told_in(client, feed, "glaze")
    assert told["STATUS"] == "CONFIRMED" and told["DTSTART"].params["TZID"] == "Europe/Lisbon"
    assert f"at {told['DTSTART'].dt:%H:%M}" in page(client, "/calendar?view=agenda")


def test_what_goes_over_a_missed_sitting_and_cannot_be_ready_by_its_day_is_told_as_well(
    bare: Bench, client: TestClient, app: FastAPI, db: Database
) -> None:
    panel = bare.panel(title="Two pears")
    bare.layer(panel, kind="block-in")
    bare.layer(panel, kind="glaze")
    first, second = accepted(client, db)
    assert "Holds no more" not in page(client, f"/panels/{panel.uid}")
    feed = link(client, kind="feed")
    app.state.clock = lambda: datetime.fromisoformat(first["start_at"]) + timedelta(days=3)
    told = told_in(client, feed, "glaze")
    assert (told["STATUS"], told["DTSTART"].dt) == ("TENTATIVE", datetime.fromisoformat(second["start_at"]))
    assert "by the forecast it may go on only from" in told["DESCRIPTION"]
    for place in ("/plan", "/calendar?view=agenda", f"/panels/{panel.uid}"):
        assert "y the forecast it may go on only from" in page(client, place), place
