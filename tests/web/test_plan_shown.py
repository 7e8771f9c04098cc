"""The plan in use on its page and on the week's sheet: read as every other page reads it, with what holds no more."""

import re
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from server.services import board, layers, planning_plans
from server.services.plan_reading import PlannedSitting
from server.store.db import Database
from server.store.tables import Layer, Panel, StudioPlan
from server.web.plan_shown import DayShown, MonthShown, SittingShown
from tests.services.conftest import NOW, Bench, make_bench
from tests.services.layer_acts import act, paint
from tests.web.test_plan import accepted, away, late_panel, offered, plans, the_plan, words
from tests.web.test_plan_moves import move

TODAY = NOW.date()  # a Wednesday


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


def painted(bench: Bench, layer: Layer) -> None:
    with bench.db.read() as session:
        version = session.exec(select(Layer).where(Layer.uid == layer.uid)).one().version
    paint(bench, layer, version=version)


def test_a_sitting_whose_layer_is_painted_is_neither_moved_nor_pinned(
    bare: Bench, client: TestClient, db: Database
) -> None:
    """The last layer of its panel, and the first of two."""
    only = bare.layer(bare.panel(title="Only one"), kind="block-in")
    panel = bare.panel(title="Two layers")
    first = bare.layer(panel, kind="underpainting", sitting_min=30)
    bare.layer(panel, kind="glaze", sitting_min=30)
    accepted(client, db)
    painted(bare, only)
    painted(bare, first)
    for layer in (only, first):
        for way in ("earlier", "later"):
            status, told = move(client, layer.uid, way)
            assert status == 409 and "This layer is painted already, so there is nothing to move." in told
        pinned = client.post(f"/plan/{the_plan(db).uid}/pin/{layer.uid}", data={"pinned": "yes"})
        assert pinned.status_code == 409 and "painted already" in pinned.text
    assert len(plans(db)) == 1


def by_hand(bench: Bench, layer: Layer, day: date | None) -> None:
    """Another day, written on the layer's own page."""
    with bench.unit("Changed a layer's day") as work:
        work.session.exec(select(Layer).where(Layer.uid == layer.uid)).one().planned_on = day


def test_a_sitting_whose_day_was_changed_by_hand_is_not_moved_from_where_it_was(
    bare: Bench, client: TestClient, db: Database
) -> None:
    layer = bare.layer(bare.panel(title="Only one"), kind="block-in")
    accepted(client, db)
    by_hand(bare, layer, TODAY + timedelta(days=9))
    status, told = move(client, layer.uid, "later")
    assert status == 409 and "Its day was changed by hand since. Set the plan right first." in told
    assert len(plans(db)) == 1


def put(bench: Bench, layer: Layer, day: date) -> None:
    """The sitting of a layer on another day at the same hours, in the plan in use and on the layer's page."""
    with bench.unit("Put a sitting elsewhere") as work:
        plan = next(p for p in work.session.exec(select(StudioPlan)) if p.archived_at is None and p.accepted_at)
        content = dict(plan.content_json or {})
        there = {name: f"{day.isoformat()}" for name in ("start_at", "end_at")}
        content["sittings"] = [
            s | {name: on + s[name][10:] for name, on in there.items()} if s["id"] == layer.uid else s
            for s in content["sittings"]
        ]
        plan.content_json = content
        work.session.exec(select(Layer).where(Layer.uid == layer.uid)).one().planned_on = day


def week_of(client: TestClient, day: date) -> str:
    return words(client.get(f"/plan/week?start={day.isoformat()}").text)


def test_the_weeks_sheet_says_at_a_sitting_and_at_its_mix_that_it_was_missed(
    bare: Bench, client: TestClient, db: Database
) -> None:
    layer = bare.layer(bare.panel(title="Only one"), kind="block-in")
    day = date.fromisoformat(accepted(client, db)[0]["start_at"][:10])
    assert "Missed" not in week_of(client, day)
    put(bare, layer, TODAY - timedelta(days=1))
    told = week_of(client, TODAY)
    assert "Only one : block-in, White" in told
    assert "Missed Its day is over, and it was not logged as painted." in told
    assert "ml Only one Missed" in told


def test_the_weeks_sheet_says_at_a_sitting_from_when_its_layer_may_go_on(
    bare: Bench, client: TestClient, db: Database
) -> None:
    """Derived: paint of three hours ago is wet tomorrow; the day is the one that the panel's own page tells."""
    panel = bare.panel(title="Wet one")
    bare.layer(panel, painted_at=NOW - timedelta(hours=3))
    layer = bare.layer(panel, kind="glaze")
    accepted(client, db)
    put(bare, layer, TODAY + timedelta(days=1))
    told = week_of(client, TODAY + timedelta(days=1))
    found = re.search(r"Not ready then By the forecast it may go on only from (\d+ \w+)", told)
    assert found is not None, told
    with db.read() as session:
        fact = board.one_panel(session, bare.actor, panel.uid, board.moment_of(NOW, ZoneInfo("Europe/Prague")))
    assert fact is not None and fact.coming is not None and fact.coming.planned_from is not None
    assert found[1] == f"{fact.coming.planned_from.day} {fact.coming.planned_from:%B}"
    agenda = words(client.get("/calendar?view=agenda").text)
    assert re.search(r"glaze was planned tomorrow at \d\d:\d\d, with [\w ]+; it may go on later, likely", agenda), (
        agenda
    )


