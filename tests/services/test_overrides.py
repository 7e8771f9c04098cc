"""Painting against a rule: the reason that is asked for, the verdict that stays as it stood."""

from datetime import timedelta

import pytest

from server.services import layers, overrides, touch_tests
from server.services.errors import Invalid
from server.services.layers import LayerCreate
from server.services.touch_tests import TouchTestCreate
from server.store.tables import Layer, Panel
from tests.services.board_studio import trade_fact
from tests.services.conftest import NOW, Bench
from tests.services.layer_acts import act, as_update, change, paint

HOUR = timedelta(hours=1)


def stopped(bench: Bench) -> tuple[Panel, Layer]:
    """A thinned grey, three days old and not yet touch-dry nine times in ten; the next layer planned over it."""
    panel, _ = trade_fact(bench)
    with bench.db.read() as session:
        planned = layers.all_open(session, bench.actor, panel.uid)[-1]
    return panel, planned


def test_a_stop_wants_a_reason_and_nothing_is_painted_without(bench: Bench) -> None:
    _, planned = stopped(bench)
    with pytest.raises(Invalid) as fault:
        paint(bench, planned)
    [error] = fault.value.errors
    assert error.field == "override_reason" and "(R03)" in error.message
    with bench.db.read() as session:
        assert layers.get(session, bench.actor, planned.uid).painted_at is None


def test_the_reason_and_the_verdict_as_it_stood_stay(bench: Bench) -> None:
    _, planned = stopped(bench)
    painted = paint(bench, planned, override_reason="  Only the dry corner.  ")
    assert painted.override_reason == "Only the dry corner."
    kept = overrides.from_json(painted.verdict_json)
    assert kept is not None and kept.verdict == "stop"
    assert "R03" in {finding.rule for finding in kept.findings}
    assert all(finding.reason and finding.title for finding in kept.findings)
    corrected = change(bench, painted, notes="by lamplight")
    assert (corrected.override_reason, corrected.verdict_json) == (painted.override_reason, painted.verdict_json)


def test_a_touch_test_that_finds_it_dry_asks_nothing(bench: Bench) -> None:
    panel, first = trade_fact(bench)
    with bench.unit() as work:
        touch_tests.log(work.session, bench.actor, first.uid, TouchTestCreate(stage="touch_dry"), NOW - HOUR)
    with bench.db.read() as session:
        planned = layers.all_open(session, bench.actor, panel.uid)[-1]
    painted = paint(bench, planned, override_reason="nobody asked")
    assert painted.override_reason == ""
    assert painted.verdict_json is not None and painted.verdict_json["verdict"] in ("sound", "note")


def test_a_caution_takes_a_reason_and_asks_none(bench: Bench) -> None:
    panel = bench.panel()
    bench.painted(panel, 200.0)  # older than half a year: wash or rub it down first
    planned = bench.layer(panel)
    painted = paint(bench, planned, override_reason="Washed it")
    assert painted.verdict_json is not None and painted.verdict_json["verdict"] == "caution"
    assert painted.override_reason == "Washed it"


def test_recording_a_layer_of_today_goes_before_the_rules_as_well(bench: Bench) -> None:
    panel, _ = trade_fact(bench)
    with pytest.raises(Invalid, match="R03"):
        bench.painted(panel, 0.1)
    recorded = bench.painted(panel, 0.1, override_reason="The commission leaves today")
    assert recorded.verdict_json is not None and recorded.override_reason == "The commission leaves today"


def test_of_what_was_painted_long_ago_nothing_is_asked(bench: Bench) -> None:
    panel = bench.panel()
    bench.painted(panel, 30.0)
    second = bench.painted(panel, 29.9, override_reason="from the notebook")
    assert (second.verdict_json, second.override_reason) == (None, "")


def test_put_back_to_planned_it_carries_nothing(bench: Bench) -> None:
    _, planned = stopped(bench)
    painted = paint(bench, planned, override_reason="In a hurry")
    back = act(bench, layers.unpaint, painted)
    assert (back.verdict_json, back.override_reason) == (None, "")


def test_the_reason_of_a_stop_can_be_reworded_and_not_taken_away(bench: Bench) -> None:
    _, planned = stopped(bench)
    painted = paint(bench, planned, override_reason="In a hurry")
    assert change(bench, painted, override_reason="For the show").override_reason == "For the show"
    with pytest.raises(Invalid, match="stays on record"):
        change(bench, painted, override_reason="", version=painted.version + 1)


def test_a_planned_layer_keeps_no_reason(bench: Bench) -> None:
    planned = bench.layer(bench.panel(), override_reason="who knows")
    assert planned.override_reason == ""
    assert as_update(bench, planned).override_reason == ""


def test_wet_into_wet_is_no_stop(bench: Bench) -> None:
    panel = bench.panel()
    bench.painted(panel, 0.05)
    command = bench.layer_command(wet_in_wet=True, painted_at=NOW)
    assert isinstance(command, LayerCreate)
    recorded = bench.layer(panel, wet_in_wet=True, painted_at=NOW)
    assert recorded.verdict_json is not None and recorded.override_reason == ""
