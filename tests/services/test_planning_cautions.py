"""A caution costs something in a plan: a panel with time to spare waits for it to pass, none is made late for it."""

import re
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlmodel import col, select

from server.science.soundness.types import Basis, Finding, Remedy, Severity
from server.services import board, planning, planning_make, planning_plans, touch_tests
from server.services.board.plan_holds import broken_sittings
from server.services.board.plan_problem import Extra
from server.services.board.rows import load
from server.services.board.rule_waits import LONGEST_REST_D
from server.services.plan_reading import BrokenSitting
from server.services.planning_apply import APPLY
from server.services.planning_asked import Effort, PlanMake
from server.services.planning_rules import CAUTION_PRICE, LONGEST_WAIT_D
from server.services.planning_sound import wait_or_leave
from server.store.tables import Layer, Panel, Studio
from server.web import standing_words
from tests.services.conftest import NOW, Bench

ZONE = ZoneInfo("UTC")
QUICK = Effort(moves=100)


@pytest.fixture
def rich(bench: Bench) -> Bench:
    """Mornings every day. Below is PBk9, above it PW6, which takes less oil to a paste (common practice, no source):
    leaner over richer, and the slower one below."""
    with bench.unit("Hours") as work:
        hours = planning.WorkTimeCreate(painter="Ada", weekdays="1234567", start="09:00", end="12:30")
        planning.create(work.session, bench.actor, hours)
    return bench


def two_layers(bench: Bench, **panel: Any) -> tuple[Panel, Layer, Layer]:
    made = bench.panel(**panel)
    lower = bench.layer(made, kind="first", mixes=[{"mix_uid": bench.black.uid}], thickness_preset="thin_opaque")
    return made, lower, bench.layer(made, kind="second", thickness_preset="thin_opaque")


def content_of(bench: Bench, command: PlanMake | None = None) -> dict[str, Any]:
    with bench.db.read() as session:
        asked = planning_make.read(session, bench.actor, command or PlanMake(), NOW, ZONE)
    return planning_make.work_out(asked, QUICK)


def taken(bench: Bench, content: dict[str, Any]) -> str:
    with bench.unit("Took a plan") as work:
        uid = planning_plans.propose(work.session, bench.actor, content).uid
        planning_plans.accept(work.session, bench.actor, uid)
    return uid


def gap(content: dict[str, Any], lower: Layer, upper: Layer) -> timedelta:
    at = {s["id"]: datetime.fromisoformat(s["start_at"]) for s in content["sittings"]}
    return at[upper.uid] - at[lower.uid]


def cautions(content: dict[str, Any]) -> list[str]:
    return [one["rule"] for sitting in content["sittings"] for one in sitting["cautions"]]