def test_the_weeks_sheet_says_at_a_sitting_that_it_lies_outside_the_hours(
    bare: Bench, client: TestClient, db: Database
) -> None:
    bare.layer(bare.panel(title="One"), kind="block-in", sitting_min=150)
    bare.layer(bare.panel(title="Other"), kind="sketch", sitting_min=150)
    first, second = (date.fromisoformat(s["start_at"][:10]) for s in accepted(client, db))
    away(client, second.isoformat(), second.isoformat())
    told = week_of(client, first) + week_of(client, second)
    assert "Outside the hours The hours of Mornings have no room for it and its mixing." in told
    assert told.count("The hours of Mornings") == (2 if week_of(client, first) == week_of(client, second) else 1)


def of_plan(client: TestClient) -> str:
    return client.get("/plan").text.partition('id="standing"')[2]


def day_of(text: str, sitting: dict[str, str]) -> str:
    """The section of the day list that has a sitting's panel."""
    return next(part for part in text.split('<section class="slab">')[1:] if f"/panels/{sitting['panel']}" in part)


def test_a_painted_sitting_is_told_as_painted_today_without_buttons_and_not_at_all_tomorrow(
    bare: Bench, client: TestClient, db: Database
) -> None:
    layer = bare.layer(bare.panel(title="Only one"), kind="block-in")
    [sitting] = accepted(client, db)
    before = of_plan(client)
    assert f"/pin/{layer.uid}" in before and "Still to come by it: 1 sitting." in words(before)
    painted(bare, layer)
    after = of_plan(client)
    assert "Painted" in words(day_of(after, sitting)) and "#sound" in day_of(after, sitting)
    assert f"/pin/{layer.uid}" not in after and f'value="{layer.uid}"' not in after
    assert "Leave this day free" not in words(after)
    assert "Still to come by it: no sittings." in words(after) and "mix it in the" not in week_of(client, TODAY)
    put(bare, layer, TODAY - timedelta(days=1))
    assert "block-in" not in words(of_plan(client))


@pytest.mark.parametrize(("days", "says"), [(9, "its day was changed to {} by hand"), (None, "taken away by hand")])
def test_a_sitting_whose_day_was_changed_by_hand_is_told_apart_as_the_weeks_sheet_leaves_it_out(
    bare: Bench, client: TestClient, db: Database, days: int | None, says: str
) -> None:
    layer = bare.layer(bare.panel(title="Only one"), kind="block-in")
    [sitting] = accepted(client, db)
    day = None if days is None else TODAY + timedelta(days=days)
    by_hand(bare, layer, day)
    told = of_plan(client)
    assert says.format("" if day is None else f"{day.day} {day:%B}") in words(told)
    assert "Still to come by it: no sittings." in words(told) and f"/pin/{layer.uid}" not in told
    assert sitting["why"][1:] not in words(told)
    assert "block-in" not in week_of(client, date.fromisoformat(sitting["start_at"][:10]))


def test_a_sitting_of_a_layer_that_was_put_away_is_not_listed(bare: Bench, client: TestClient, db: Database) -> None:
    layer = bare.layer(bare.panel(title="Only one"), kind="block-in")
    accepted(client, db)
    act(bare, layers.archive, layer)
    assert "block-in" not in words(of_plan(client))


def test_a_missed_day_says_so_and_offers_only_what_can_be_done(bare: Bench, client: TestClient, db: Database) -> None:
    layer = bare.layer(bare.panel(title="Only one"), kind="block-in")
    [sitting] = accepted(client, db)
    day = day_of(of_plan(client), sitting)
    assert "Leave this day free" in day and "A working day earlier" in day and "Missed" not in day
    put(bare, layer, TODAY - timedelta(days=1))
    day = day_of(of_plan(client), sitting)
    assert words(day).startswith(" Yesterday Tuesday 24 November 2026 Missed ") and "#at_risk" in day
    assert "Its day is over" in words(day)
    assert "Leave this day free" not in day and "Pin it here" not in day and "A working day earlier" not in day
    assert 'value="later"' in day


