"""A plan that goes on getting better in the background: offered, never taken by itself, dropped when it is stale."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlmodel import col, select

from server.services import history, planning, planning_make, planning_plans
from server.services.errors import Refused
from server.services.history import BY_ITSELF
from server.services.planning_asked import Asked, Effort, PlanMake
from server.services.planning_quiet import Begun, QuietSearches
from server.services.search_pool import CUT_OFF
from server.store.tables import ChangeSet, Layer, StudioPlan
from tests.services.conftest import NOW, Bench

ZONE = ZoneInfo("UTC")
LATEST_S = 60.0
Found = Callable[[dict[str, Any]], dict[str, Any]]


@pytest.fixture
def quiet() -> Iterator[QuietSearches]:
    made = QuietSearches(5.0)
    yield made
    made.wait(1, LATEST_S)


@pytest.fixture
def studio(bench: Bench) -> Bench:
    for number in range(3):
        panel = bench.panel(title=f"Panel {number}", due_on=NOW.date() + timedelta(days=20))
        for kind in ("underpainting", "glaze"):
            bench.layer(panel, kind=kind, thickness_preset=None, wet_thickness_um=60, sitting_min=60)
    with bench.unit("Hours") as work:
        hours = planning.WorkTimeCreate(painter="Ada", weekdays="12345", start="09:00", end="12:30")
        planning.create(work.session, bench.actor, hours)
    return bench


def proposed(bench: Bench) -> Begun:
    """A plan that waits to be looked at."""
    with bench.db.read() as session:
        asked = planning_make.read(session, bench.actor, PlanMake(), NOW, ZONE)
    content = planning_make.work_out(asked, Effort(moves=0))
    with bench.unit("Made a plan") as work:
        uid = planning_plans.propose(work.session, bench.actor, content).uid
    return Begun(bench.db, bench.actor, uid, PlanMake(), NOW, ZONE)


def accept(bench: Bench, uid: str) -> None:
    with bench.unit("Took it") as work:
        planning_plans.accept(work.session, bench.actor, uid)


def finds(monkeypatch: pytest.MonkeyPatch, bench: Bench, better: float, meanwhile: Callable[[], None]) -> list[int]:
    """Have searches find what stands, at ``better`` times its cost; ``meanwhile`` is done during the first."""
    asked_for: list[int] = []

    def found(*_: object) -> dict[str, Any]:
        with bench.db.read() as session:
            rows = session.exec(select(StudioPlan).order_by(col(StudioPlan.id).desc())).all()
        content = next(row for row in rows if row.archived_at is None).content_json or {}
        if not asked_for:
            meanwhile()
        asked_for.append(1)
        terms = ("total", "weighted_tardiness_d", "set_ups", "flow_d")
        return {
            **content,
            "objective": {**content["objective"], **{k: content["objective"][k] * better for k in terms}},
        }

    monkeypatch.setattr(planning_make, "worked_out_apart", found)
    return asked_for


def open_plans(bench: Bench) -> list[StudioPlan]:
    with bench.db.read() as session:
        return [plan for plan in session.exec(select(StudioPlan)) if plan.archived_at is None]


def last_change(bench: Bench) -> ChangeSet:
    with bench.db.read() as session:
        found = session.exec(select(ChangeSet).order_by(col(ChangeSet.id).desc())).first()
    assert found is not None
    return found


def nothing() -> None:
    pass


def run(quiet: QuietSearches, begun: Begun) -> None:
    quiet.begin(begun)
    assert quiet.wait(begun.actor.studio_id, LATEST_S)


def test_a_better_plan_takes_the_place_of_the_one_that_waits(
    studio: Bench, quiet: QuietSearches, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = proposed(studio)
    finds(monkeypatch, studio, 0.9, nothing)
    run(quiet, begun)
    [plan] = open_plans(studio)
    assert plan.uid != begun.uid and plan.accepted_at is None
    assert (plan.content_json or {})["gain_pct"] == pytest.approx(10.0, abs=0.1)
    assert last_change(studio).label == BY_ITSELF


def test_what_led_to_it_is_undone_and_done_again_with_it(
    studio: Bench, quiet: QuietSearches, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = proposed(studio)
    made = last_change(studio)
    finds(monkeypatch, studio, 0.9, nothing)
    run(quiet, begun)
    finds(monkeypatch, studio, 0.8, nothing)
    run(quiet, Begun(begun.db, begun.actor, open_plans(studio)[0].uid, begun.command, begun.now, begun.zone))
    [best] = open_plans(studio)
    with studio.unit("Undid it") as work:
        history.undo(work.session, studio.actor, made.uid)
    assert open_plans(studio) == []
    with studio.unit("Did it again") as work:
        history.redo(work.session, studio.actor, made.uid)
    assert [plan.uid for plan in open_plans(studio)] == [best.uid]


def test_what_somebody_did_with_it_since_still_keeps_it(
    studio: Bench, quiet: QuietSearches, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = proposed(studio)
    made = last_change(studio)
    finds(monkeypatch, studio, 0.9, nothing)
    run(quiet, begun)
    [better] = open_plans(studio)
    accept(studio, better.uid)
    with pytest.raises(Refused, match="was changed since"), studio.unit("Undid it") as work:
        history.undo(work.session, studio.actor, made.uid)
    assert [plan.uid for plan in open_plans(studio)] == [better.uid]


@pytest.mark.parametrize("better", [0.995, 1.0, 1.2])
def test_what_is_hardly_better_is_not_offered(
    studio: Bench, quiet: QuietSearches, monkeypatch: pytest.MonkeyPatch, better: float
) -> None:
    begun = proposed(studio)
    finds(monkeypatch, studio, better, nothing)
    run(quiet, begun)
    assert [plan.uid for plan in open_plans(studio)] == [begun.uid]


def test_a_plan_taken_meanwhile_stays_in_use_and_the_better_one_is_offered_beside_it(
    studio: Bench, quiet: QuietSearches, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = proposed(studio)
    searches = finds(monkeypatch, studio, 0.8, lambda: accept(studio, begun.uid))
    run(quiet, begun)
    assert len(searches) == 2  # the second from the plan that is in use now
    in_use, offered = sorted(open_plans(studio), key=lambda plan: plan.id or 0)
    assert in_use.uid == begun.uid and in_use.accepted_at is not None and offered.accepted_at is None


def test_nothing_is_offered_where_something_changed_meanwhile(
    studio: Bench, quiet: QuietSearches, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = proposed(studio)

    def add_panel() -> None:
        studio.panel(title="A new commission")

    finds(monkeypatch, studio, 0.5, add_panel)
    run(quiet, begun)
    assert [plan.uid for plan in open_plans(studio)] == [begun.uid]


def test_nothing_is_offered_beside_a_plan_that_was_left(
    studio: Bench, quiet: QuietSearches, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = proposed(studio)

    with studio.db.read() as session:
        kept = dict(session.exec(select(StudioPlan)).one().content_json or {})

    def leave(*_: object) -> dict[str, Any]:
        with studio.unit("Left it") as work:
            planning_plans.dismiss(work.session, studio.actor, begun.uid)
        return {**kept, "objective": {**kept["objective"], "total": 0.0}}

    monkeypatch.setattr(planning_make, "worked_out_apart", leave)
    run(quiet, begun)
    assert open_plans(studio) == []


def test_a_search_that_is_cut_off_changes_nothing(
    studio: Bench, quiet: QuietSearches, monkeypatch: pytest.MonkeyPatch
) -> None:
    def cut_off(*_: object) -> None:
        raise Refused(CUT_OFF)

    begun = proposed(studio)
    monkeypatch.setattr(planning_make, "worked_out_apart", cut_off)
    run(quiet, begun)
    assert [plan.uid for plan in open_plans(studio)] == [begun.uid]
    assert not quiet.is_running(studio.actor.studio_id)


def test_in_a_process_of_its_own_it_finds_what_holds(studio: Bench) -> None:
    """Whatever is offered was proved as any plan is; today's sittings stand where they stood."""
    begun = proposed(studio)
    accept(studio, begun.uid)
    quiet = QuietSearches(1.0)
    run(quiet, begun)
    plans = open_plans(studio)
    stood, *offered = [{s["id"]: s["start_at"] for s in (p.content_json or {})["sittings"]} for p in plans]
    for other in offered:
        today = {uid: at for uid, at in stood.items() if at[:10] == NOW.date().isoformat()}
        assert {uid: other.get(uid) for uid in today} == today
    assert len(plans) <= 2


