"""The end of a sitting: asked for once after oil, alkyd or drier, and not again until the next."""

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from server.services import board, history, layers, sitting_ends
from server.services.board.facts import SittingFact
from server.services.errors import Invalid, NotFound
from server.services.sitting_ends import SittingEndCreate
from server.store.tables import SittingEnd
from tests.services.board_studio import trade_fact
from tests.services.conftest import NOW, Bench

PRAGUE = ZoneInfo("Europe/Prague")
HOUR = timedelta(hours=1)


def asked(bench: Bench, later: timedelta = timedelta()) -> SittingFact | None:
    with bench.db.read() as session:
        return sitting_ends.open_sitting(session, bench.actor, board.moment_of(NOW + later, PRAGUE))


def end(bench: Bench, at: Any = NOW, **values: Any) -> SittingEnd:
    with bench.unit("Ended the sitting", now=at) as work:
        command = SittingEndCreate.model_validate({"rags": "spread"} | values)
        return sitting_ends.create(work.session, bench.actor, command, at)


def test_nothing_is_asked_where_nothing_was_painted(bench: Bench) -> None:
    assert asked(bench) is None
    bench.layer(bench.panel())
    assert asked(bench) is None


def test_oil_is_asked_for_once_and_again_after_the_next_sitting(bench: Bench) -> None:
    panel = bench.panel()
    bench.painted(panel, 0.1)
    found = asked(bench)
    assert found is not None
    assert [(sat.title, sat.kind) for sat in found.layers] == [("Two pears", "underpainting")]
    assert "rags" in found.hazards
    end(bench)
    assert asked(bench) is None
    assert asked(bench, 5 * HOUR) is None
    other = bench.panel()
    with bench.unit(now=NOW + 6 * HOUR) as work:
        command = bench.layer_command(painted_at=NOW + 6 * HOUR)
        layers.create(work.session, bench.actor, other.uid, command, NOW + 6 * HOUR)
    again = asked(bench, 7 * HOUR)
    assert again is not None and len(again.layers) == 1


def test_an_end_tells_what_was_painted_since_the_one_before(bench: Bench) -> None:
    def painted() -> list[list[tuple[str, str]]]:
        with bench.db.read() as session:
            found = sitting_ends.recent(session, bench.actor)
            return [[(layer.title, layer.kind) for layer in one.painted] for one in found]

    bench.painted(bench.panel(title="Long before, and never ended"), 9.0)
    bench.painted(bench.panel(title="First"), 0.5)
    first = end(bench, NOW - 10 * HOUR)
    bench.painted(bench.panel(title="Second"), 0.1)
    bench.painted(bench.panel(title="Third"), 0.05)
    end(bench, NOW)
    end(bench, NOW + HOUR)
    second_and_third = [("Second", "underpainting"), ("Third", "underpainting")]
    assert painted() == [[], second_and_third, [("First", "underpainting")]]
    with bench.unit("Not ended after all", now=NOW + HOUR) as work:
        sitting_ends.archive(work.session, bench.actor, first.uid)
    assert painted() == [[], [("First", "underpainting"), *second_and_third], []]


def test_acrylic_is_not_asked_for_and_alkyd_is(bench: Bench) -> None:
    bench.painted(bench.panel(), 0.1, material="acrylic", mixes=())
    assert asked(bench) is None
    bench.painted(bench.panel(), 0.1, material="alkyd")
    assert asked(bench) is not None


def test_after_three_days_it_would_come_too_late(bench: Bench) -> None:
    """Hours up to two or three days, as fire investigators are quoted; read second-hand."""
    bench.painted(bench.panel(), 2.9)
    assert asked(bench) is not None
    assert asked(bench, 4 * HOUR) is None


def test_a_stage_that_was_not_ended_after_all_is_asked_for_again(bench: Bench) -> None:
    bench.painted(bench.panel(), 0.1)
    ended = end(bench)
    with bench.unit() as work:
        sitting_ends.archive(work.session, bench.actor, ended.uid)
    assert asked(bench) is not None
    with bench.unit() as work:
        sitting_ends.restore(work.session, bench.actor, ended.uid)
    assert asked(bench) is None


def test_it_logs_what_was_painted_and_keeps_the_mixes_left(bench: Bench) -> None:
    planned = bench.layer(bench.panel())
    ended = end(
        bench,
        layers=[{"layer_uid": planned.uid, "is_painted": True, "version": planned.version}],
        mixes=[{"mix_uid": bench.white.uid, "left_ml": 4.5, "kept_in": "fridge"}, {"mix_uid": bench.black.uid}],
        rags="water",
        brushes=True,
        lids=True,
    )
    with bench.db.read() as session:
        assert layers.get(session, bench.actor, planned.uid).painted_at == NOW
        [found] = sitting_ends.recent(session, bench.actor)
    assert found.mixes == (("White", 4.5, "fridge"), ("Black", None, "sealed"))
    assert (ended.rags, ended.brushes, ended.lids) == ("water", True, True)
    assert asked(bench) is None


def test_a_layer_that_a_rule_stops_wants_its_reason_here_too(bench: Bench) -> None:
    panel, _ = trade_fact(bench)
    with bench.db.read() as session:
        planned = layers.all_open(session, bench.actor, panel.uid)[-1]
    row = {"layer_uid": planned.uid, "is_painted": True, "version": planned.version}
    with pytest.raises(Invalid) as fault:
        end(bench, layers=[row])
    assert [error.field for error in fault.value.errors] == ["layers.0.override_reason"]
    with bench.db.read() as session:
        assert sitting_ends.recent(session, bench.actor) == []
    end(bench, layers=[row | {"override_reason": "Only the dry half"}])
    with bench.db.read() as session:
        assert layers.get(session, bench.actor, planned.uid).override_reason == "Only the dry half"


def test_the_rags_are_not_to_be_skipped() -> None:
    with pytest.raises(ValueError, match="rags"):
        SittingEndCreate.model_validate({"brushes": True})


def test_undone_as_a_whole(bench: Bench) -> None:
    planned = bench.layer(bench.panel())
    with bench.unit("Ended") as work:
        row = {"layer_uid": planned.uid, "is_painted": True, "version": planned.version}
        command = SittingEndCreate.model_validate(
            {"rags": "none", "layers": [row], "mixes": [{"mix_uid": bench.white.uid}]}
        )
        sitting_ends.create(work.session, bench.actor, command, NOW)
        done = work.change_uid
    with bench.unit() as work:
        history.undo(work.session, bench.actor, done)
    with bench.db.read() as session:
        assert layers.get(session, bench.actor, planned.uid).painted_at is None
        assert sitting_ends.all_open(session, bench.actor) == []


def test_another_studio_has_its_own(bench: Bench, stranger: Bench) -> None:
    bench.painted(bench.panel(), 0.1)
    ended = end(bench)
    assert asked(stranger) is None
    with pytest.raises(NotFound), stranger.unit() as work:
        sitting_ends.archive(work.session, stranger.actor, ended.uid)
    command = SittingEndCreate.model_validate({"rags": "none", "mixes": [{"mix_uid": bench.white.uid}]})
    with pytest.raises(Invalid, match="list"), stranger.unit() as work:
        sitting_ends.create(work.session, stranger.actor, command, NOW)