def test_a_sitting_that_comes_before_its_layer_is_ready_is_marked_in_the_plan(
    bare: Bench, client: TestClient, db: Database
) -> None:
    panel = bare.panel(title="Wet one")
    bare.layer(panel, painted_at=NOW - timedelta(hours=3))
    layer = bare.layer(panel, kind="glaze")
    [sitting] = accepted(client, db)
    assert "Not ready then" not in words(of_plan(client))
    put(bare, layer, TODAY + timedelta(days=1))
    assert "Not ready then By the forecast it may go on only from" in words(day_of(of_plan(client), sitting))


@pytest.mark.parametrize(("days", "is_far"), [(365, False), (366, True)])
def test_more_than_a_year_ahead_no_clock_time_is_told_and_no_day_kept_free(
    bare: Bench, client: TestClient, db: Database, days: int, is_far: bool
) -> None:
    layer = bare.layer(bare.panel(title="Only one"), kind="block-in")
    [sitting] = accepted(client, db)
    put(bare, layer, TODAY + timedelta(days=days))
    day = day_of(of_plan(client), sitting)
    assert ("Leave this day free" not in day) == is_far
    clock = sitting["start_at"][11:16]
    assert (clock not in day) == is_far and (
        f"{clock} to" not in week_of(client, TODAY + timedelta(days=days))
    ) == is_far


def propose(bench: Bench, sittings: list[dict[str, object]]) -> None:
    """A plan to look at with these sittings."""
    with bench.unit("Made a plan") as work:
        planning_plans.propose(work.session, bench.actor, {"sittings": sittings, "panels": []})


def changes(client: TestClient) -> str:
    return words(client.get("/plan").text.partition("What it changes")[2].partition("Take this plan")[0])


def test_a_proposal_tells_sittings_at_another_time_of_their_day_in_other_hands_new_and_without_a_place(
    bare: Bench, client: TestClient, db: Database
) -> None:
    made = {name: bare.layer(bare.panel(title=name), kind="block-in", sitting_min=30) for name in ("One", "Two", "Six")}
    accepted(client, db)
    stored = {s["title"]: dict(s) for s in (the_plan(db).content_json or {})["sittings"]}
    propose(bare, list(stored.values()))
    assert "No sitting changes its day, its time or its painter." in changes(client)

    one, two = stored["One"], stored["Two"]
    on, was = one["start_at"][:10], one["start_at"][11:16]
    moved = one | {name: one[name].replace("T09", "T14").replace("T10", "T15") for name in ("start_at", "end_at")}
    fresh = bare.layer(bare.panel(title="Three"), kind="sketch")
    new = two | {"id": fresh.uid, "title": "Three", "kind": "sketch"}
    propose(bare, [moved, two | {"painter": "Afternoons"}, new])
    told = changes(client)
    assert "No sitting changes" not in told and "becomes" not in told
    assert f"One, block-in, {'today' if on == TODAY.isoformat() else ''}" in told
    assert f": was {was}, now {moved['start_at'][11:16]}" in told
    assert ", by Afternoons instead of Mornings" in told
    assert "New in the plan: Three, sketch:" in told
    assert "Without a place in it: Six, block-in:" in told
    painted(bare, made["Six"])
    assert "Without a place" not in changes(client)


def test_a_day_that_was_given_by_hand_is_what_a_proposal_changes(bare: Bench, client: TestClient, db: Database) -> None:
    layer = bare.layer(bare.panel(title="Only one"), kind="block-in")
    [sitting] = accepted(client, db)
    by_hand(bare, layer, TODAY + timedelta(days=9))
    propose(bare, [dict(sitting)])
    hand = TODAY + timedelta(days=9)
    assert f"Only one, block-in: {hand.day} {hand:%B} becomes" in changes(client)


def test_what_would_help_is_offered_only_while_the_panel_comes_to_the_day_it_was_tried_for(
    bare: Bench, client: TestClient, db: Database
) -> None:
    uid = late_panel(bare)
    accepted(client, db)
    [stored] = (the_plan(db).content_json or {})["panels"]
    assert stored["late_d"] > 0 and f"due:{stored['finish_on']}" in offered(client)
    with bare.unit("Sent further away") as work:
        work.session.exec(select(Panel).where(Panel.uid == uid)).one().transit_d += 5
    told = words(client.get("/plan").text)
    assert f"{stored['late_d'] + 5} days after its date" in told and offered(client) == {}
    assert "Set the plan right first to see what would help now." in told


@pytest.mark.parametrize("happens", ["painted", "missed", "by hand"])
def test_what_would_help_is_not_offered_once_a_sitting_of_the_panel_stands_no_more(
    bare: Bench, client: TestClient, db: Database, happens: str
) -> None:
    late_panel(bare)
    first = accepted(client, db)[0]
    with db.read() as session:
        layer = session.exec(select(Layer).where(Layer.uid == first["id"])).one()
    assert offered(client) != {}
    if happens == "painted":
        painted(bare, layer)
    elif happens == "missed":
        put(bare, layer, TODAY - timedelta(days=1))
    else:
        by_hand(bare, layer, TODAY + timedelta(days=2))
    assert offered(client) == {} and "Set the plan right first" in words(of_plan(client))


