"""A plan set right that is answered with before all is told of it: in the end it is what it always was."""

import json
import pickle
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlmodel import col, select, update

from server.planning.schedule import threads
from server.planning.schedule.repair import SEARCH_S, TOGETHER_S
from server.services import history, planning, planning_first, planning_make, planning_plans, planning_quiet
from server.services.board.snapshot import snapshot
from server.services.board.today import moment_of
from server.services.errors import Refused
from server.services.plan_reading import FOLLOWS
from server.services.planning_ahead import Changed, Later
from server.services.planning_asked import Asked, Effort, Made, PlanMake
from server.services.planning_first import Answered, Firsts, Rest, in_parts
from server.services.planning_quiet import Begun
from server.services.planning_sound import sound
from server.services.search_pool import Ears
from server.services.search_worker import Part
from server.store.tables import Change, ChangeSet, StudioPlan
from tests.services.conftest import NOW, Bench

ZONE = ZoneInfo("UTC")
EFFORT = Effort(moves=60)
LATEST_S = 60.0


@pytest.fixture
def studio(bench: Bench) -> Bench:
    """A plan is in use; then one of its panels is late, and a day is lost."""
    for number in range(3):
        panel = bench.panel(title=f"Panel {number}", due_on=NOW.date() + timedelta(days=8 + 30 * number))
        for kind in ("underpainting", "glaze"):
            bench.layer(panel, kind=kind, thickness_preset=None, wet_thickness_um=60, sitting_min=60)
    with bench.unit("Hours") as work:
        hours = planning.WorkTimeCreate(painter="Ada", weekdays="12345", start="09:00", end="12:30")
        planning.create(work.session, bench.actor, hours)
    keep(bench, planning_make.work_out(asked_of(bench), EFFORT), taken=True)
    with bench.unit("Closed") as work:
        closed = planning.WorkTimeCreate(painter=planning.EVERYBODY, on_date=NOW.date() + timedelta(days=1))
        planning.create(work.session, bench.actor, closed)
    return bench


def asked_of(bench: Bench) -> Asked:
    with bench.db.read() as session:
        return planning_make.read(session, bench.actor, PlanMake(), NOW, ZONE)


def later_of(bench: Bench) -> Later:
    """As after a change that leaves everything as it is."""
    with bench.db.read() as session:
        rows = snapshot(session, bench.actor).rows
        reading = planning_make.reading_from(session, bench.actor, PlanMake(), moment_of(NOW, ZONE), rows)
    return Later(reading, Changed("Set the plan right", {}))


def keep(bench: Bench, content: dict[str, Any], *, taken: bool = False) -> str:
    with bench.unit("Set the plan right") as work:
        uid = planning_plans.propose(work.session, bench.actor, content, "chosen-entry").uid
        if taken:
            planning_plans.accept(work.session, bench.actor, uid)
    return uid


def begun(bench: Bench, uid: str) -> Begun:
    return Begun(bench.db, bench.actor, uid, PlanMake(), NOW, ZONE)


def stored(bench: Bench, uid: str) -> dict[str, Any]:
    with bench.db.read() as session:
        row = session.exec(select(StudioPlan).where(StudioPlan.uid == uid)).one()
        return dict(row.content_json or {})


def worked_out(later: Later) -> tuple[dict[str, Any], Rest]:
    heard: list[dict[str, Any]] = []

    def told(one: Any) -> bool:
        if isinstance(one, Part):
            heard.append(pickle.loads(pickle.dumps(one.value)))
        return True

    rest = in_parts(later, EFFORT, told)
    [first] = heard
    return first, rest


class Here:
    """Does what a search process does, in this one."""

    def run(self, work: Any, later: Later, _effort: None, kind: str = "quick", ears: Ears | None = None) -> Any:
        assert ears is not None
        return work(later, EFFORT, ears.told)


class Cut(Here):
    """Breaks off after the first part, or before it."""

    def __init__(self, *, after_first: bool) -> None:
        self.after_first = after_first

    def run(self, work: Any, later: Later, _effort: None, kind: str = "quick", ears: Ears | None = None) -> Any:
        if self.after_first:
            super().run(work, later, _effort, ears=ears)
        raise Refused("It was cut off.")