def rests(content: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {sitting["id"]: sitting["rest"] for sitting in content["sittings"] if sitting["rest"]}


def test_a_panel_with_time_to_spare_waits_for_a_caution_to_pass(rich: Bench) -> None:
    """Derived: the same two layers with no time to spare stand closer, and with the caution; with time, without it."""
    panel, lower, upper = two_layers(rich)
    content = content_of(rich)
    assert cautions(content) == []
    [rest] = rests(content).values()
    assert not rest["is_stop"] and gap(content, lower, upper) >= timedelta(days=rest["days"])
    why = next(s["why"] for s in content["sittings"] if s["id"] == upper.uid)
    assert f"else it cautions: {rest['title']} ({rest['rule']})" in why and "“first”" in why
    with rich.unit("Promised") as work:
        work.session.get_one(Panel, panel.id).due_on = NOW.date() + timedelta(days=1)
    pressed = content_of(rich)
    assert cautions(pressed) == [rest["rule"]] and rests(pressed) == {}
    assert gap(pressed, lower, upper) < gap(content, lower, upper)


def test_no_panel_is_made_late_for_a_caution(rich: Bench) -> None:
    """Derived: due on the very day that it can make with the caution, it makes it; weight 1 and one day late would cost
    as much as the caution, so the day before which nothing is lost is the last one."""
    panel, lower, upper = two_layers(rich, packing_d=0)
    with rich.unit("Promised") as work:
        work.session.get_one(Panel, panel.id).due_on = NOW.date() + timedelta(days=1)
    soonest = content_of(rich)["panels"][0]["finish_on"]
    with rich.unit("Promised otherwise") as work:
        work.session.get_one(Panel, panel.id).due_on = datetime.fromisoformat(soonest).date()
    content = content_of(rich)
    assert content["panels"][0]["late_d"] == 0 and content["panels"][0]["finish_on"] == soonest
    assert len(cautions(content)) == 1
    assert gap(content, lower, upper) < timedelta(days=LONGEST_WAIT_D)
    assert CAUTION_PRICE > 0


def test_what_is_pinned_is_not_moved_for_a_caution(rich: Bench) -> None:
    panel, _, upper = two_layers(rich)
    with rich.unit("Promised") as work:
        work.session.get_one(Panel, panel.id).due_on = NOW.date() + timedelta(days=1)
    close = content_of(rich)
    uid = taken(rich, close)
    with rich.unit("Held") as work:
        planning_plans.pin(work.session, rich.actor, uid, upper.uid, pinned=True)
        work.session.get_one(Panel, panel.id).due_on = None
    for command in (PlanMake(), PlanMake(anew=True)):
        again = content_of(rich, command)
        at = {s["id"]: s["start_at"] for s in again["sittings"]}
        assert at[upper.uid] == next(s["start_at"] for s in close["sittings"] if s["id"] == upper.uid)


def test_a_plan_that_is_set_right_keeps_the_wait_and_its_reason(rich: Bench) -> None:
    _, lower, upper = two_layers(rich)
    content = content_of(rich)
    taken(rich, content)
    again = content_of(rich)
    assert again["moved"] == [] and gap(again, lower, upper) == gap(content, lower, upper)
    assert rests(again).keys() == rests(content).keys()


def test_a_pin_that_cannot_hold_is_let_go_and_told(rich: Bench) -> None:
    """Derived: the upper layer is held, and until its day nobody works any more, so the lower one has no day before it.
    What is held elsewhere stays: it waits to share the upper layer's mix, so it has a day that stays open."""
    with rich.unit("Mixes are shared") as work:
        work.session.get_one(Studio, rich.actor.studio_id).share_wait_d = 60.0
    _, lower, upper = two_layers(rich)
    other = rich.layer(rich.panel(title="Another"), kind="only", thickness_preset="thin_opaque")
    content = content_of(rich)
    at = {s["id"]: datetime.fromisoformat(s["start_at"]) for s in content["sittings"]}
    uid = taken(rich, content)
    with rich.unit("Held") as work:
        for layer in (upper, other):
            planning_plans.pin(work.session, rich.actor, uid, layer.uid, pinned=True)
        days_off = planning.WorkTimeCreate(
            painter=planning.EVERYBODY, on_date=NOW.date(), until_on=at[upper.uid].date() - timedelta(days=1)
        )
        planning.create(work.session, rich.actor, days_off)
    again = content_of(rich)
    assert [one["id"] for one in again["let_go"]] == [upper.uid]
    pinned = {s["id"]: s["pinned"] for s in again["sittings"]}
    assert pinned == {lower.uid: False, upper.uid: False, other.uid: True}
    now_at = {s["id"]: datetime.fromisoformat(s["start_at"]) for s in again["sittings"]}
    assert now_at[other.uid] == at[other.uid] and now_at[lower.uid] > at[upper.uid]


def test_what_is_ready_sooner_than_the_plan_counted_on_is_planned_anew(rich: Bench) -> None:
    """Derived: the plan waits for a thick layer; pressed touch-dry, the next may go on at once. Other panels stay."""
    panel = rich.panel(title="Pressed")
    rich.painted(panel, 2, kind="below", mixes=[{"mix_uid": rich.black.uid}], thickness_preset="thin_opaque")
    upper = rich.layer(panel, kind="above", mixes=[{"mix_uid": rich.black.uid}], thickness_preset="thin_opaque")
    other = rich.layer(rich.panel(title="Another"), kind="only", thickness_preset="thin_opaque")
    content = content_of(rich)
    taken(rich, content)
    at = {s["id"]: s["start_at"] for s in content["sittings"]}
    assert holds(rich) == ()
    with rich.unit("Pressed") as work:
        below = work.session.scalars(select(Layer).where(col(Layer.painted_at).is_not(None))).one()
        given = touch_tests.TouchTestCreate(stage="touch_dry", is_sure=True)
        touch_tests.log(work.session, rich.actor, below.uid, given, NOW)
    assert holds(rich) == ("Pressed",)
    again = content_of(rich)
    now_at = {s["id"]: s["start_at"] for s in again["sittings"]}
    assert now_at[other.uid] == at[other.uid]
    assert datetime.fromisoformat(now_at[upper.uid]) < datetime.fromisoformat(at[upper.uid]) - timedelta(days=2)
    taken(rich, again)
    assert holds(rich) == ()


def holds(bench: Bench) -> tuple[str, ...]:
    with bench.db.read() as session:
        return tuple(title for _, title in board.today(session, bench.actor, NOW, ZONE).holds.sooner)


def test_all_that_is_offered_for_a_late_panel_can_be_done(rich: Bench) -> None:
    """Of more late panels than are looked at closely, and of one that has a pinned sitting, nothing is offered that no
    button could do."""
    for number in range(planning_make.MOST_LATE + 2):
        panel = rich.panel(title=f"Late {number}", due_on=NOW.date() + timedelta(days=1), place_uid=rich.place.uid)
        for kind in ("first", "second"):
            rich.layer(panel, kind=kind, mixes=[{"mix_uid": rich.black.uid}], thickness_preset="thin_opaque")
    content = content_of(rich)
    uid = taken(rich, content)
    with rich.unit("Held") as work:
        planning_plans.pin(work.session, rich.actor, uid, content["sittings"][0]["id"], pinned=True)
    for told in (content, content_of(rich)):
        keys = {option["key"].partition(":")[0] for panel in told["panels"] for option in panel["options"]}
        assert keys and keys <= APPLY.keys()


def test_of_two_panels_only_the_one_with_time_to_spare_waits(rich: Bench) -> None:
    """Derived: each alone does what the tests above say; together neither all waits nor none cost the least."""
    pressed, spare = two_layers(rich, title="Pressed", due_on=NOW.date() + timedelta(days=1)), two_layers(rich)
    for command in (PlanMake(), PlanMake(anew=True)):
        content = content_of(rich, command)
        cautioned = [sitting["id"] for sitting in content["sittings"] if sitting["cautions"]]
        assert cautioned == [pressed[2].uid] and list(rests(content)) == [spare[2].uid]
    taken(rich, content)
    again = content_of(rich)
    assert again["moved"] == [] and list(rests(again)) == [spare[2].uid]
    assert [sitting["id"] for sitting in again["sittings"] if sitting["cautions"]] == [pressed[2].uid]


def test_no_sitting_may_slip_to_where_a_rule_has_more_against_the_layer_above(rich: Bench) -> None:
    """Derived: the upper layer is pinned to the day on which the rules are content with the lower one's age; every day
    that the lower one slips takes from that age."""
    _, lower, upper = two_layers(rich)
    with rich.unit("Today stays as it stands, so nothing is painted today") as work:
        today = planning.WorkTimeCreate(painter=planning.EVERYBODY, on_date=NOW.date())
        planning.create(work.session, rich.actor, today)
    content = content_of(rich)
    uid = taken(rich, content)
    with rich.unit("Held") as work:
        planning_plans.pin(work.session, rich.actor, uid, upper.uid, pinned=True)
    again = {s["id"]: s for s in content_of(rich, PlanMake(anew=True))["sittings"]}
    rest_d = next(iter(rests(content).values()))["days"]
    last = datetime.fromisoformat(again[lower.uid]["may_slip_to"])
    above = datetime.fromisoformat(again[upper.uid]["start_at"])
    assert again[upper.uid]["rest"] is None, "pinned, so the search was told of no rest"
    assert above - last >= timedelta(days=0.99 * rest_d)


def test_the_rule_is_named_where_the_first_times_after_its_wait_are_taken(rich: Bench) -> None:
    """Two panels with the same wait: the mornings of three and a half hours hold two sittings, not four."""
    for number in range(3):
        two_layers(rich, title=f"Panel {number}")
    whys = [s["why"] for s in content_of(rich)["sittings"] if s["rest"]]
    assert len(whys) == 3
    named = [why for why in whys if "a rule asks to wait over" in why]
    assert named and all("else it cautions: " in why for why in named)


def test_a_sitting_that_a_rule_stops_since_a_layer_below_moved_is_told(rich: Bench) -> None:
    """Derived: moved by hand to the day before, the lower layer is wet when the upper one is to go on."""
    panel, lower, upper = two_layers(rich)
    taken(rich, content_of(rich))
    assert slipped(rich) == ((), {})
    with rich.unit("Moved by hand") as work:
        on = work.session.get_one(Layer, upper.id).planned_on
        assert on is not None
        work.session.get_one(Layer, lower.id).planned_on = on - timedelta(days=1)
    titles, why = slipped(rich)
    assert titles == (panel.title,) and why.keys() == {upper.uid}
    assert why[upper.uid].why == "stopped" and re.search(r"\(R\d\d\)$", why[upper.uid].rule)
    taken(rich, content_of(rich))
    assert slipped(rich) == ((), {})


def test_a_panel_that_the_plan_leaves_out_does_not_make_it_one_that_holds_no_more(rich: Bench) -> None:
    """Derived: a layer that a rule stops, with a day by hand, is in no plan, and setting that right would not help."""
    two_layers(rich)
    panel = rich.panel(title="Left out")
    rich.painted(panel, 1, mixes=[{"mix_uid": rich.black.uid}], wet_thickness_um=600, thickness_preset=None)
    thin = {"thickness_preset": None, "wet_thickness_um": 12}
    rich.layer(panel, kind="glaze", planned_on=NOW.date() + timedelta(days=3), **thin)
    content = content_of(rich)
    assert [one["title"] for one in content["left_out"]] == ["Left out"]
    taken(rich, content)
    assert slipped(rich) == ((), {})


def slipped(bench: Bench) -> tuple[tuple[str, ...], dict[str, BrokenSitting]]:
    """The titles of the panels of which the plan does not hold, and what is told of their sittings."""
    with bench.db.read() as session:
        wall = board.today(session, bench.actor, NOW, ZONE)
        rows = load(session, bench.actor)
    assert rows is not None
    facts = [fact for group in wall.groups.values() for fact in group]
    return tuple(title for _, title in wall.holds.slipped), broken_sittings(rows, facts, wall.moment)


def test_a_layer_that_lies_already_rests_until_a_caution_has_passed(rich: Bench) -> None:
    """Derived: the same two layers, the lower one painted a day ago and pressed: the wait counts from its painting."""
    panel = rich.panel()
    below = rich.painted(panel, 1, kind="first", mixes=[{"mix_uid": rich.black.uid}], thickness_preset="thin_opaque")
    upper = rich.layer(panel, kind="second", thickness_preset="thin_opaque")
    with rich.unit("Pressed") as work:
        given = touch_tests.TouchTestCreate(stage="touch_dry", is_sure=True)
        touch_tests.log(work.session, rich.actor, below.uid, given, NOW)
    content = content_of(rich)
    [sitting] = content["sittings"]
    assert sitting["id"] == upper.uid and cautions(content) == []
    at = datetime.fromisoformat(sitting["start_at"])
    assert sitting["rest"] and at >= NOW - timedelta(days=1) + timedelta(days=sitting["rest"]["days"])
    assert "else it cautions: " in sitting["why"]
    with rich.db.read() as session:
        fact = board.one_panel(session, rich.actor, panel.uid, board.moment_of(NOW, ZONE))
    assert fact is not None and fact.verdict is not None and below.painted_at is not None
    finding = next(one for one in fact.verdict.findings if one.rule == sitting["rest"]["rule"])
    day = standing_words.finding_day(finding, fact.top, ZONE)
    assert day is not None and day < at.date(), "it passes in the course of a day, after its working time"
    assert f"a rule asks to wait until {day:%A} {day.day} {day:%B %Y}, else" in sitting["why"]
    assert sitting["why"].endswith(f"nobody works until {at:%A} {at.day} {at:%B %Y}, 09:00")


def stop(rule: str, not_before_d: float | None) -> Finding:
    remedy = Remedy(text="Wait", not_before_d=not_before_d)
    return Finding(rule, Severity.STOP, f"Title of {rule}", f"Reason of {rule}", Basis.DERIVED, "made up", remedy)


def test_who_would_wait_for_years_or_for_ever_is_left_out_with_the_reason_that_counts() -> None:
    layer = SimpleNamespace(row=SimpleNamespace(uid="layer"))
    layers = SimpleNamespace(panel=SimpleNamespace(uid="panel"), to_come=[layer], on=[layer])
    standing: Any = SimpleNamespace(layers=layers)
    told = {}
    for days in (LONGEST_REST_D, LONGEST_REST_D + 1):
        extra = Extra()
        wait_or_leave(standing, (0, [stop("R02", days)]), extra)
        told[days] = (extra.left_out, list(extra.rests))
    assert told == {LONGEST_REST_D: ({}, ["layer"]), LONGEST_REST_D + 1: ({"panel": "Reason of R02"}, [])}
    extra = Extra()
    wait_or_leave(standing, (0, [stop("R02", 10.0), stop("R20", None)]), extra)
    assert extra.left_out == {"panel": "Reason of R20"}, "no waiting cures it, though it is told second"


@pytest.mark.parametrize(("um", "years"), [(300, 1.9), (400, 3.2)])
def test_over_a_layer_that_is_on_nobody_waits_longer_than_two_years(rich: Bench, um: int, years: float) -> None:
    """PBk9 laid thick is dry through, nine times in ten, only after so many years by our own drying model, and by
    common practice, no source, nothing quicker goes over it sooner. Two years are an appointment, three are none."""
    panel = rich.panel(title="Thick")
    laid = {"mixes": [{"mix_uid": rich.black.uid}], "thickness_preset": None, "wet_thickness_um": um}
    rich.layer(panel, kind="slab", painted_at=NOW - timedelta(days=1), **laid)
    rich.layer(panel, kind="glaze")
    content = content_of(rich)
    assert (years * 365 < LONGEST_REST_D) == bool(content["sittings"])
    if content["sittings"]:
        [sitting] = content["sittings"]
        assert datetime.fromisoformat(sitting["start_at"]) - NOW > timedelta(days=0.95 * 365 * years)
    else:
        [out] = content["left_out"]
        assert out["title"] == "Thick" and f"nine times in ten by about {years} years" in out["reason"]