def test_a_panel_whose_sittings_hold_no_more_is_not_told_as_late_by_the_day_they_had(
    bare: Bench, client: TestClient, db: Database
) -> None:
    late_panel(bare)
    first = accepted(client, db)[0]
    uid, day = first["panel"], client.get("/plan").text
    one, late = f'id="due-{uid}"', f'href="#due-{uid}"'
    assert late in day and "can be delivered" in words(day.partition(one)[2].partition("</a>")[2][:200])
    with db.read() as session:
        layer = session.exec(select(Layer).where(Layer.uid == first["id"])).one()
    put(bare, layer, TODAY - timedelta(days=1))
    text = client.get("/plan").text
    told = words(text.partition(one)[2].partition("</li>")[0])
    assert late not in text and "after its date" not in told
    assert ": Does not hold its sittings do not hold any more; by the plan it could be delivered" in told
    assert "Set the plan right first to see when it can be delivered now." in told


def test_while_a_plan_waits_the_one_in_use_is_folded_but_for_what_does_not_hold(
    bare: Bench, client: TestClient, db: Database
) -> None:
    layer = bare.layer(bare.panel(title="Only one"), kind="block-in")
    [sitting] = accepted(client, db)
    day, fold = f"/pin/{layer.uid}", "Its days, and when each panel can be delivered"
    assert fold not in of_plan(client) and day in of_plan(client)
    put(bare, layer, TODAY - timedelta(days=1))
    propose(bare, [dict(sitting)])
    outside, _, inside = of_plan(client).partition(fold)
    assert "does not hold any more" in words(outside) and "/panels/" in outside
    assert 'value="later"' in inside and "<section" not in outside
    refused = client.post("/plan/right", data={"event": "later", "layer_uid": "nobody"}).text
    assert re.search(rf"<details open>\s*<summary>{fold}", refused)


def proposed(client: TestClient) -> str:
    return client.get("/plan").text.partition("What it changes")[2].partition('id="standing"')[0]


def test_a_plan_that_waits_marks_what_was_painted_meanwhile_and_leaves_out_what_was_put_away(
    bare: Bench, client: TestClient, db: Database
) -> None:
    made = {name: bare.layer(bare.panel(title=name), kind="block-in", sitting_min=120) for name in ("One", "Two")}
    gone = bare.layer(bare.panel(title="Six"), kind="imprimatura", sitting_min=120)
    accepted(client, db)
    stored = [dict(s) for s in (the_plan(db).content_json or {})["sittings"]]
    reason = "when the palette is free"
    for n, one in enumerate(stored):
        one["why"], one["why_of"] = reason if one["title"] == "One" else f"reason {n}", None
    propose(bare, stored)
    assert "When the palette is free" in proposed(client) and "imprimatura" in proposed(client)
    assert "Painted" not in words(proposed(client))
    painted(bare, made["One"])
    act(bare, layers.archive, gone)
    told = proposed(client)
    assert "imprimatura" not in told and "When the palette is free" not in told
    [one] = [s for s in stored if s["title"] == "One"]
    assert words(day_of(told, one)).count("Painted") == 1
    assert words(told).count("Why this day?") == 1
    assert "No sitting changes its day" in words(told)


def test_what_was_painted_ahead_of_its_day_is_not_told_under_that_day(
    bare: Bench, client: TestClient, db: Database
) -> None:
    for title in ("One", "Two", "Three"):
        bare.layer(bare.panel(title=title), kind=f"coat of {title}", sitting_min=120)
    accepted(client, db)
    last = max((the_plan(db).content_json or {})["sittings"], key=lambda s: str(s["start_at"]))
    assert last["kind"] in words(of_plan(client)) and last["start_at"][:10] > TODAY.isoformat()
    with db.read() as session:
        layer = session.exec(select(Layer).where(Layer.uid == last["id"])).one()
    painted(bare, layer)
    told = of_plan(client)
    assert last["kind"] not in words(told.partition("When each panel")[0])
    assert "Still to come by it: 2 sittings." in words(told)


def test_a_month_counts_what_is_not_painted() -> None:
    start = datetime(2027, 3, 2, 9, tzinfo=ZoneInfo("Europe/Prague"))
    sitting = PlannedSitting("a", "p", "One", "glaze", "Ada", start, start, None, 0, "", start, False)
    every = (SittingShown(sitting, TODAY, is_painted=True), SittingShown(sitting, TODAY))
    month = MonthShown(date(2027, 3, 1), (DayShown(start.date(), every, False, False),), False, False)
    assert month.count == 1
