"""Pins over HTTP: told where a move makes one, let go with a day that is left free, and held again when things are
kept as they are."""

import re
from datetime import date, timedelta

import pytest
from sqlmodel import col, select
from starlette.testclient import TestClient

from server.services.history import recent
from server.store.db import Database
from server.store.tables import ChangeSet, Layer, StudioPlan
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.test_plan import accepted, make, plans, sitting_days, words

TODAY = NOW.date()  # a Wednesday


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


def in_use(db: Database) -> StudioPlan:
    [found] = [plan for plan in plans(db) if plan.accepted_at is not None]
    return found


def waiting(db: Database) -> StudioPlan:
    [found] = [plan for plan in plans(db) if plan.accepted_at is None]
    return found


def pinned(plan: StudioPlan) -> set[str]:
    return {s["id"] for s in (plan.content_json or {})["sittings"] if s.get("pinned")}


def pin(client: TestClient, db: Database, uid: str, is_held: str = "yes") -> None:
    assert client.post(f"/plan/{in_use(db).uid}/pin/{uid}", data={"pinned": is_held}).status_code == 303


def newest(db: Database) -> ChangeSet:
    with db.read() as session:
        return session.exec(select(ChangeSet).order_by(col(ChangeSet.id).desc()).limit(1)).one()


def three(bare: Bench, client: TestClient, db: Database) -> list[tuple[str, str]]:
    """Three sittings that fill a morning each, in the plan in use: uid and day, in their order."""
    for title in ("One", "Two", "Three"):
        bare.layer(bare.panel(title=title), kind="glaze", sitting_min=120)
    accepted(client, db)
    days = sorted(sitting_days(db).items(), key=lambda item: item[1])
    assert [day for _, day in days] == [(TODAY + timedelta(days=n)).isoformat() for n in range(3)]
    return days


def test_a_move_says_that_it_pins_and_the_pin_can_be_let_go(bare: Bench, client: TestClient, db: Database) -> None:
    uid = bare.layer(bare.panel(title="One"), kind="glaze", sitting_min=120).uid
    accepted(client, db)
    assert client.post("/plan/right", data={"event": "later", "layer_uid": uid}).status_code == 303
    asked = "Asked for the glaze of “One” on Thursday 26 November 2026, pinned there: a plan to look at"
    assert newest(db).label == asked  # nothing has moved yet
    assert sitting_days(db)[uid] != TODAY.isoformat() and pinned(in_use(db)) == set()
    told = words(client.get("/plan").text)
    proposal = told.partition("A plan to look at")[2].partition("The plan in use")[0]
    assert "pinned" in proposal
    client.post(f"/plan/{waiting(db).uid}/accept")
    assert pinned(in_use(db)) == {uid}
    pin(client, db, uid, "no")
    assert pinned(in_use(db)) == set() and newest(db).label == "Let the glaze of “One” move again"
    pin(client, db, uid, "yes")
    assert newest(db).label == "Pinned the glaze of “One”"
    pin(client, db, uid, "no")
    client.post("/plan/make", data={"mix_setup_min": "30", "anew": "1"})
    assert sitting_days(db)[uid] == TODAY.isoformat()


def test_pins_of_a_day_left_free_are_let_go_with_it_and_named(bare: Bench, client: TestClient, db: Database) -> None:
    (_, _), (second, day), (third, other) = three(bare, client, db)
    pin(client, db, second)
    pin(client, db, third)
    answer = client.post("/plan/right", data={"event": "no_painting", "on": day})
    assert answer.status_code == 303, words(answer.text)
    titles = {s["id"]: s["title"] for s in (in_use(db).content_json or {})["sittings"]}
    change = newest(db)
    on = date.fromisoformat(day)
    left = f"Left {on:%A} {on.day} {on:%B %Y} free: set the plan right."
    assert change.label == f"{left} No longer pinned: glaze of “{titles[second]}”"
    assert pinned(in_use(db)) == {third} == pinned(waiting(db))
    after = sitting_days(db)
    assert after[second] not in (day, other) and after[third] == other
    assert client.post(f"/history/{change.uid}/undo").status_code == 303  # one undo for all of it
    assert pinned(in_use(db)) == {second, third}


