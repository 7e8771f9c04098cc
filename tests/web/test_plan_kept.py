"""'Keep things as they are' over HTTP: what was chosen for a plan goes with it; what only tells what happened stays."""

from datetime import date

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from server.services import planning_plans
from server.services.history import recent
from server.store.db import Database
from server.store.tables import Layer, Panel, StudioPlan, WorkTime
from tests.services.board_studio import hang
from tests.services.conftest import NOW, Bench, make_bench
from tests.web.test_plan import accepted, late_panel, make, offered, plans, sitting_days, words


@pytest.fixture
def bare(db: Database) -> Bench:
    return make_bench(db)


def closed(db: Database) -> list[date | None]:
    """The days that are open hours of nobody, by a line of their own."""
    with db.read() as session:
        rows = session.exec(select(WorkTime)).all()
        return [row.on_date for row in rows if row.archived_at is None and row.on_date and row.start_min is None]


def micrometres(db: Database, uid: str) -> float | None:
    with db.read() as session:
        return session.exec(select(Layer).where(Layer.uid == uid)).one().wet_thickness_um


def waiting(db: Database) -> StudioPlan:
    [found] = [plan for plan in plans(db) if plan.accepted_at is None]
    return found


def keep(client: TestClient, db: Database, key: str = "") -> str:
    """Press the button, and where it leads."""
    answer = client.post(f"/plan/{waiting(db).uid}/dismiss", data={"command_key": key} if key else {})
    assert answer.status_code == 303
    return answer.headers["location"]


def thinner(client: TestClient) -> str:
    """Apply the thinnest of what is offered; the layer's uid."""
    keys = offered(client)
    key = next(key for key in keys if key.startswith("thinner:"))
    assert client.post(keys[key], data={"key": key}).status_code == 303
    return key.split(":")[1]


def free(client: TestClient, db: Database) -> str:
    """Leave the last day of the plan in use free; that day."""
    day = max(sitting_days(db).values())
    assert client.post("/plan/right", data={"event": "no_painting", "on": day}).status_code == 303
    return day


def test_a_day_left_free_has_its_hours_again_when_things_are_kept(
    bare: Bench, client: TestClient, db: Database
) -> None:
    hang(bare, 3)
    accepted(client, db)
    day = free(client, db)
    assert closed(db) == [date.fromisoformat(day)]
    proposal = waiting(db).uid
    assert keep(client, db, "kept") == "/plan"
    assert closed(db) == [] and len(plans(db)) == 1
    assert client.post(f"/plan/{proposal}/dismiss", data={"command_key": "kept"}).status_code == 303
    assert client.post(f"/plan/{proposal}/dismiss").status_code == 303  # and from another tab
    assert closed(db) == [] and len(plans(db)) == 1


def test_keeping_can_itself_be_undone(bare: Bench, client: TestClient, db: Database) -> None:
    hang(bare, 3)
    accepted(client, db)
    day = free(client, db)
    keep(client, db)
    with db.read() as session:
        newest = recent(session, bare.actor, 1)[0]
    assert newest.label == "Left the plan aside"
    client.post(f"/history/{newest.uid}/undo")
    assert closed(db) == [date.fromisoformat(day)] and waiting(db).accepted_at is None


def test_an_option_is_taken_back_also_when_other_plans_took_the_place_of_its_own(
    bare: Bench, client: TestClient, db: Database
) -> None:
    late_panel(bare)
    make(client)
    layer = thinner(client)
    assert (micrometres(db, layer) or 0) < 120
    client.post("/plan/make", data={"mix_setup_min": "30"})
    second = thinner(client)
    keep(client, db)
    assert (micrometres(db, layer), micrometres(db, second)) == (120, 120)
    assert plans(db) == []


def test_of_two_that_were_chosen_for_one_layer_the_later_is_taken_back_first(
    bare: Bench, client: TestClient, db: Database
) -> None:
    """The other way round the first would find its layer changed since, and stay."""
    uid = bare.layer(bare.panel(title="One"), wet_thickness_um=120).uid
    for thickness in (90.0, 60.0):
        with bare.unit(f"{thickness:g} µm") as work:
            work.session.exec(select(Layer).where(Layer.uid == uid)).one().wet_thickness_um = thickness
            planning_plans.propose(work.session, bare.actor, {"sittings": [], "panels": []}, work.change_uid)
    assert keep(client, db) == "/plan"
    assert micrometres(db, uid) == 120


def test_what_was_taken_stays(bare: Bench, client: TestClient, db: Database) -> None:
    late_panel(bare)
    make(client)
    layer = thinner(client)
    thin = micrometres(db, layer)
    client.post(f"/plan/{waiting(db).uid}/accept")
    client.post("/plan/make", data={"mix_setup_min": "30"})
    keep(client, db)
    assert micrometres(db, layer) == thin != 120


def test_a_day_that_was_lost_stays_lost_and_is_told_with_its_undo(
    bare: Bench, client: TestClient, db: Database
) -> None:
    hang(bare, 3)
    accepted(client, db)
    for key in ("lost", "right"):  # another plan takes the place of the one that was made for it
        event = "no_painting" if key == "lost" else ""
        assert client.post("/plan/right", data={"event": event, "command_key": key}).status_code == 303
    with db.read() as session:
        entry = next(one for one in recent(session, bare.actor) if one.label.startswith("No painting today"))
    where = keep(client, db)
    assert where == f"/plan?lost={entry.uid}" and closed(db) == [NOW.date()]
    told = client.get(where).text
    assert "The plan was left aside. Today stays without painting, as you said: No painting today" in words(told)
    assert f"/history/{entry.uid}/undo" in told.partition("as you said")[2].partition("</form>")[0]
    assert client.post(f"/history/{entry.uid}/undo").status_code == 303
    assert closed(db) == []
    assert "stays without painting" not in words(client.get(where).text)
    assert "stays without painting" not in client.get("/plan?lost=nobody").text


def test_what_was_changed_since_stays_and_is_told_with_its_undo(bare: Bench, client: TestClient, db: Database) -> None:
    """The day left free can be taken back, the layer that somebody changed again cannot."""
    late_panel(bare)
    accepted(client, db)
    layer = thinner(client)
    day = free(client, db)
    with bare.unit("Changed the layer again") as work:
        row = work.session.exec(select(Layer).where(Layer.uid == layer)).one()
        row.wet_thickness_um = 77
    assert closed(db) == [date.fromisoformat(day)]
    told = client.get(keep(client, db)).text
    assert micrometres(db, layer) == 77 and closed(db) == []
    assert "but this stays" in words(told) and "Late one: lay" in words(told).partition("but this stays")[2]
    with db.read() as session:
        entry = next(one for one in recent(session, bare.actor) if one.label.startswith("Late one: lay"))
    assert f"/history/{entry.uid}/undo" in told
    assert "but this stays" not in client.get("/plan?stays=nobody").text


def test_a_date_that_was_moved_since_stays(bare: Bench, client: TestClient, db: Database) -> None:
    """The date that was agreed on was moved by hand afterwards: nothing is overwritten."""
    uid = late_panel(bare)
    make(client)
    keys = offered(client)
    due = next(key for key in keys if key.startswith("due:"))
    client.post(keys[due], data={"key": due})
    with bare.unit("Moved the date") as work:
        work.session.exec(select(Panel).where(Panel.uid == uid)).one().due_on = date(2027, 8, 1)
    assert keep(client, db).startswith("/plan?stays=")
    with db.read() as session:
        assert session.exec(select(Panel).where(Panel.uid == uid)).one().due_on == date(2027, 8, 1)