@pytest.fixture
def firsts(studio: Bench, monkeypatch: pytest.MonkeyPatch) -> Iterator[Firsts]:
    made = Firsts(1)
    monkeypatch.setattr(planning_first, "FIRSTS", made)
    monkeypatch.setattr(planning_first, "SEARCHES", Here())
    yield made
    made.wait(studio.actor.studio_id, LATEST_S)


def answered_and_kept(bench: Bench, firsts: Firsts) -> tuple[str, Answered]:
    answered = firsts.of(later_of(bench))
    return keep(bench, answered.content), answered


def test_first_and_rest_come_to_what_was_worked_out_at_once(studio: Bench) -> None:
    asked = asked_of(studio)
    whole = planning_make.work_out(asked, EFFORT)
    first, rest = worked_out(pickle.loads(pickle.dumps(later_of(studio))))
    assert any(panel["late_d"] and panel["options"] for panel in whole["panels"])
    assert all(not one["why"] for one in first["sittings"]) and first[FOLLOWS]
    assert planning_make.with_what_follows(first, rest.whole) == rest.whole
    assert (rest.better or rest.whole) == whole


def test_what_is_stored_in_the_end_is_what_it_always_was(studio: Bench, firsts: Firsts) -> None:
    whole = planning_make.work_out(asked_of(studio), EFFORT)
    uid, answered = answered_and_kept(studio, firsts)
    assert FOLLOWS in stored(studio, uid)
    answered.kept(begun(studio, uid))
    assert firsts.wait(studio.actor.studio_id, LATEST_S)
    noted = {planning_plans.CHOSEN: ["chosen-entry"]}
    assert json.dumps(stored(studio, uid), sort_keys=True) == json.dumps({**whole, **noted}, sort_keys=True)


def test_it_is_no_change_of_its_own_and_what_made_the_plan_can_be_undone(studio: Bench, firsts: Firsts) -> None:
    uid, answered = answered_and_kept(studio, firsts)
    with studio.db.read() as session:
        before = session.exec(select(ChangeSet).order_by(col(ChangeSet.id).desc())).first()
    answered.kept(begun(studio, uid))
    assert firsts.wait(studio.actor.studio_id, LATEST_S)
    with studio.db.read() as session:
        last = session.exec(select(ChangeSet).order_by(col(ChangeSet.id).desc())).first()
        row = session.exec(select(StudioPlan).where(StudioPlan.uid == uid)).one()
        noted = session.exec(select(Change).where(Change.table_name == "studio_plan", Change.row_id == row.id)).one()
    assert before is not None and last is not None and last.id == before.id
    assert (noted.after or {})["content_json"] == row.content_json
    with studio.unit("Undid it") as work:
        history.undo(work.session, studio.actor, last.uid)
    with studio.db.read() as session:
        assert session.exec(select(StudioPlan).where(StudioPlan.uid == uid)).one().archived_at is not None


def test_it_reaches_a_plan_that_was_taken_and_pinned_meanwhile(studio: Bench, firsts: Firsts) -> None:
    uid, answered = answered_and_kept(studio, firsts)
    pinned = stored(studio, uid)["sittings"][-1]["id"]
    with studio.unit("Took it") as work:
        planning_plans.accept(work.session, studio.actor, uid)
    with studio.unit("Pinned one") as work:
        planning_plans.pin(work.session, studio.actor, uid, pinned, pinned=True)
        change_uid = work.change_uid
    answered.kept(begun(studio, uid))
    assert firsts.wait(studio.actor.studio_id, LATEST_S)
    told = stored(studio, uid)
    assert [one["id"] for one in told["sittings"] if one["pinned"]] == [pinned]
    assert all(one["why"] for one in told["sittings"]) and FOLLOWS not in told
    with studio.unit("Undid the pin") as work:
        history.undo(work.session, studio.actor, change_uid)
    assert not any(one["pinned"] for one in stored(studio, uid)["sittings"])