def test_pins_are_held_again_when_things_are_kept_as_they_are(bare: Bench, client: TestClient, db: Database) -> None:
    (_, _), (second, day), (third, other) = three(bare, client, db)
    pin(client, db, second)
    pin(client, db, third)
    for on in (day, other):
        assert client.post("/plan/right", data={"event": "no_painting", "on": on}).status_code == 303
    pin(client, db, third)
    pin(client, db, third, "no")  # by hand since: stays as the painter said
    assert client.post(f"/plan/{waiting(db).uid}/dismiss").headers["location"] == "/plan"
    assert pinned(in_use(db)) == {second}
    with bare.db.read() as session:
        assert recent(session, bare.actor, 1)[0].label == "Left the plan aside"


def test_what_is_pinned_today_moves_where_nobody_could_paint(bare: Bench, client: TestClient, db: Database) -> None:
    (first, today), (second, day), _ = three(bare, client, db)
    pin(client, db, first)
    pin(client, db, second)
    assert client.post("/plan/right", data={"event": "no_painting"}).status_code == 303
    assert newest(db).label.startswith("No painting today: set the plan right. No longer pinned: glaze of “")
    after = sitting_days(db)
    assert after[first] > today and after[second] == day
    assert client.post(f"/plan/{waiting(db).uid}/dismiss").status_code == 303
    assert pinned(in_use(db)) == {second}  # that today is lost stays true


def test_of_many_pins_some_are_named(bare: Bench, client: TestClient, db: Database) -> None:
    for number in range(5):
        bare.layer(bare.panel(title=f"Panel {number} {'x' * 60}"), kind="glaze", sitting_min=15)
    make(client)  # on two easels
    client.post("/plan/make", data={"mix_setup_min": "30"})
    client.post(f"/plan/{waiting(db).uid}/accept")
    days = sitting_days(db)
    full = max(days.values(), key=list(days.values()).count)
    held = [uid for uid, day in days.items() if day == full]
    assert len(held) >= 3
    for uid in held:
        pin(client, db, uid)
    assert client.post("/plan/right", data={"event": "no_painting", "on": full}).status_code == 303
    label = newest(db).label
    assert label.endswith(f" and {len(held) - 2} more") and label.count("glaze of") == 2 and len(label) < 300
    assert full not in sitting_days(db).values()


def test_pinning_leads_back_to_the_sitting(bare: Bench, client: TestClient, db: Database) -> None:
    (first, _), (second, _), _ = three(bare, client, db)
    for is_held in ("yes", "no"):
        answer = client.post(f"/plan/{in_use(db).uid}/pin/{second}", data={"pinned": is_held})
        assert answer.headers["location"] == f"/plan#sitting-{second}"
    text = client.get("/plan").text
    assert all(text.count(f'id="sitting-{uid}"') == 1 for uid in (first, second))


def test_pinning_leads_back_to_the_sitting_beside_a_plan_that_waits(
    bare: Bench, client: TestClient, db: Database
) -> None:
    (first, _), (second, _), _ = three(bare, client, db)
    client.post("/plan/make", data={"mix_setup_min": "30", "anew": "1"})
    fold = re.compile(r"<details( open)?><summary>Its days, and when each panel can be delivered</summary>")
    [is_open] = fold.findall(client.get("/plan").text)
    assert not is_open
    answer = client.post(f"/plan/{in_use(db).uid}/pin/{second}", data={"pinned": "yes"})
    assert answer.headers["location"] == f"/plan?open=days#sitting-{second}"
    text = client.get("/plan?open=days").text
    assert fold.findall(text) == [" open"]
    assert all(text.count(f'id="sitting-{uid}"') == 1 for uid in (first, second))


def take(client: TestClient, db: Database) -> tuple[int, str]:
    answer = client.post(f"/plan/{waiting(db).uid}/accept")
    return answer.status_code, words(answer.text)


def test_what_is_pinned_and_let_go_while_a_plan_waits_is_so_in_it_once_it_is_taken(
    bare: Bench, client: TestClient, db: Database
) -> None:
    (first, _), (second, _), (third, _) = three(bare, client, db)
    pin(client, db, second)
    client.post("/plan/make", data={"mix_setup_min": "30"})
    assert pinned(waiting(db)) == {second}
    pin(client, db, third)
    pin(client, db, second, "no")
    assert take(client, db)[0] == 303
    assert pinned(in_use(db)) == {third}
    assert first not in pinned(in_use(db))
    change = newest(db)
    assert client.post(f"/history/{change.uid}/undo").status_code == 303
    assert pinned(in_use(db)) == {third} and pinned(waiting(db)) == {second}


