"""Sittings moved by buttons over HTTP: to the nearest day on which they fit, or told why there is none."""

import re
from datetime import date, datetime, timedelta

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from server.services import planning_make
from server.services.errors import Refused
from server.store.db import Database
from server.store.tables import Layer
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.test_plan import HOURS, accepted, late_panel, make, plans, sitting_days, the_plan, words

TODAY = NOW.date()  # a Wednesday


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


def kinds(db: Database) -> dict[str, str]:
    """The uid of each layer by its kind."""
    with db.read() as session:
        return {row.kind: row.uid for row in session.exec(select(Layer))}


def move(client: TestClient, uid: str, way: str) -> tuple[int, str]:
    answer = client.post("/plan/right", data={"event": way, "layer_uid": uid})
    return answer.status_code, words(answer.text)


def take(client: TestClient, db: Database) -> None:
    newest = max(plans(db), key=lambda plan: plan.id or 0)
    assert client.post(f"/plan/{newest.uid}/accept").status_code == 303


def test_later_goes_past_a_day_that_a_pinned_sitting_fills(bare: Bench, client: TestClient, db: Database) -> None:
    """Mornings of 210 minutes, sittings of 120, each with 30 of mixing at most: two never fit one morning. Tomorrow is
    pinned, Friday closed, so that today's goes to Monday."""
    for kind in ("first one", "second one"):
        bare.layer(bare.panel(title=kind), kind=kind, sitting_min=120)
    accepted(client, db)
    days = sitting_days(db)
    tomorrow = (TODAY + timedelta(days=1)).isoformat()
    assert sorted(days.values()) == [TODAY.isoformat(), tomorrow]
    now, then = sorted(days, key=lambda uid: days[uid])
    assert client.post(f"/plan/{the_plan(db).uid}/pin/{then}", data={"pinned": "yes"}).status_code == 303
    off = {"painter": "", "weekdays": "", "on_date": (TODAY + timedelta(days=2)).isoformat(), "rule": ""}
    assert client.post("/plan/hours", data=off | {"start": "", "end": ""}).status_code == 303
    status, told = move(client, now, "later")
    assert status == 303, told
    after = sitting_days(db)
    assert after[then] == tomorrow and after[now] == (TODAY + timedelta(days=5)).isoformat()


def test_two_that_fit_one_morning_stand_on_it_together(bare: Bench, client: TestClient, db: Database) -> None:
    """Derived: 90 and 60 minutes with one palette mixed once in 30 fill 180 of 210 minutes."""
    bare.layer(bare.panel(title="Longer"), kind="longer", sitting_min=90)
    bare.layer(bare.panel(title="Shorter"), kind="shorter", sitting_min=60)
    accepted(client, db)
    uid = kinds(db)
    assert move(client, uid["longer"], "later")[0] == 303
    take(client, db)
    held = sitting_days(db)[uid["longer"]]
    assert move(client, uid["shorter"], "later")[0] == 303
    assert sitting_days(db)[uid["shorter"]] == held == (TODAY + timedelta(days=2)).isoformat()


def test_where_there_is_one_easel_later_goes_past_a_morning_in_which_it_is_taken(
    bare: Bench, client: TestClient, db: Database
) -> None:
    """Two sittings of an hour would both fit one morning, but not on one easel."""
    for kind in ("first one", "second one"):
        bare.layer(bare.panel(title=kind), kind=kind, sitting_min=60)
    make(client)
    assert client.post("/plan/make", data={"mix_setup_min": "30", "easels": "1"}).status_code == 303
    take(client, db)
    days = sitting_days(db)
    now, then = sorted(days, key=lambda uid: days[uid])
    assert days[now] == TODAY.isoformat() and days[then] == (TODAY + timedelta(days=1)).isoformat()
    client.post(f"/plan/{the_plan(db).uid}/pin/{then}", data={"pinned": "yes"})
    status, told = move(client, now, "later")
    assert status == 303, told
    assert sitting_days(db) == {then: days[then], now: (TODAY + timedelta(days=2)).isoformat()}


def test_earlier_than_the_layer_below_is_ready_is_told_with_the_day_on_the_plans_page(
    bare: Bench, client: TestClient, db: Database
) -> None:
    late_panel(bare)
    accepted(client, db)
    uid = kinds(db)["second painting"]
    status, told = move(client, uid, "earlier")
    while status == 303:
        take(client, db)
        status, told = move(client, uid, "earlier")
    assert status == 409 and "is held on a day" not in told
    found = re.search(r"The layer below is ready only from (\d+ \w+ \d{4})", told)
    assert found is not None, told
    stands = date.fromisoformat(sitting_days(db)[uid])
    ready = datetime.strptime(f"{found[1]} +0000", "%d %B %Y %z").date()
    missed = [ready + timedelta(days=n) for n in range(1, (stands - ready).days)]
    assert ready <= stands and all(day.isoweekday() > 5 for day in missed)
    assert "The plan in use" in told and "Hours, days away, holidays" in told  # on its page, with ways on


def test_later_than_a_pinned_layer_above_allows_names_it(bare: Bench, client: TestClient, db: Database) -> None:
    late_panel(bare)
    accepted(client, db)
    uid = kinds(db)
    client.post(f"/plan/{the_plan(db).uid}/pin/{uid['second painting']}", data={"pinned": "yes"})
    before = sitting_days(db)
    status, told = move(client, uid["underpainting"], "later")
    for _ in range(20):
        if status != 303:
            break
        take(client, db)
        before = sitting_days(db)
        status, told = move(client, uid["underpainting"], "later")
    assert status == 409 and "The layer above it, second painting, is pinned to" in told
    assert sitting_days(db) == before


