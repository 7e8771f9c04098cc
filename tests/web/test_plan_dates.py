"""The planner's own dates on pages: stored as it writes them, told as the studio tells its days and hours."""

from datetime import date, datetime, timedelta

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from server.planning.schedule import reader
from server.services.plan_reading import sittings_of
from server.store.db import Database
from server.store.tables import Studio, StudioPlan, WorkTime
from server.web import hours_words, plan_words
from server.web.manner import Manner, told_as
from server.web.render import told
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.test_plan import late_panel, make, the_plan, words

TODAY = date(2026, 11, 29)
AMERICAN = Manner(date_order="mdy", clock="12")
ISO = Manner(date_order="ymd")
DUTCH = Manner(date_order="mdy", clock="12", language="nl")
READY = "“first” is ready by Monday 7 December 2026; nobody works until Tuesday 8 December 2026, 13:30"


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


@pytest.mark.parametrize(
    ("manner", "stored", "shown"),
    [
        (Manner(), READY, "“first” is ready by Monday 7 December; nobody works until Tuesday 8 December, 13:30"),
        (AMERICAN, READY, "“first” is ready by Monday, December 7; nobody works until Tuesday, December 8, 1:30 pm"),
        (ISO, READY, "“first” is ready by Monday 2026-12-07; nobody works until Tuesday 2026-12-08, 13:30"),
        (AMERICAN, "Agree on 14 January 2027 instead", "Agree on January 14, 2027 instead"),
        (ISO, "Agree on 14 January 2027 instead", "Agree on 2027-01-14 instead"),
        (AMERICAN, "Work on Saturday 2 January 2027", "Work on Saturday, January 2, 2027"),
        # Names in quotation marks, days that are none, and those with another weekday stay.
        (AMERICAN, "straight after “Monday 7 December 2026”", "straight after “Monday 7 December 2026”"),
        (AMERICAN, "until Friday 7 December 2026", "until Friday 7 December 2026"),
        (AMERICAN, "until 31 February 2027, 25:00", "until 31 February 2027, 25:00"),
        (
            DUTCH,
            READY,
            "“first” is uiterlijk maandag, december 7 klaar; er werkt niemand tot dinsdag, december 8, 1:30 pm",
        ),
        (Manner(language="nl"), "Work on Saturday 5 December 2026", "Werken op zaterdag 5 december"),
        (ISO, "glaze: ready 4 December 2026", "glaze: ready December 4"),  # as every page tells days of this year
    ],
)
def test_days_in_stored_texts_are_told_in_the_studios_manner(manner: Manner, stored: str, shown: str) -> None:
    with told_as(manner):
        assert told(plan_words.option_words(stored, TODAY)) == shown


def test_every_day_is_read_as_the_planner_writes_it() -> None:
    with told_as(AMERICAN):
        for n in range(400):
            at = datetime(2026, 12, 1, 9, 5) + timedelta(days=n, hours=n % 14)  # noqa: DTZ001
            read = plan_words.dates_words(f"could be painted from {reader.when(at)}; the panel", date(2020, 1, 1))
            assert read == f"could be painted from {at:%A}, {at:%B} {at.day}, {at.year}, {clock(at)}; the panel"


def clock(at: datetime) -> str:
    return f"{at.hour % 12 or 12}:{at:%M} {'am' if at.hour < 12 else 'pm'}"


def test_a_label_of_the_history_keeps_its_year_and_the_names_in_it() -> None:
    with told_as(AMERICAN):
        moved = plan_words.label_words(
            "Asked for the glaze of “One” on Thursday 26 November 2026, pinned there: a plan to look at"
        )
        assert moved == "Asked for the glaze of “One” on Thursday, November 26, 2026, pinned there: a plan to look at"
        assert plan_words.label_words("View, 3 May 2026: painted") == "View, 3 May 2026: painted"
        agreed = plan_words.label_words("View, 3 May 2026: agree on 14 January 2027 instead")
        assert agreed == "View, 3 May 2026: agree on January 14, 2027 instead"
        assert plan_words.label_words("View: agree on 31 June 2027 instead") == "View: agree on 31 June 2027 instead"


def test_hours_are_told_by_the_studios_clock() -> None:
    row = WorkTime(studio_id=1, painter="Ada", weekdays="12345", start_min=540, end_min=810)
    assert hours_words.time_words(row) == "09:00 to 13:30"
    with told_as(AMERICAN):
        assert hours_words.time_words(row) == "9:00 am to 1:30 pm"


def test_pages_tell_a_plan_in_one_manner(bare: Bench, client: TestClient, db: Database) -> None:
    """Page, week's sheet and Today of a plan with reasons, an option, a refusal and hours, in a studio of mdy."""
    late_panel(bare)
    with bare.unit() as work:
        studio = work.session.get_one(Studio, bare.actor.studio_id)
        studio.date_order, studio.clock = "mdy", "12"
    make(client)
    proposal = words(client.get("/plan").text)
    assert "Agree on " in proposal
    uid = the_plan(db).uid
    client.post(f"/plan/{uid}/accept")
    with db.read() as session:
        plan = session.exec(select(StudioPlan).where(StudioPlan.uid == uid)).one()
        sittings = sittings_of(plan.content_json or {})
    second = sittings[1]
    assert any(f"{second.on.year}" in one.why for one in sittings)  # stored with dates
    refused = client.post("/plan/right", data={"event": "earlier", "layer_uid": second.uid})
    pages = [proposal, words(client.get("/plan").text), words(client.get(f"/plan/week?start={second.on}").text)]
    for text in (*pages, words(refused.text), words(client.get("/plan/hours").text)):
        assert not plan_words._DATE.search(text), plan_words._DATE.search(text)
        assert "09:00" not in text
    assert NOW.date() < second.on