def test_until_it_is_told_how_long_none_is_begun(studio: Bench) -> None:
    begun = proposed(studio)
    quiet = QuietSearches()
    quiet.begin(begun)
    assert not quiet.is_running(studio.actor.studio_id)


def test_a_sitting_that_was_moved_by_hand_stays_where_it_was_moved_to(
    studio: Bench, quiet: QuietSearches, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The move and its pin are in the plan that waits alone; one painted meanwhile is held no more."""
    first = proposed(studio)
    accept(studio, first.uid)
    begun = proposed(studio)
    [waiting] = [plan for plan in open_plans(studio) if plan.accepted_at is None]
    content = waiting.content_json or {}
    moved, painted, *_ = [sitting["id"] for sitting in content["sittings"]]
    day = NOW + timedelta(days=9)
    times = {"start_at": day.isoformat(), "end_at": (day + timedelta(hours=1)).isoformat(), "pinned": True}
    sittings = [{**s, **times} if s["id"] in (moved, painted) else s for s in content["sittings"]]
    with studio.unit("Moved it") as work:
        plan = work.session.get_one(StudioPlan, waiting.id)
        plan.content_json = {**content, "sittings": sittings}
        work.session.exec(select(Layer).where(Layer.uid == painted)).one().painted_at = NOW
    asked_for: list[Asked] = []

    def found(asked: Asked, *_: object) -> dict[str, Any]:
        asked_for.append(asked)
        return content

    monkeypatch.setattr(planning_make, "worked_out_apart", found)
    run(quiet, begun)
    [asked] = asked_for
    assert asked.room.pinned == {moved} and asked.room.stood[moved] == (day, "Ada")
    assert painted not in asked.room.stood
