"""The plan over HTTP: hours, one button, a plan to look at, taken or left, pinned, as a week's sheet."""

import re
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, as_completed
from datetime import date, datetime, timedelta, timezone
from functools import partial
from html import unescape
from itertools import islice
from pathlib import Path

import pytest
from sqlmodel import col, select
from starlette.testclient import TestClient

from server.services import planning_make, planning_search
from server.services.board.plan_standing import PlanNow
from server.services.errors import Refused
from server.services.plan_reading import PlannedSitting
from server.services.search_pool import MOST_WAITING, SearchPool
from server.store.db import Database
from server.store.tables import ChangeSet, Layer, Name, Panel, Place, StudioPlan
from server.web import plan_shown, plan_words
from tests.services.board_studio import hang
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.pages_of_records import NOBODY

HOURS = {"painter": "Mornings", "weekdays": "12345", "on_date": "", "rule": "", "start": "09:00", "end": "12:30"}
MAKE = {"easels": "2", "rack_places": "12", "mix_setup_min": "30"}


@pytest.fixture
def bench(db: Database) -> Bench:
    made = make_bench(db)
    hang(made, 3)
    return made


@pytest.fixture
def bare(db: Database) -> Bench:
    """A studio without panels. Ask for it before the client."""
    return make_bench(db)


