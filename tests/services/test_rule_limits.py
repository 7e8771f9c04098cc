"""The limits of the rules: set, put back, recorded, undone; and the verdicts that follow them."""

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

from server.science.soundness import DEFAULT, ROWS, Severity
from server.services import board, history, rule_limits
from server.services.errors import Conflict, Invalid, NotFound, Refused
from server.services.rule_limits import NO_EDITS, LimitsUpdate, thresholds_of
from server.store.tables import RuleLimit
from tests.services.conftest import NOW, Bench, add

PRAGUE = ZoneInfo("Europe/Prague")


def update(bench: Bench, rule: str, version: int, **values: float | None) -> None:
    limits = [{"name": name, "value": value} for name, value in values.items()]
    with bench.unit() as work:
        rule_limits.update(work.session, bench.actor, rule, LimitsUpdate.model_validate(_sent(limits, version)))


def _sent(limits: list[dict[str, Any]], version: int) -> dict[str, Any]:
    return {"limits": limits, "version": version}


def version(bench: Bench, rule: str) -> int:
    with bench.db.read() as session:
        return rule_limits.of_rule(session, bench.actor, rule)[1]


def edits(bench: Bench) -> dict[str, float]:
    with bench.db.read() as session:
        return dict(rule_limits.edits_of(session, bench.actor.studio_id))


def test_a_new_studio_has_the_defaults(bench: Bench) -> None:
    with bench.db.read() as session:
        found = rule_limits.all_limits(session, bench.actor)
    assert [limit.name for limit in found] == [row.name for row in ROWS]
    for limit in found:
        assert limit.value == limit.default == getattr(DEFAULT, limit.name)
        assert not limit.is_edited
        assert limit.low <= limit.value <= limit.high
        assert limit.meaning and limit.unit and limit.rules
    assert thresholds_of(NO_EDITS) is DEFAULT


def test_limits_of_a_rule_are_set_and_put_back(bench: Bench, stranger: Bench) -> None:
    update(bench, "R01", 1, fat_gap_pass=0.08, fat_gap_stop=None, thin_film_um=15)
    assert edits(bench) == {"fat_gap_pass": 0.08}
    assert edits(stranger) == {}
    assert version(bench, "R01") == 2
    assert version(bench, "R02") == 1
    assert thresholds_of(tuple(edits(bench).items())).fat_gap_pass == 0.08
    update(bench, "R01", 2, fat_gap_pass=None)
    assert edits(bench) == {}
    assert version(bench, "R01") == 3
    update(bench, "R01", 3, fat_gap_pass=0.09)
    assert edits(bench) == {"fat_gap_pass": 0.09}
    with bench.db.read() as session:
        assert len(session.scalars(select(RuleLimit)).all()) == 1


def test_one_limit_and_all_limits(bench: Bench) -> None:
    with bench.unit() as work:
        changed = rule_limits.set_one(work.session, bench.actor, "impasto_um", 400)
        rule_limits.set_one(work.session, bench.actor, "medium_note", 0.3)
    assert [(each.before, each.after) for each in changed] == [(500, 400)]
    assert edits(bench) == {"impasto_um": 400, "medium_note": 0.3}
    with bench.unit() as work:
        assert len(rule_limits.reset_one(work.session, bench.actor, "impasto_um")) == 1
        assert rule_limits.reset_one(work.session, bench.actor, "impasto_um") == ()
    assert edits(bench) == {"medium_note": 0.3}
    with bench.unit() as work:
        assert [each.name for each in rule_limits.reset_all(work.session, bench.actor)] == ["medium_note"]
        assert rule_limits.reset_all(work.session, bench.actor) == ()
    assert edits(bench) == {}


@pytest.mark.parametrize(
    ("values", "field", "told"),
    [
        ({"fat_gap_pass": -0.1}, "limits.0.value", "from 0 to 1"),
        ({"fat_gap_pass": 0.05, "thin_film_um": 1000.0}, "limits.1.value", "from 1 to 60"),
        ({"fat_gap_pass": 0.2}, "limits.0.value", "must not be more than “Leaner by more than this stops"),
        ({"fat_gap_stop": 0.01}, "limits.0.value", "must not be less than “How much leaner"),
        ({"impasto_um": 300.0}, "", "that this rule does not have"),
        ({"nothing": 1.0}, "", "that this rule does not have"),
    ],
)
def test_limits_that_cannot_be_are_refused_at_their_field(
    bench: Bench, values: dict[str, float], field: str, told: str
) -> None:
    with pytest.raises(Invalid) as caught:
        update(bench, "R01", 1, **values)
    assert [(each.field, told in each.message) for each in caught.value.errors] == [(field, True)]
    assert edits(bench) == {}