def test_a_plan_that_is_worth_more_takes_its_place_unless_something_changed(
    studio: Bench, firsts: Firsts, monkeypatch: pytest.MonkeyPatch
) -> None:
    def other(asked: Asked, effort: Effort) -> Made:
        made = sound(asked, effort)
        return sound(asked, Effort(moves=0)) if effort.first is not None else made

    monkeypatch.setattr(planning_first, "sound", other)
    uid, answered = answered_and_kept(studio, firsts)
    answered.kept(begun(studio, uid))
    assert firsts.wait(studio.actor.studio_id, LATEST_S)
    with studio.db.read() as session:
        waiting = planning_plans.waiting(session, studio.actor)
    assert waiting is not None and waiting.uid != uid
    assert (waiting.content_json or {})[planning_plans.CHOSEN] == ["chosen-entry"]
    uid, answered = answered_and_kept(studio, firsts)
    studio.panel(title="A new commission")
    answered.kept(begun(studio, uid))
    assert firsts.wait(studio.actor.studio_id, LATEST_S)
    with studio.db.read() as session:
        waiting = planning_plans.waiting(session, studio.actor)
    assert waiting is not None and waiting.uid == uid and FOLLOWS not in (waiting.content_json or {})


def test_what_comes_of_the_search_before_the_first_part_is_raised(
    studio: Bench, firsts: Firsts, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(planning_first, "SEARCHES", Cut(after_first=False))
    with pytest.raises(Refused, match="cut off"):
        firsts.of(later_of(studio))


def test_a_rest_that_is_lost_leaves_a_plan_that_says_so(
    studio: Bench, firsts: Firsts, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(planning_first, "SEARCHES", Cut(after_first=True))
    uid, answered = answered_and_kept(studio, firsts)
    answered.kept(begun(studio, uid))
    assert firsts.wait(studio.actor.studio_id, LATEST_S) and not firsts.is_running(studio.actor.studio_id)
    assert FOLLOWS in stored(studio, uid)


def test_a_plan_that_is_not_kept_is_let_go(studio: Bench, firsts: Firsts) -> None:
    answered = firsts.of(later_of(studio))
    answered.let_go()
    assert answered.following is not None and answered.following.is_over.wait(LATEST_S)


def test_a_small_studio_is_answered_with_the_whole(studio: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(planning_make, "worked_out_apart", lambda *_: {"whole": True})
    assert Firsts(4).of(later_of(studio)) == Answered({"whole": True})
    assert planning_quiet.QUIET.seconds == 0.0


def test_what_is_asked_is_sent_without_where_panels_stand_and_found_as_it_was(studio: Bench) -> None:
    asked = asked_of(studio)
    sent = pickle.dumps(asked)
    assert b"PanelStanding" not in sent
    there = pickle.loads(sent)
    assert repr(there.found) == repr(asked.found) and there.room == asked.room
    effort = Effort(moves=0)
    assert planning_make.work_out(there, effort) == planning_make.work_out(asked, effort)


def test_several_threads_search_for_a_shorter_time(studio: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    spent: list[float] = []

    def noted(asked: Asked, effort: Effort) -> Made:
        spent.append(effort.seconds)
        return sound(asked, replace(effort, moves=0))

    monkeypatch.setattr(planning_first, "sound", noted)
    for count in (1, 2):
        monkeypatch.setattr(threads, "allowed", lambda count=count: count)
        planning_first.in_parts(later_of(studio), None, lambda _: True)
    assert spent == [SEARCH_S, TOGETHER_S]


def test_what_another_process_entered_in_the_plan_in_use_is_seen_at_once(studio: Bench) -> None:
    """It writes past the history, and its commits are not ours."""
    asked = asked_of(studio)
    made = sound(asked, EFFORT)
    first = planning_make.first_content_of(made, asked)
    uid = keep(studio, first, taken=True)

    def reasons() -> set[str]:
        with studio.db.read() as session:
            plan = snapshot(session, studio.actor).rows.plan
        assert plan is not None and plan.uid == uid
        return {one.why for one in plan.sittings.values()}

    assert reasons() == {""} == reasons()
    with studio.db.write() as session:
        told = planning_make.with_what_follows(first, planning_make.content_of(made, asked))
        session.execute(update(StudioPlan).where(col(StudioPlan.uid) == uid).values(content_json=told))
    assert "" not in reasons()