def test_a_plan_that_moves_what_was_pinned_meanwhile_is_not_taken(
    bare: Bench, client: TestClient, db: Database
) -> None:
    _, (second, day), (third, other) = three(bare, client, db)
    for on in (day, other):
        assert client.post("/plan/right", data={"event": "no_painting", "on": on}).status_code == 303
    assert sitting_days(db)[second] != day and sitting_days(db)[third] != other
    pin(client, db, second)
    before = waiting(db).uid
    status, told = take(client, db)
    title = next(s["title"] for s in (in_use(db).content_json or {})["sittings"] if s["id"] == second)
    assert status == 409
    assert f"Pinned since this plan was made, but not kept by it: the glaze of “{title}” on Thursday" in told
    assert "Set the plan right again, or let it move; then take it. Nothing was changed." in told
    assert waiting(db).uid == before and pinned(in_use(db)) == {second}
    pin(client, db, third)
    assert "and 1 more. Set the plan right again, or let them move" in take(client, db)[1]
    pin(client, db, second, "no")
    pin(client, db, third, "no")
    assert take(client, db)[0] == 303 and pinned(in_use(db)) == set()


def test_what_was_pinned_and_painted_meanwhile_keeps_no_plan_from_being_taken(
    bare: Bench, client: TestClient, db: Database
) -> None:
    _, (second, day), _ = three(bare, client, db)
    assert client.post("/plan/right", data={"event": "no_painting", "on": day}).status_code == 303
    pin(client, db, second)
    with bare.unit("Painted") as work:
        work.session.exec(select(Layer).where(Layer.uid == second)).one().painted_at = NOW
    assert take(client, db)[0] == 303


def test_what_was_moved_by_hand_stays_pinned_where_it_was_moved_to(
    bare: Bench, client: TestClient, db: Database
) -> None:
    uid = bare.layer(bare.panel(title="One"), kind="glaze", sitting_min=120).uid
    accepted(client, db)
    pin(client, db, uid)
    assert client.post("/plan/right", data={"event": "later", "layer_uid": uid}).status_code == 303
    day = sitting_days(db)[uid]
    assert day != TODAY.isoformat()
    pin(client, db, uid, "no")
    assert take(client, db)[0] == 303
    assert pinned(in_use(db)) == {uid} and sitting_days(db)[uid] == day


def test_a_pin_before_its_layer_is_likely_ready_is_told_with_the_plan_that_waits(
    bare: Bench, client: TestClient, db: Database
) -> None:
    panel = bare.panel(title="Quince and jug")
    lower = bare.painted(panel, 3, kind="first", thickness_preset="thin_opaque")
    upper = bare.layer(panel, kind="second", thickness_preset="thin_opaque").uid
    accepted(client, db)
    pin(client, db, upper)
    with bare.unit("It was painted two days later") as work:
        work.session.get_one(Layer, lower.id).painted_at = NOW - timedelta(days=1)
    assert client.post("/plan/right").status_code == 303
    told = words(client.get("/plan").text)
    assert "Does not hold Quince and jug , second: pinned to a day before " in told
    assert "from when what is on the panel is counted on as ready. It stays there until you let it move." in told
    for address in ("/api/v1/plans", f"/api/v1/plans/{waiting(db).uid}"):
        answer = client.get(address).json()
        found = next(one for one in answer.get("items", [answer]) if one["state"] == "waiting")
        [held] = found["held"]
        assert (held["layer_uid"], held["title"], held["kind"]) == (upper, "Quince and jug", "second")
        assert held["why"] == "release" and held["ready_on"] > found["sittings"][0]["start_at"][:10]
    with bare.unit("Painted after all") as work:
        work.session.exec(select(Layer).where(Layer.uid == upper)).one().painted_at = NOW
    assert client.get(f"/api/v1/plans/{waiting(db).uid}").json()["held"] == []
