"""Varnish, frame, wrap, stack, ship: planned, done, tested, taken back; the rules asked at the time it is done."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from server.science.results import Stage
from server.services import board, finish, finish_tests, history, layers, overrides, panels
from server.services.board.facts import ClosingFact, GateFact, PanelFact
from server.services.errors import Conflict, Invalid, NotFound, Refused
from server.services.finish import FinishStepCreate, FinishStepDo, FinishStepUpdate
from server.services.finish_tests import FinishTestCreate, FinishTestUpdate
from server.store.tables import FinishStep, FinishTest, Panel
from server.web import finish_words, standing_words
from tests.services.conftest import NOW, Bench
from tests.services.layer_acts import act, paint

PRAGUE = ZoneInfo("Europe/Prague")
DAY = timedelta(days=1)


def old_picture(bench: Bench, days_ago: float = 40.0) -> Panel:
    """One thin layer, long touch-dry."""
    panel = bench.panel(finished_on=(NOW - days_ago * DAY).date())
    bench.painted(panel, days_ago)
    return panel


def plan(bench: Bench, panel: Panel, action: str, **values: Any) -> FinishStep:
    with bench.unit("Planned") as work:
        command = FinishStepCreate(**({"action": action} | values))
        return finish.create(work.session, bench.actor, panel.uid, command, NOW)


def do(bench: Bench, step: FinishStep, **values: Any) -> FinishStep:
    with bench.unit("Did") as work:
        command = FinishStepDo(**({"version": step.version} | values))
        return finish.do(work.session, bench.actor, step.uid, command, NOW)


def log(bench: Bench, panel: Panel, method: str, result: str, days_ago: float = 0.0) -> FinishTest:
    with bench.unit("Tested") as work:
        command = FinishTestCreate(method=method, result=result, tested_at=NOW - days_ago * DAY)
        return finish_tests.log(work.session, bench.actor, panel.uid, command, NOW)


def gates(bench: Bench, panel: Panel, later_d: float = 0.0) -> dict[str, GateFact]:
    with bench.db.read() as session:
        moment = board.moment_of(NOW + later_d * DAY, PRAGUE)
        return {gate.action: gate for gate in finish.gates(session, bench.actor, panel.uid, moment)}


def verdict_of(gate: GateFact) -> str:
    assert gate.verdict is not None
    return gate.verdict.verdict.value


def shown(bench: Bench, panel: Panel, later_d: float = 0.0) -> PanelFact:
    with bench.db.read() as session:
        found = board.one_panel(session, bench.actor, panel.uid, board.moment_of(NOW + later_d * DAY, PRAGUE))
    assert found is not None
    return found


def closing(bench: Bench, panel: Panel, later_d: float = 0.0) -> ClosingFact:
    found = shown(bench, panel, later_d).closing
    assert found is not None
    return found


def test_each_gate_has_its_verdict_and_its_first_days(bench: Bench) -> None:
    """Six months before varnish: Parkhurst 1898; the rest common practice, no source."""
    panel = old_picture(bench)
    found = gates(bench, panel)
    assert set(found) == {
        *("oil_out", "temporary_varnish", "final_varnish", "frame", "frame_glazed", "wrap", "stack", "ship"),
    }
    assert verdict_of(found["final_varnish"]) == verdict_of(found["oil_out"]) == "stop"
    assert verdict_of(found["temporary_varnish"]) == "note"
    assert found["oil_out"].first is None and found["oil_out"].opens_on is None
    varnish = found["final_varnish"].first
    assert varnish is not None
    assert varnish.low == (NOW + 140 * DAY).date()
    assert varnish.low <= varnish.central <= varnish.high
    assert found["final_varnish"].opens_on == (NOW + 140 * DAY).date()


def test_bare_ground_has_no_gates_and_no_steps(bench: Bench) -> None:
    panel = bench.panel()
    assert all(gate.verdict is None and not gate.no_forecast for gate in gates(bench, panel).values())
    with pytest.raises(Refused, match="Nothing is painted"):
        plan(bench, panel, "wrap", done_at=NOW)
    with pytest.raises(Refused, match="Nothing is painted"):
        log(bench, panel, "nail", "dent")


def test_planned_done_and_put_back(bench: Bench) -> None:
    panel = old_picture(bench, 90.0)
    step = plan(bench, panel, "frame", planned_on=(NOW + 3 * DAY).date())
    assert [item.action for item in closing(bench, panel).planned] == ["frame"]
    done = do(bench, step, note="oak")
    assert (done.done_at, done.note, done.override_reason) == (NOW, "oak", "")
    assert done.verdict_json is not None and done.verdict_json["verdict"] == "sound"
    with pytest.raises(Refused, match="done already"):
        do(bench, done)
    with bench.unit() as work:
        back = finish.undo_done(work.session, bench.actor, step.uid)
    assert back.done_at is None and back.verdict_json is None
    assert [item.action for item in closing(bench, panel).planned] == ["frame"]


def test_against_a_stop_a_reason_is_asked_for_and_stays(bench: Bench) -> None:
    panel = old_picture(bench)
    step = plan(bench, panel, "final_varnish")
    with pytest.raises(Invalid) as fault:
        do(bench, step)
    [error] = fault.value.errors
    assert error.field == "override_reason" and "Final varnish (R35)" in error.message
    assert closing(bench, panel).varnished_at is None
    done = do(bench, step, override_reason="The buyer leaves on Friday.")
    kept = overrides.from_json(done.verdict_json)
    assert kept is not None and kept.verdict == "stop" and kept.findings[0].rule == "R35"
    assert done.override_reason == "The buyer leaves on Friday."
    assert closing(bench, panel).varnished_at == NOW
    with bench.db.read() as session:
        stored = finish.public(session, finish.get(session, bench.actor, step.uid))
    emptied = stored.model_copy(update={"override_reason": ""})
    with pytest.raises(Invalid, match="stays on record"), bench.unit() as work:
        finish.update(work.session, bench.actor, step.uid, emptied, NOW)


def test_without_a_stop_nothing_is_asked_and_a_reason_has_no_place(bench: Bench) -> None:
    panel = old_picture(bench, 90.0)
    done = plan(bench, panel, "frame", done_at=NOW, override_reason="why not")
    assert done.override_reason == ""
    cautioned = old_picture(bench, 20.0)
    glazed = plan(bench, cautioned, "ship", done_at=NOW, transit_c=4.0, override_reason="A short way")
    assert glazed.verdict_json is not None and glazed.verdict_json["verdict"] == "caution"
    assert glazed.override_reason == "A short way"


def test_the_cold_on_the_way_is_asked_of_the_rules(bench: Bench) -> None:
    """A canvas below freezing: alkyd primers brittle at 10 C, acrylic near 0 C, published (see the rule)."""
    panel = bench.panel(support="stretched_canvas")
    bench.painted(panel, 90.0)
    with pytest.raises(Invalid, match="Cold or hot on the way"):
        plan(bench, panel, "ship", done_at=NOW, transit_c=-2.0)
    assert plan(bench, panel, "ship", done_at=NOW, transit_c=18.0).override_reason == ""


@pytest.mark.parametrize(
    ("at", "words"), [(NOW + DAY, "still to come"), (NOW - 41 * DAY, "cannot have been done before")]
)
def test_a_step_cannot_be_done_at_an_impossible_time(bench: Bench, at: Any, words: str) -> None:
    with pytest.raises(Invalid, match=words):
        plan(bench, old_picture(bench), "frame", done_at=at)


def test_a_fingernail_that_leaves_no_dent_opens_the_gates_of_handling(bench: Bench) -> None:
    panel = bench.panel()
    bench.painted(panel, 40.0, thickness_preset=None, wet_thickness_um=150.0)
    assert verdict_of(gates(bench, panel)["stack"]) == "caution"
    test = log(bench, panel, "nail", "no_dent", 2.0)
    found = gates(bench, panel)
    assert verdict_of(found["stack"]) == "sound"
    assert verdict_of(found["wrap"]) == "stop"
    assert found["wrap"].opens_on == (NOW + 28 * DAY).date()
    assert shown(bench, panel).top.state.value == "firm"  # type: ignore[union-attr]
    with bench.unit() as work:
        finish_tests.archive(work.session, bench.actor, test.uid)
    assert verdict_of(gates(bench, panel)["stack"]) == "caution"
    with bench.unit() as work:
        finish_tests.restore(work.session, bench.actor, test.uid)
    assert verdict_of(gates(bench, panel)["stack"]) == "sound"


def test_a_dent_moves_the_days_on(bench: Bench) -> None:
    panel = old_picture(bench, 30.0)
    before = gates(bench, panel)["wrap"].first
    log(bench, panel, "nail", "dent")
    after = gates(bench, panel)["wrap"].first
    assert before is not None and after is not None and after.low > before.low
    assert verdict_of(gates(bench, panel)["stack"]) == "caution"


def test_the_swab_decides_once_the_wait_is_over(bench: Bench) -> None:
    panel = old_picture(bench, 200.0)
    assert verdict_of(gates(bench, panel)["final_varnish"]) == "caution"
    assert closing(bench, panel).swab_from == NOW.date()
    dirty = log(bench, panel, "swab", "colour", 1.0)
    assert verdict_of(gates(bench, panel)["final_varnish"]) == "stop"
    assert closing(bench, panel).swab_from == (NOW + 29 * DAY).date()
    log(bench, panel, "swab", "clean")
    assert verdict_of(gates(bench, panel)["final_varnish"]) == "note"
    assert closing(bench, panel).swabbed
    with bench.unit() as work:
        finish_tests.archive(work.session, bench.actor, dirty.uid)
    assert [test.result for test in closing(bench, panel).tests] == ["clean"]


def test_a_test_is_corrected_with_its_version(bench: Bench) -> None:
    panel = old_picture(bench)
    test = log(bench, panel, "thumb", "mark", 1.0)
    values = {"method": "thumb", "result": "no_mark", "note": "a faint one", "version": test.version}
    with bench.unit() as work:
        found = finish_tests.update(work.session, bench.actor, test.uid, FinishTestUpdate(**values), NOW)
    assert (found.result, found.tested_at) == ("no_mark", NOW - DAY)
    old = FinishTestUpdate(**(values | {"note": "other"}))
    with pytest.raises(Conflict), bench.unit() as work:
        finish_tests.update(work.session, bench.actor, test.uid, old, NOW)


@pytest.mark.parametrize(("method", "result"), [("swab", "no_dent"), ("thumb", "clean"), ("nail", "mark")])
def test_a_test_shows_only_what_it_can_show(method: str, result: str) -> None:
    with pytest.raises(ValueError, match="what this test showed"):
        FinishTestCreate(method=method, result=result)


def test_a_planned_step_is_changed_with_its_version(bench: Bench) -> None:
    step = plan(bench, old_picture(bench), "wrap")
    with bench.unit() as work:
        changed = finish.update(
            work.session, bench.actor, step.uid, FinishStepUpdate(action="stack", version=step.version), NOW
        )
    assert changed.action == "stack"
    with pytest.raises(Conflict), bench.unit() as work:
        finish.update(work.session, bench.actor, step.uid, FinishStepUpdate(action="ship", version=step.version), NOW)
    with pytest.raises(Conflict):
        do(bench, step, note="old")
    command = FinishStepUpdate(action="stack", done_at=NOW, version=changed.version)
    with pytest.raises(Invalid, match="Log it as done"), bench.unit() as work:
        finish.update(work.session, bench.actor, step.uid, command, NOW)


def test_undone_and_redone_like_everything_else(bench: Bench) -> None:
    panel = old_picture(bench, 90.0)
    with bench.unit("Framed it") as work:
        step = finish.create(work.session, bench.actor, panel.uid, FinishStepCreate(action="frame", done_at=NOW), NOW)
        framed = work.change_uid
    with bench.unit() as work:
        history.undo(work.session, bench.actor, framed)
    assert closing(bench, panel).steps == ()
    with bench.unit() as work:
        history.redo(work.session, bench.actor, framed)
    assert [item.uid for item in closing(bench, panel).done] == [step.uid]


def test_nobody_else_sees_or_changes_it(bench: Bench, stranger: Bench) -> None:
    panel = old_picture(bench)
    step = plan(bench, panel, "wrap")
    test = log(bench, panel, "nail", "dent")
    asked: list[Callable[[Any], Any]] = [
        lambda s: finish.create(s, stranger.actor, panel.uid, FinishStepCreate(action="wrap"), NOW),
        lambda s: finish.do(s, stranger.actor, step.uid, FinishStepDo(version=1), NOW),
        lambda s: finish.archive(s, stranger.actor, step.uid),
        lambda s: finish.undo_done(s, stranger.actor, step.uid),
        lambda s: finish.gates(s, stranger.actor, panel.uid, board.moment_of(NOW, PRAGUE)),
        lambda s: finish_tests.log(s, stranger.actor, panel.uid, FinishTestCreate(method="nail", result="dent"), NOW),
        lambda s: finish_tests.archive(s, stranger.actor, test.uid),
        lambda s: finish_tests.on_panel(s, stranger.actor, panel.uid),
    ]
    for ask in asked:
        with pytest.raises(NotFound), stranger.unit() as work:
            ask(work.session)


def test_an_archived_panel_s_finish_stays_as_it_is(bench: Bench) -> None:
    panel = old_picture(bench)
    step = plan(bench, panel, "wrap")
    gone = plan(bench, panel, "stack")
    test = log(bench, panel, "nail", "no_dent")
    with bench.unit() as work:
        finish.archive(work.session, bench.actor, gone.uid)
        panels.archive(work.session, bench.actor, panel.uid)
    acts: list[Callable[[Any], Any]] = [
        lambda session: finish.archive(session, bench.actor, step.uid),
        lambda session: finish.restore(session, bench.actor, gone.uid),
        lambda session: finish_tests.archive(session, bench.actor, test.uid),
        lambda session: finish_tests.restore(session, bench.actor, test.uid),
    ]
    for each in acts:
        with pytest.raises(Refused, match="archived"), bench.unit() as work:
            each(work.session)
    with pytest.raises(Refused, match="archived"):
        do(bench, step)
    with pytest.raises(Refused, match="archived"):
        log(bench, panel, "nail", "dent")


def test_a_layer_that_was_varnished_does_not_go_back_to_planned(bench: Bench) -> None:
    panel = bench.panel()
    layer = bench.painted(panel, 90.0)
    framed = plan(bench, panel, "frame", done_at=NOW)
    with pytest.raises(Refused, match="finish was begun"):
        act(bench, layers.unpaint, layer)
    with bench.unit() as work:
        finish.archive(work.session, bench.actor, framed.uid)
    assert act(bench, layers.unpaint, layer).painted_at is None


def test_the_panel_s_history_tells_of_its_finish(bench: Bench) -> None:
    panel = old_picture(bench, 90.0)
    plan(bench, panel, "frame", done_at=NOW)
    log(bench, panel, "nail", "no_dent")
    with bench.db.read() as session:
        told = [entry.label for entry in history.of_panel(session, bench.actor, panel.uid)]
    assert told[:2] == ["Tested", "Planned"]


def test_no_list_tells_a_day_for_the_varnish_that_the_rules_do_not_let_in(bench: Bench) -> None:
    """The rules count dry-through nine times in ten; the first days at which a film may be dry come sooner."""
    panel = bench.panel(finished_on=(NOW - 40 * DAY).date())
    bench.painted(panel, 40.0, thickness_preset=None, wet_thickness_um=280.0)
    gate, told = gates(bench, panel)["final_varnish"], closing(bench, panel)
    assert gate.first is not None and gate.opens_on is not None and gate.first.low < gate.opens_on
    assert told.varnish is not None and told.swab_from == gate.opens_on
    assert told.varnish.low == gate.opens_on and told.varnish.high == max(gate.first.high, gate.opens_on)
    assert finish_words.first_words(gate, NOW.date()) == standing_words.span_words(told.varnish, NOW.date())
    dry = standing_words.span_words(gate.first, NOW.date())  # beside the rule's day: of the film alone
    assert finish_words.wait_words(gate, NOW.date()) == f"dry enough {dry}"


def test_no_day_for_the_varnish_is_told_before_the_film_is_dry_through(bench: Bench) -> None:
    """The model's wait for varnish leaves out what lies deeper than 200 um; dry-through does not."""
    panel = bench.panel()
    bench.painted(panel, 5.0, thickness_preset=None, wet_thickness_um=1500.0)
    with bench.db.read() as session:
        [layer] = board.panel_page(session, bench.actor, panel.uid, NOW, PRAGUE).layers
    varnish, through = layer.stages[Stage.FINAL_VARNISH], layer.stages[Stage.DRY_THROUGH]
    assert (varnish.low, varnish.high) >= (through.low, through.high)
    assert varnish.central >= through.central
    [region] = layer.regions
    assert region.stages[Stage.FINAL_VARNISH].low >= region.stages[Stage.DRY_THROUGH].low