def test_a_fault_in_what_is_asked_of_a_plan_keeps_its_page(bare: Bench, client: TestClient) -> None:
    bare.layer(bare.panel(title="One"))
    make(client)
    answer = client.post("/plan/make", data={"mix_setup_min": "long"})
    assert answer.status_code == 422 and "Make another plan" in answer.text


def test_a_plan_that_is_refused_comes_back_as_its_page_with_all_that_was_typed(
    bare: Bench, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    bare.layer(bare.panel(title="One"))
    make(client)
    client.post(f"/plan/{the_plan(bare.db).uid}/accept")

    def refuse(*_: object) -> None:
        raise Refused("No plan was found that the rules of soundness let pass. Nothing was changed.")

    monkeypatch.setattr(planning_make, "make", refuse)
    typed = {"easels": "3", "rack_places": "", "mix_setup_min": "45", "anew": "1"}
    answer = client.post("/plan/make", data=typed)
    assert answer.status_code == 409
    told = words(answer.text)
    assert "The plan in use" in told and "No plan was found" in told and told.count("Nothing was changed") == 1
    form = answer.text.partition('action="/plan/make"')[2].partition("</form>")[0]
    assert re.search(r'name="easels"[^>]*value="3"', form) and re.search(r'name="mix_setup_min"[^>]*value="45"', form)
    assert re.search(r'name="rack_places"[^>]*value=""', form) and re.search(r'name="anew"[^>]*checked', form)
    left = client.post("/plan/make", data=typed | {"anew": ""})
    assert left.status_code == 409 and not re.search(r'name="anew"[^>]*checked', left.text)


def test_a_pin_on_a_plan_that_is_not_in_use_any_more_is_refused_on_the_plans_page(
    bare: Bench, client: TestClient, db: Database
) -> None:
    uid = bare.layer(bare.panel(title="One")).uid
    accepted(client, db)
    old = the_plan(db).uid
    client.post("/plan/make", data={"mix_setup_min": "30"})
    take(client, db)
    for path in (f"pin/{uid}", "accept", "dismiss"):
        answer = client.post(f"/plan/{old}/{path}", data={"pinned": "yes"})
        assert answer.status_code == 409, path
        told = words(answer.text)
        assert "The plan in use" in told and told.count("Nothing was changed") <= 1


def test_a_pin_that_cannot_hold_any_more_is_let_go_and_the_waiting_plan_says_so(
    bare: Bench, client: TestClient, db: Database
) -> None:
    """The upper layer is pinned, and nobody works until its day, so that the lower one has none before it."""
    panel = bare.panel(title="Quince and jug")
    bare.layer(panel, kind="lower")
    upper = bare.layer(panel, kind="upper").uid
    sittings = accepted(client, db)
    on = next(date.fromisoformat(s["start_at"][:10]) for s in sittings if s["id"] == upper)
    client.post(f"/plan/{the_plan(db).uid}/pin/{upper}", data={"pinned": "yes"})
    until = (on - timedelta(days=1)).isoformat()
    client.post("/plan/hours/away", data={"painter": "", "from_on": NOW.date().isoformat(), "until_on": until})
    assert client.post("/plan/right").status_code == 303
    told = words(client.get("/plan").text)
    assert "no longer pinned Quince and jug , upper: it cannot be painted any more" in told
    take(client, db)
    assert "no longer pinned" not in words(client.get("/plan").text)


def test_later_asks_whether_the_rack_has_a_place(bare: Bench, client: TestClient, db: Database) -> None:
    """One place in the rack: while what is pinned there dries, nothing else is painted. Derived: the day gone to lies
    as many days after the pinned one as a layer of the same paint takes to the touch, at the least."""
    for title in ("One", "Two"):
        bare.layer(bare.panel(title=title), kind=f"layer of {title}")
    client.post("/plan/hours", data=HOURS)
    client.post("/plan/make", data={"mix_setup_min": "30", "rack_places": "1"})
    take(client, db)
    content = the_plan(db).content_json or {}
    first, second = sorted(content["sittings"], key=lambda s: s["start_at"])
    free_d = (date.fromisoformat(second["start_at"][:10]) - date.fromisoformat(first["start_at"][:10])).days
    assert free_d > 2
    client.post(f"/plan/{the_plan(db).uid}/pin/{second['id']}", data={"pinned": "yes"})
    status, told = move(client, first["id"], "later")
    assert status == 303
    newest = max(plans(db), key=lambda plan: plan.id or 0).content_json or {}
    at = {s["id"]: date.fromisoformat(s["start_at"][:10]) for s in newest["sittings"]}
    assert at[second["id"]] == date.fromisoformat(second["start_at"][:10]), told
    assert (at[first["id"]] - at[second["id"]]).days >= free_d


def test_a_second_move_goes_on_from_the_first_that_waits(bare: Bench, client: TestClient, db: Database) -> None:
    """Both were asked for, and neither was taken or left yet."""
    for title in ("One", "Two"):
        bare.layer(bare.panel(title=title), kind=f"layer of {title}")
    accepted(client, db)
    uids = kinds(db)
    days: dict[str, str] = {}
    for kind in ("layer of One", "layer of Two"):
        assert move(client, uids[kind], "later")[0] == 303
        newest = max(plans(db), key=lambda plan: plan.id or 0).content_json or {}
        at = {s["id"]: s["start_at"][:10] for s in newest["sittings"] if s["pinned"]}
        assert all(at.get(uid) == start for uid, start in days.items()), kind
        days[uids[kind]] = at[uids[kind]]
    take(client, db)
    assert all(s["pinned"] for s in (the_plan(db).content_json or {})["sittings"])