def test_every_limit_may_be_set_within_its_bounds_unless_another_stands_in_its_way(bench: Bench) -> None:
    refused = []
    with bench.unit() as work:
        for row in ROWS:
            for value in (row.low, row.high):
                try:
                    rule_limits.set_one(work.session, bench.actor, row.name, value)
                except Invalid as fault:
                    refused.append(fault.message)
                rule_limits.reset_all(work.session, bench.actor)
    assert all(message.startswith("This must not be") for message in refused)
    assert len(refused) < len(ROWS)


def test_what_is_not_there_is_not_found(bench: Bench) -> None:
    with bench.unit() as work:
        for rule in ("R99", "", "r01"):
            with pytest.raises(NotFound):
                rule_limits.of_rule(work.session, bench.actor, rule)
        with pytest.raises(NotFound):
            rule_limits.reset_one(work.session, bench.actor, "nothing")
        with pytest.raises(NotFound):
            rule_limits.set_one(work.session, bench.actor, "nothing", 1.0)


def test_the_second_tab_is_told_what_is_stored(bench: Bench) -> None:
    update(bench, "R01", 1, fat_gap_pass=0.08)
    with pytest.raises(Conflict) as caught:
        update(bench, "R01", 1, fat_gap_pass=0.1, fat_gap_stop=None)
    assert caught.value.current["limits"][0] == {"name": "fat_gap_pass", "value": 0.08}
    assert caught.value.current["version"] == 2
    update(bench, "R01", 1, fat_gap_pass=0.08)  # the same values are no conflict
    update(bench, "R01", 2, fat_gap_pass=0.1)
    assert edits(bench) == {"fat_gap_pass": 0.1}


def test_setting_is_recorded_and_undone(bench: Bench) -> None:
    with bench.unit("Set a limit") as work:
        rule_limits.set_one(work.session, bench.actor, "fat_gap_stop", 0.4)
        first = work.change_uid
    with bench.unit("Set another") as work:
        rule_limits.set_one(work.session, bench.actor, "fat_gap_pass", 0.3)
        second = work.change_uid
    with pytest.raises(Refused, match="would be more than"), bench.unit() as work:
        history.undo(work.session, bench.actor, first)
    with pytest.raises(Refused, match=r"cannot go back to 0\.15 alone"), bench.unit() as work:
        rule_limits.reset_one(work.session, bench.actor, "fat_gap_stop")
    for uid, left in ((second, {"fat_gap_stop": 0.4}), (first, {})):
        with bench.unit() as work:
            history.undo(work.session, bench.actor, uid)
        assert edits(bench) == left
    with bench.unit() as work:
        history.redo(work.session, bench.actor, first)
    assert edits(bench) == {"fat_gap_stop": 0.4}
    with bench.unit("Put back") as work:
        rule_limits.reset_all(work.session, bench.actor)
        back = work.change_uid
    with bench.unit() as work:
        history.undo(work.session, bench.actor, back)
    assert edits(bench) == {"fat_gap_stop": 0.4}


def test_rows_that_make_no_sense_any_more_do_not_count(bench: Bench) -> None:
    with bench.db.write() as session:
        rows = {"gone": 1.0, "impasto_um": 1e9, "fat_gap_pass": 0.9, "medium_note": 0.3}
        for name, value in rows.items():
            add(session, RuleLimit(studio_id=bench.actor.studio_id, name=name, value=value))
    assert edits(bench) == {"medium_note": 0.3}


def test_a_verdict_follows_the_limit_and_goes_back_with_it(bench: Bench) -> None:
    """White of 600 um is an impasto by default, where more than 500 um is; by a studio that says 700 um it is none."""
    panel = bench.panel()
    bench.layer(
        panel,
        thickness_preset=None,
        wet_thickness_um=600,
        mixes=[{"mix_uid": bench.white.uid}],
        painted_at=NOW - timedelta(days=40),
    )
    bench.layer(panel, kind="second painting", thickness_preset=None, wet_thickness_um=400)

    def rules() -> dict[str, Severity]:
        with bench.db.read() as session:
            page = board.panel_page(session, bench.actor, panel.uid, NOW, PRAGUE)
            wall = board.today(session, bench.actor, NOW, PRAGUE)
        verdict = page.layers[-1].over
        [fact] = [fact for facts in wall.groups.values() for fact in facts]
        assert verdict is not None and fact.verdict is not None
        found = {finding.rule: finding.severity for finding in verdict.findings}
        assert found == {finding.rule: finding.severity for finding in fact.verdict.findings}
        return found

    assert rules()["R06"] is Severity.STOP
    with bench.unit() as work:
        rule_limits.set_one(work.session, bench.actor, "impasto_um", 700)
    assert "R06" not in rules()
    with bench.unit() as work:
        rule_limits.reset_one(work.session, bench.actor, "impasto_um")
    assert rules()["R06"] is Severity.STOP