def words(text: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", text)))


def planned(db: Database) -> dict[str, date | None]:
    with db.read() as session:
        return {layer.uid: layer.planned_on for layer in session.exec(select(Layer)) if layer.painted_at is None}


def the_plan(db: Database) -> StudioPlan:
    with db.read() as session:
        return next(p for p in session.exec(select(StudioPlan)) if p.archived_at is None)


def make(client: TestClient) -> None:
    assert client.post("/plan/hours", data=HOURS).status_code == 303
    assert client.post("/plan/make", data=MAKE).status_code == 303


def test_a_sitting_years_away_is_told_without_its_hour_and_names_stay_names() -> None:
    told = {"id": "a", "panel": "p", "title": "Today", "kind": "glaze", "painter": "Everybody", "palette": None}
    times = {"start_at": "2031-10-24T09:30:00+01:00", "end_at": "2031-10-24T11:00:00+01:00", "set_up_min": 0}
    content = {"sittings": [told | times | {"why": "straight after", "may_slip_to": times["start_at"]}]}
    row = StudioPlan(studio_id=1, content_json=content | {"made_on": "2026-11-24"})
    near, far = (plan_shown.shown(row, PlanNow(to_come={"a": None}), date(year, 10, 20)) for year in (2031, 2026))
    assert near is not None and far is not None
    assert near.days[0].sittings[0].hours == "09:30 to 11:00" and far.days[0].sittings[0].hours == ""
    assert isinstance(far.days[0].sittings[0].plan.painter, Name)


def test_without_hours_the_page_asks_for_them_and_no_plan_is_made(bench: Bench, client: TestClient) -> None:
    assert "Nobody has working hours yet" in client.get("/plan").text
    refused = client.post("/plan/make", data=MAKE)
    assert refused.status_code == 409
    assert "Say first when you paint" in refused.text


@pytest.mark.parametrize(
    ("field", "value"),
    [("painter", ""), ("start", "9 o'clock"), ("end", "08:00"), ("rule", "sometimes"), ("on_date", "2026-12-24")],
)
def test_a_fault_in_the_hours_stands_at_its_field(bench: Bench, client: TestClient, field: str, value: str) -> None:
    answer = client.post("/plan/hours", data=HOURS | {field: value})
    assert answer.status_code == 422
    assert 'aria-invalid="true"' in answer.text


@pytest.mark.parametrize("rule", ["FREQ=WEEKLY;INTERVAL=0;BYDAY=MO", "FREQ=MONTHLY;BYDAY=+99MO", "sometimes"])
def test_a_rule_that_is_none_is_told_in_a_sentence_and_not_kept(client: TestClient, rule: str) -> None:
    answer = client.post("/plan/hours", data=HOURS | {"weekdays": "", "rule": rule})
    assert answer.status_code == 422
    assert "This write" not in answer.text and 'id="e-rule"' in answer.text
    assert "Nobody has working hours yet" in answer.text


def test_hours_by_rule_and_for_one_day_are_told_in_words(client: TestClient) -> None:
    client.post("/plan/hours", data=HOURS | {"weekdays": "", "rule": "FREQ=WEEKLY;INTERVAL=2;BYDAY=SA"})
    client.post("/plan/hours", data=HOURS | {"weekdays": "", "on_date": "2026-12-24", "start": "", "end": ""})
    client.post("/plan/hours", data=HOURS | {"weekdays": "", "rule": "FREQ=YEARLY;BYWEEKNO=2,40;BYDAY=SU"})
    told = words(client.get("/plan/hours").text)
    assert "Every second Saturday, from 25 November, 09:00 to 12:30" in told
    assert "By the rule FREQ=YEARLY;BYWEEKNO=2,40;BYDAY=SU, from 25 November, 09:00 to 12:30" in told
    assert "On 24 December, no work" in told


def test_a_plan_changes_nothing_until_it_is_taken(bench: Bench, client: TestClient, db: Database) -> None:
    make(client)
    assert set(planned(db).values()) == {None}
    told = words(client.get("/plan").text)
    assert "A plan to look at" in told and "Why this day?" in told and "can be delivered" in told
    plan = the_plan(db)
    assert client.post(f"/plan/{plan.uid}/accept").status_code == 303
    days = planned(db)
    assert None not in days.values() and len(days) == 6
    assert {s["id"] for s in (the_plan(db).content_json or {})["sittings"]} == set(days)
    assert "The plan in use" in client.get("/plan").text


def test_planning_again_moves_nothing_by_itself_and_a_pin_holds(bench: Bench, client: TestClient, db: Database) -> None:
    make(client)
    client.post(f"/plan/{the_plan(db).uid}/accept")
    before = planned(db)
    plan = the_plan(db)
    last = (plan.content_json or {})["sittings"][-1]["id"]
    assert client.post(f"/plan/{plan.uid}/pin/{last}", data={"pinned": "yes"}).status_code == 303
    client.post("/plan/make", data=MAKE)
    assert "No sitting changes its day, its time or its painter." in client.get("/plan").text
    assert planned(db) == before
    with db.read() as session:
        waiting = next(p for p in session.exec(select(StudioPlan)) if p.accepted_at is None and p.archived_at is None)
    assert [s["id"] for s in (waiting.content_json or {})["sittings"] if s["pinned"]] == [last]


def test_the_week_lists_its_sittings(bench: Bench, client: TestClient, db: Database) -> None:
    make(client)
    client.post(f"/plan/{the_plan(db).uid}/accept")
    first = min(day for day in planned(db).values() if day is not None)
    assert "Panel" in client.get(f"/plan/week?start={first.isoformat()}").text
    assert "Nothing is planned this week" in client.get(f"/plan/week?start={NOW.date() - timedelta(days=21)}").text
    assert client.get("/plan/week?start=nonsense").status_code == 200


def accepted(client: TestClient, db: Database) -> list[dict[str, str]]:
    """Make a plan, take it, and answer its sittings as they are stored, by their times."""
    make(client)
    client.post(f"/plan/{the_plan(db).uid}/accept")
    return sorted((the_plan(db).content_json or {})["sittings"], key=lambda s: s["start_at"])


def test_sittings_stand_with_their_times_on_today_in_the_calendar_and_on_their_panel(
    bench: Bench, client: TestClient, db: Database
) -> None:
    sitting = accepted(client, db)[0]
    start, clock = sitting["start_at"][:10], sitting["start_at"][11:16]
    day = words(client.get(f"/?on={start}").text)
    assert f"{clock} to" in day and "with Mornings" in day and "Why this day?" in day
    assert plan_words.dates_words(sitting["why"], NOW.date())[1:] in day
    assert f"at {clock}, with Mornings" in words(client.get("/").text)  # the next one, and the panel's card
    for view in ("agenda", "week", "season"):
        shown = client.get(f"/calendar?view={view}&start={start}").text
        assert f"at {clock}, with Mornings. Why this day?" in unescape(shown)


def test_the_agenda_has_the_sittings_of_a_day_in_the_order_of_their_times(
    bench: Bench, client: TestClient, db: Database
) -> None:
    days = [sitting["start_at"][:10] for sitting in accepted(client, db)]
    seen = 0
    for day in set(days):
        section = client.get(f"/calendar?view=agenda&start={day}").text.partition('class="agenda-day"')[2]
        told = words(section.partition("</section>")[0])
        clocks = re.findall(r": at (\d\d:\d\d), with Mornings", told)  # the day itself is the heading's
        assert clocks == sorted(clocks) and len(clocks) == days.count(day), (day, told)
        seen += len(clocks)
    assert seen == len(days)


def test_a_sitting_years_ahead_is_told_by_its_month() -> None:
    at = datetime(2031, 11, 17, 9, 30, tzinfo=timezone.utc)
    sitting = PlannedSitting("u", "p", "Storm", "glaze", "Ada", at, at, "Rain glaze", 30, "", at, False)
    assert plan_words.when_words(sitting, date(2026, 11, 28)) == "about November 2031"
    assert plan_words.when_words(sitting, date(2031, 11, 1)) == "17 November at 09:30, with Ada"


def test_a_sitting_whose_day_was_changed_by_hand_stands_no_more(bench: Bench, client: TestClient, db: Database) -> None:
    sitting = accepted(client, db)[0]
    with bench.unit("Moved a layer by hand") as work:
        layer = work.session.exec(select(Layer).where(Layer.uid == sitting["id"])).one()
        assert layer.planned_on is not None
        layer.planned_on += timedelta(days=1)
    assert f"{sitting['start_at'][11:16]} to" not in words(client.get(f"/?on={sitting['start_at'][:10]}").text)


def test_the_week_tells_what_to_mix_in_all_for_palettes_of_one_day_and_what_to_press(
    bare: Bench, client: TestClient
) -> None:
    """Derived: two panels of 30 x 40 cm take the same mix at the same thickness, so the day takes twice one panel's."""
    for title in ("North", "South"):
        bare.layer(bare.panel(title=title), sitting_min=30)
    bare.layer(bare.panel(title="Wet one"), painted_at=NOW - timedelta(hours=3))
    client.post("/plan/hours", data=HOURS)
    client.post("/plan/make", data=MAKE)
    plan = re.search(r"/plan/([\w-]+)/accept", client.get("/plan").text)
    assert plan is not None
    client.post(f"/plan/{plan[1]}/accept")
    weeks = [NOW.date(), NOW.date() + timedelta(7), NOW.date() + timedelta(14)]

    def sheets(whose: str = "") -> str:
        return words(" ".join(client.get(f"/plan/week?start={day}&painter={whose}").text for day in weeks))

    sheet = sheets()
    found = re.search(r"([\d.]+)\s*ml North\s*([\d.]+)\s*ml; South\s*([\d.]+)\s*ml", sheet)
    assert found is not None, sheet
    assert float(found[2]) == float(found[3]) and float(found[1]) == pytest.approx(
        2 * float(found[2]), abs=0.5
    )  # told to two figures
    assert sheet.count("mix it in the") == 1
    assert re.search(r"Press Wet one : \S+", sheet)
    mine, nobody = sheets("Mornings"), sheets("Nobody")
    assert "Mornings: week of" in mine and "Press Wet one" in mine
    assert "to mix" not in nobody.lower() and "North" not in nobody


def test_left_aside_and_unknown(bench: Bench, client: TestClient, db: Database) -> None:
    make(client)
    plan = the_plan(db)
    assert client.post(f"/plan/{plan.uid}/dismiss").status_code == 303
    assert client.post(f"/plan/{plan.uid}/accept").status_code == 409
    assert "A plan to look at" not in client.get("/plan").text
    for address in (f"/plan/{NOBODY}/accept", f"/plan/{NOBODY}/dismiss", f"/plan/hours/{NOBODY}/archive"):
        assert client.post(address).status_code == 404


def test_a_tab_left_open_neither_puts_away_nor_pins_what_is_no_longer_so(
    bench: Bench, client: TestClient, db: Database
) -> None:
    make(client)
    first = the_plan(db)
    sitting = (first.content_json or {})["sittings"][0]["id"]
    assert client.post(f"/plan/{first.uid}/pin/{sitting}", data={"pinned": "yes"}).status_code == 409  # not in use yet
    client.post(f"/plan/{first.uid}/accept")
    late = client.post(f"/plan/{first.uid}/dismiss")
    assert late.status_code == 409 and "was taken meanwhile" in late.text
    assert client.post(f"/plan/{first.uid}/pin/{NOBODY}", data={"pinned": "yes"}).status_code == 409
    client.post("/plan/make", data=MAKE)
    with db.read() as session:
        second = next(p for p in session.exec(select(StudioPlan)) if p.accepted_at is None)
    client.post(f"/plan/{second.uid}/accept")
    late = client.post(f"/plan/{first.uid}/pin/{sitting}", data={"pinned": "yes"})
    assert late.status_code == 409 and "not the one in use" in late.text


def test_however_often_a_plan_is_asked_for_pages_are_answered(
    bench: Bench, client: TestClient, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """All processes search, as many as may wait do, the others are turned away; every page asked for meanwhile comes
    before a single search has ended."""
    pool = SearchPool(2)
    monkeypatch.setattr(planning_make, "SEARCHES", pool)
    monkeypatch.setattr(planning_make, "work_out_told", partial(search_on, tmp_path))
    client.post("/plan/hours", data=HOURS)
    at_work = 2 + MOST_WAITING
    with ThreadPoolExecutor(50) as threads:
        asked = [threads.submit(client.post, "/plan/make", data=MAKE) for _ in range(50)]
        back = [each.result() for each in islice(as_completed(asked, timeout=60), 50 - at_work)]
        pages = [client.get(address).status_code for address in ("/", "/panels", "/calendar", "/plan") * 10]
        assert pages == [200] * 40 and sum(not each.done() for each in asked) == at_work
        (tmp_path / "may-end").touch()
        ended = [each.result() for each in asked if each.result() not in back]
    pool.close()
    assert all(answer.status_code == 409 and "Several plans" in answer.text for answer in back)
    assert all("The search was let go" in answer.text for answer in ended) and len(ended) == at_work


def search_on(folder: Path, _asked: object, _effort: object, told: Callable[[object], bool]) -> None:
    while told(None) and not (folder / "may-end").exists():
        time.sleep(0.01)
    raise Refused("The search was let go.")


@pytest.mark.parametrize(("wet", "places", "says"), [(4, 2, "until 2 are touch-dry"), (2, 2, "until 1 is"), (1, 2, "")])
def test_a_full_rack_says_when_a_new_panel_may_be_started(
    bare: Bench, client: TestClient, wet: int, places: int, says: str
) -> None:
    """Derived: as many as lie beyond the rack's places, and one where it is just full."""
    for number in range(wet):
        bare.layer(bare.panel(title=f"Wet {number}"), painted_at=NOW - timedelta(hours=3))
    bare.layer(bare.panel(title="To be planned"))
    client.post("/plan/hours", data=HOURS)
    client.post("/plan/make", data=MAKE | {"rack_places": str(places)})
    told = words(client.get("/plan").text)
    assert says in told
    assert ("The rack is full" in told) == bool(says)


def late_panel(bare: Bench, title: str = "Late one", **facts: object) -> str:
    """A panel of three layers that is due in two weeks: too soon for its drying. Returns its uid."""
    panel = bare.panel(title=title, due_on=NOW.date() + timedelta(days=14), **facts)
    for kind in ("underpainting", "second painting", "glaze"):
        bare.layer(panel, kind=kind, thickness_preset=None, wet_thickness_um=120, sitting_min=60)
    return panel.uid


def offered(client: TestClient) -> dict[str, str]:
    """What the plan page offers: the key of each option with the address that does it."""
    text = client.get("/plan").text
    found = re.findall(r'action="(/plan/[\w-]+/apply/[\w-]+)".*?name="key" value="([^"]+)"', text, re.DOTALL)
    return {unescape(key): address for address, key in found}


def test_what_is_offered_for_a_late_panel_is_done_by_one_tap_and_undone_by_one(
    bare: Bench, client: TestClient, db: Database
) -> None:
    uid = late_panel(bare)
    make(client)
    before = the_plan(db).content_json or {}
    told = next(p for p in before["panels"] if p["id"] == uid)
    assert told["late_d"] > 0
    keys = offered(client)
    thin = next(key for key in keys if key.startswith("thinner:"))
    promised = next(o for o in told["options"] if o["key"] == thin)
    done = client.post(keys[thin], data={"key": thin, "command_key": "tap-1"})
    assert done.status_code == 303 and done.headers["location"].startswith("/plan")
    layer_uid, um = thin.split(":")[1:]
    with db.read() as session:
        layer = session.exec(select(Layer).where(Layer.uid == layer_uid)).one()
        assert layer.wet_thickness_um == float(um) < 120
    after = next(p for p in (the_plan(db).content_json or {})["panels"] if p["id"] == uid)
    assert after["finish_on"] == promised["finish_on"]  # alone in the studio, what was tried is what comes
    with db.read() as session:
        change = session.exec(select(ChangeSet).order_by(col(ChangeSet.id).desc())).first()
        assert change is not None and change.label.startswith("Late one: lay")
    client.post(f"/history/{change.uid}/undo")
    with db.read() as session:
        layer = session.exec(select(Layer).where(Layer.uid == layer_uid)).one()
        assert layer.wet_thickness_um == 120
    assert (the_plan(db).content_json or {})["panels"] == before["panels"]


def test_every_option_comes_to_the_day_it_was_offered_with(bare: Bench, client: TestClient, db: Database) -> None:
    """With one panel alone nothing stands in the way, so the plan with it must come to the day that was tried."""
    with bare.db.write() as session:
        session.add(Place(studio_id=bare.actor.studio_id, name="Warm room", light="room", temperature_c=27))
    uid = late_panel(bare)
    make(client)
    keys = offered(client)
    kinds = {key.partition(":")[0] for key in keys}
    assert {"thinner", "place", "drop", "due"} <= kinds
    told = {o["key"]: o for p in (the_plan(db).content_json or {})["panels"] if p["id"] == uid for o in p["options"]}
    for key in keys:
        address = offered(client)[key]
        assert client.post(address, data={"key": key}).status_code == 303
        plan = next(p for p in (the_plan(db).content_json or {})["panels"] if p["id"] == uid)
        assert plan["finish_on"] == told[key]["finish_on"], key
        with db.read() as session:
            change = session.exec(select(ChangeSet).order_by(col(ChangeSet.id).desc())).first()
        assert change is not None
        client.post(f"/history/{change.uid}/undo")


def test_what_is_not_offered_is_not_done(bare: Bench, client: TestClient, db: Database) -> None:
    uid = late_panel(bare)
    make(client)
    plan = the_plan(db).uid
    last = (the_plan(db).content_json or {})["sittings"][-1]["id"]
    for key in (f"drop:{last}", "", "nonsense", "due:2020-01-01", f"thinner:{last}:1"):
        refused = client.post(f"/plan/{plan}/apply/{uid}", data={"key": key})
        assert refused.status_code == 409 and "was not offered" in refused.text
    assert client.post(f"/plan/{NOBODY}/apply/{uid}", data={"key": "wait"}).status_code == 404


def test_an_old_tab_does_not_do_what_was_tried_before_things_changed(
    bare: Bench, client: TestClient, db: Database
) -> None:
    late_panel(bare)
    make(client)
    client.post(f"/plan/{the_plan(db).uid}/accept")
    old = offered(client)
    thin = next(key for key in old if key.startswith("thinner:"))
    with bare.unit("Another day by hand") as work:
        first = work.session.exec(select(Layer).where(Layer.kind == "underpainting")).one()
        assert first.planned_on is not None
        first.planned_on += timedelta(days=9)
    assert offered(client) == {}
    refused = client.post(old[thin], data={"key": thin})
    assert refused.status_code == 409 and "something changed since" in refused.text
    with db.read() as session:
        assert {layer.wet_thickness_um for layer in session.exec(select(Layer))} == {120}
    with bare.unit("And back") as work:
        first = work.session.exec(select(Layer).where(Layer.kind == "underpainting")).one()
        assert first.planned_on is not None
        first.planned_on -= timedelta(days=9)
    assert client.post(old[thin], data={"key": thin}).status_code == 303


def plans(db: Database) -> list[StudioPlan]:
    with db.read() as session:
        return [plan for plan in session.exec(select(StudioPlan)) if plan.archived_at is None]


def sitting_days(db: Database) -> dict[str, str]:
    with db.read() as session:
        plans = [p for p in session.exec(select(StudioPlan)) if p.archived_at is None]
    newest = max(plans, key=lambda p: p.id or 0)
    return {s["id"]: s["start_at"][:10] for s in (newest.content_json or {})["sittings"]}


def hours_now(client: TestClient) -> str:
    """The working hours as they are, without what was changed of them."""
    return words(re.sub(r"(?s)<details.*?</details>", "", client.get("/plan/hours").text))


def test_a_lost_day_is_set_right_by_one_tap_and_taken_back_by_one(
    bench: Bench, client: TestClient, db: Database
) -> None:
    accepted(client, db)
    before, today = sitting_days(db), NOW.date().isoformat()
    of_today = {uid for uid, day in before.items() if day == today}
    assert client.post("/plan/right", data={"event": "no_painting", "command_key": "ill"}).status_code == 303
    after = sitting_days(db)
    assert not any(day == today for day in after.values())
    moved = {uid for uid in before if after[uid] != before[uid]}
    assert of_today <= moved and len(moved - of_today) <= 12
    assert ", no work" in words(client.get("/plan/hours").text)
    assert ("becomes" in words(client.get("/plan").text)) == bool(moved)
    assert planned(db).keys() >= before.keys()  # the plan in use stands until the other is taken
    with db.read() as session:
        change = session.exec(select(ChangeSet).order_by(col(ChangeSet.id).desc())).first()
    assert change is not None and "No painting today" in change.label
    client.post(f"/history/{change.uid}/undo")
    assert ", no work" not in hours_now(client)
    client.post("/plan/right", data={"event": "no_painting"})
    client.post("/plan/right", data={"event": "no_painting"})  # said twice: the day is closed once
    assert hours_now(client).count(", no work") == 1


def test_a_commission_that_came_since_is_told_and_taken_in(bench: Bench, client: TestClient, db: Database) -> None:
    accepted(client, db)
    assert "Not in the plan in use yet" not in client.get("/plan").text
    panel = bench.panel(title="A new commission")
    layer = bench.layer(panel, kind="block-in", sitting_min=60)
    for address in ("/plan", "/"):
        told = words(client.get(address).text)
        assert "Not in the plan in use yet, with layers to come: A new commission ." in told
        assert told.count("Set the plan right") == 1
    before = sitting_days(db)
    client.post("/plan/right")
    after = sitting_days(db)
    assert layer.uid in after and sum(after[uid] != day for uid, day in before.items()) <= 12


def test_any_day_of_the_plan_is_left_free_by_its_button(bench: Bench, client: TestClient, db: Database) -> None:
    accepted(client, db)
    before = sitting_days(db)
    last = max(before.values())
    assert f'name="on" value="{last}"' in client.get("/plan").text
    assert client.post("/plan/right", data={"event": "no_painting", "on": last}).status_code == 303
    assert last not in sitting_days(db).values()
    assert ", no work" in words(client.get("/plan/hours").text)
    over = client.post("/plan/right", data={"event": "no_painting", "on": "2026-11-01"})
    assert over.status_code == 409 and "This day is over" in over.text


def test_a_sitting_is_moved_by_buttons_and_stays_there(bench: Bench, client: TestClient, db: Database) -> None:
    """A working day later, held there; the plan in use stands until the other is taken."""
    accepted(client, db)
    before = sitting_days(db)
    in_use = the_plan(db).uid
    uid, day = max(before.items(), key=lambda item: item[1])
    assert client.post("/plan/right", data={"event": "later", "layer_uid": uid}).status_code == 303
    after, moved = sitting_days(db), date.fromisoformat(day) + timedelta(days=1)
    while moved.isoweekday() > 5:
        moved += timedelta(days=1)
    assert after[uid] == moved.isoformat()
    [proposal] = [plan for plan in plans(db) if plan.uid != in_use]
    assert next(s for s in (proposal.content_json or {})["sittings"] if s["id"] == uid)["pinned"]
    assert "becomes" in words(client.get("/plan").text)
    client.post(f"/plan/{proposal.uid}/accept")
    client.post("/plan/right", data={"event": "earlier", "layer_uid": uid})
    assert sitting_days(db)[uid] == day


@pytest.mark.parametrize(
    ("given", "status"),
    [
        ({"event": "later", "layer_uid": NOBODY}, 409),
        ({"event": "later"}, 409),
        ({"event": "sideways"}, 422),
        ({"event": "no_painting", "on": "soon"}, 422),
    ],
)
def test_a_move_that_cannot_be_changes_nothing(
    bench: Bench, client: TestClient, db: Database, given: dict[str, str], status: int
) -> None:
    accepted(client, db)
    before = sitting_days(db)
    answer = client.post("/plan/right", data=given)
    assert answer.status_code == status and "Nothing was changed" in answer.text
    assert sitting_days(db) == before and len(plans(db)) == 1


def test_no_sitting_is_moved_to_before_the_layer_below_it_is_ready(
    bare: Bench, client: TestClient, db: Database
) -> None:
    late_panel(bare)
    accepted(client, db)
    second = sorted(sitting_days(db).items(), key=lambda item: item[1])[1][0]
    for _ in range(20):
        answer = client.post("/plan/right", data={"event": "earlier", "layer_uid": second})
        if answer.status_code != 303:
            break
        client.post(f"/plan/{max(plans(db), key=lambda plan: plan.id or 0).uid}/accept")
    assert answer.status_code == 409 and "Nothing was changed" in answer.text


def test_a_reason_names_the_panel_of_another_panels_sitting(bare: Bench, client: TestClient, db: Database) -> None:
    """Two sittings of which a morning holds one: the second says with what the time before is full."""
    for title in ("First one", "Second one"):
        bare.layer(bare.panel(title=title), kind="block-in", sitting_min=150)
    make(client)
    whys = [s["why"] for s in (the_plan(db).content_json or {})["sittings"]]
    assert any("“block-in” of “First one”" in why or "“block-in” of “Second one”" in why for why in whys), whys


def test_a_missed_sitting_is_told_on_today_and_set_right(
    bench: Bench, client: TestClient, db: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    expected: list[bool] = []
    monkeypatch.setattr(planning_search, "expect", lambda *_: expected.append(True))
    sitting = accepted(client, db)[0]
    with bench.unit("A day went by") as work:
        layer = work.session.exec(select(Layer).where(Layer.uid == sitting["id"])).one()
        plan = next(p for p in work.session.exec(select(StudioPlan)) if p.archived_at is None)
        late = (NOW - timedelta(days=1)).replace(hour=9, minute=30, second=0, microsecond=0).isoformat()
        layer.planned_on = NOW.date() - timedelta(days=1)
        content = dict(plan.content_json or {})
        content["sittings"] = [
            s | {"start_at": late, "end_at": late} if s["id"] == sitting["id"] else s for s in content["sittings"]
        ]
        plan.content_json = content
    expected.clear()
    client.get("/?on=2026-01-01")
    assert expected == []  # another day offers nothing to be set right
    assert "does not hold any more for 1 panel" in words(client.get("/").text)
    assert expected == [True]  # a process to search with is had ready, as on the pages of the plan
    client.post("/plan/right")
    assert sitting_days(db)[sitting["id"]] >= NOW.date().isoformat()


def test_without_a_plan_there_is_nothing_to_set_right(bench: Bench, client: TestClient) -> None:
    refused = client.post("/plan/right")
    assert refused.status_code == 409 and "No plan is in use" in refused.text


def away(client: TestClient, first: str, last: str) -> None:
    answer = client.post("/plan/hours/away", data={"painter": "", "from_on": first, "until_on": last})
    assert answer.status_code == 303


BROKEN = "The plan does not hold any more for {}."


def test_an_illness_over_planned_sittings_is_told_on_today_and_on_plan_and_set_right(
    bench: Bench, client: TestClient, db: Database
) -> None:
    """Derived: every sitting of these days is outside the hours; those of other days are as they were."""
    sittings = accepted(client, db)
    days = sorted({s["start_at"][:10] for s in sittings})
    assert all("does not hold" not in words(client.get(page).text) for page in ("/", "/plan"))
    first, last = days[1], days[-1]
    hit = {s["id"]: s["panel"] for s in sittings if first <= s["start_at"][:10] <= last}
    away(client, first, last)
    panels = len(set(hit.values()))
    told = BROKEN.format(f"{panels} panel{'s' if panels > 1 else ''}")
    for page in ("/", "/plan"):
        text = client.get(page).text
        assert told in words(text) and len(re.findall(r"Set the plan right\s*</button>", text)) == 1, page
    assert client.post("/plan/right").status_code == 303
    today = client.get("/").text
    assert told in words(today) and "A plan waits for your answer" in today
    assert not re.search(r"Set the plan right\s*</button>", today)  # the plan that waits does so already
    after = sitting_days(db)
    assert all(not first <= after[uid] <= last for uid in hit)
    newest = max(plans(db), key=lambda plan: plan.id or 0)
    client.post(f"/plan/{newest.uid}/accept")
    assert all("does not hold" not in words(client.get(page).text) for page in ("/", "/plan"))


@pytest.mark.parametrize(("cut_min", "holds"), [((0, 0), True), ((1, 0), False), ((0, 1), False)])
def test_hours_cut_short_so_that_a_sitting_or_its_mixing_has_no_room_are_told(
    bare: Bench, client: TestClient, db: Database, cut_min: tuple[int, int], holds: bool
) -> None:
    """Derived: hours that just hold a sitting with the mixing before it leave the plan whole, a minute less not."""
    bare.layer(bare.panel(title="Only one"), kind="block-in", sitting_min=60)
    [sitting] = accepted(client, db)
    assert int(sitting["set_up_min"]) == 30
    begin = datetime.fromisoformat(sitting["start_at"]) - timedelta(minutes=30 - cut_min[0])
    end = datetime.fromisoformat(sitting["end_at"]) - timedelta(minutes=cut_min[1])
    day = {"weekdays": "", "on_date": f"{begin:%Y-%m-%d}", "start": f"{begin:%H:%M}", "end": f"{end:%H:%M}"}
    assert client.post("/plan/hours", data=HOURS | day).status_code == 303
    assert ("does not hold" not in words(client.get("/").text)) == holds


def test_a_panel_is_not_said_to_be_on_course_by_a_plan_whose_sittings_lie_outside_the_hours(
    bare: Bench, client: TestClient, db: Database
) -> None:
    panel = bare.panel(title="Far date", due_on=NOW.date() + timedelta(days=300))
    bare.layer(panel, kind="block-in", sitting_min=60)
    day = accepted(client, db)[0]["start_at"][:10]
    assert "by the plan" in words(client.get(f"/panels/{panel.uid}").text)
    away(client, day, day)
    assert "by the plan" not in words(client.get(f"/panels/{panel.uid}").text)


def test_a_pinned_sitting_outside_the_hours_is_named_since_setting_right_leaves_it(
    bare: Bench, client: TestClient, db: Database
) -> None:
    bare.layer(bare.panel(title="Held one"), kind="block-in", sitting_min=60)
    sitting = accepted(client, db)[0]
    client.post(f"/plan/{the_plan(db).uid}/pin/{sitting['id']}", data={"pinned": "yes"})
    away(client, sitting["start_at"][:10], sitting["start_at"][:10])
    for page in ("/", "/plan"):
        told = words(client.get(page).text)
        assert "A pinned sitting lies outside the working hours: Held one" in told and "does not hold" not in told
    client.post(f"/plan/{the_plan(db).uid}/pin/{sitting['id']}", data={"pinned": "no"})
    assert BROKEN.format("1 panel") in words(client.get("/").text)


def test_odds_and_lateness_of_the_plan_in_use_are_those_of_now_on_every_page(
    bare: Bench, client: TestClient, db: Database
) -> None:
    """Derived: a date set days before the plan's own finish is late by as many; the plan stays as it was stored."""
    panel = bare.panel(title="Moved date", due_on=NOW.date() + timedelta(days=300))
    bare.layer(panel, kind="block-in", sitting_min=60)
    accepted(client, db)
    [stored] = (the_plan(db).content_json or {})["panels"]
    finish = date.fromisoformat(stored["finish_on"])
    assert stored["late_d"] == 0 and stored["odds"] > 0.9
    first = words(client.get("/plan").text)
    assert "more than 19 in 20 to make its date" in first and "after its date" not in first
    with bare.unit("Agreed on another date") as work:
        work.session.exec(select(Panel).where(Panel.uid == panel.uid)).one().due_on = finish - timedelta(days=12)
    on_plan, on_panel, on_today = (words(client.get(page).text) for page in ("/plan", f"/panels/{panel.uid}", "/"))
    assert "at your studio's confidence 12 days after its date" in on_plan and "19 in 20" not in on_plan
    told = re.search(r"chance of keeping it by the plan: ([\w ]+ in \d+|about even odds)", on_panel)
    assert told is not None and told[0] in on_today
    assert f"{told[1]} to make its date" in on_plan
    assert (the_plan(db).content_json or {})["panels"] == [stored]


def test_a_date_that_was_put_off_is_late_no_more_and_a_packing_that_grew_counts(
    bare: Bench, client: TestClient, db: Database
) -> None:
    """Derived: five days more on the way put off by five days the day on which it must leave."""
    uid = late_panel(bare)
    accepted(client, db)
    [stored] = (the_plan(db).content_json or {})["panels"]
    late_d = stored["late_d"]
    assert f"{late_d} days after its date" in words(client.get("/plan").text)
    with bare.unit("Sent further away") as work:
        work.session.exec(select(Panel).where(Panel.uid == uid)).one().transit_d += 5
    assert f"{late_d + 5} days after its date" in words(client.get("/plan").text)
    with bare.unit("Agreed on another date") as work:
        work.session.exec(select(Panel).where(Panel.uid == uid)).one().due_on = NOW.date() + timedelta(days=900)
    told = words(client.get("/plan").text)
    assert "after its date" not in told and "What would help" not in told


def test_a_finished_panel_is_neither_late_nor_at_odds_on_the_page_of_the_plan(
    bare: Bench, client: TestClient, db: Database
) -> None:
    uid = late_panel(bare)
    accepted(client, db)
    with bare.unit("Finished as it is") as work:
        work.session.exec(select(Panel).where(Panel.uid == uid)).one().finished_on = NOW.date()
    told = words(client.get("/plan").text)
    assert "after its date" not in told and "to make its date" not in told


def test_a_plan_to_be_looked_at_tells_the_odds_of_the_date_as_it_is_now(
    bare: Bench, client: TestClient, db: Database
) -> None:
    panel = bare.panel(title="Looked at", due_on=NOW.date() + timedelta(days=300))
    bare.layer(panel, kind="block-in", sitting_min=60)
    make(client)
    assert "more than 19 in 20 to make its date" in words(client.get("/plan").text)
    with bare.unit("Agreed on another date") as work:
        work.session.exec(select(Panel).where(Panel.uid == panel.uid)).one().due_on = NOW.date() + timedelta(days=2)
    told = words(client.get("/plan").text)
    assert "less than 1 in 20 to make its date" in told and "more than 19 in 20" not in told