def test_painting_over_a_varnish_is_told_and_wants_a_reason_from_the_second_coat_on(bench: Bench) -> None:
    """Conservators: a later cleaning dissolves it from between the layers (R31, published)."""
    panel = bench.panel()
    bench.painted(panel, 60.0)
    planned = bench.layer(panel, kind="glaze")
    assert "R31" not in rules_on_next(bench, panel)
    plan(bench, panel, "temporary_varnish", done_at=NOW - 20 * DAY)
    assert rules_on_next(bench, panel)["R31"] == "caution"
    second = plan(bench, panel, "temporary_varnish", done_at=NOW - 10 * DAY)
    assert rules_on_next(bench, panel)["R31"] == "stop"
    with pytest.raises(Invalid, match="R31"):
        paint(bench, planned)
    with bench.unit() as work:
        finish.archive(work.session, bench.actor, second.uid)  # it was taken off again
    painted = paint(bench, planned, override_reason="The dealer wants it warmer")
    assert painted.override_reason == "The dealer wants it warmer"
    kept = overrides.from_json(painted.verdict_json)
    assert kept is not None and "R31" in {finding.rule for finding in kept.findings}


def rules_on_next(bench: Bench, panel: Panel) -> dict[str, str]:
    verdict = shown(bench, panel).verdict
    assert verdict is not None
    return {finding.rule: finding.severity.value for finding in verdict.findings}
