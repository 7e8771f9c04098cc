"""Kept mixes that are about to skin are told on Today, by the rule of thumb and in time."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from server.science.keeping import KeptIn, keeps
from server.science.recipe import Ground, LayerRecipe, Room, RoomStep
from server.services import board, sitting_ends
from server.services.board.facts import LeftoverFact
from server.services.board.leftovers import USUAL_UM
from server.services.forecasts import FORECASTS
from server.services.recipes import MixBook
from server.services.sitting_ends import SittingEndCreate
from server.store.tables import Place
from tests.services.conftest import NOW, Bench, add

PRAGUE = ZoneInfo("Europe/Prague")


def left(bench: Bench, days_ago: float, kept_in: str = "sealed", left_ml: float | None = 4.0) -> None:
    mixes = [{"mix_uid": bench.white.uid, "left_ml": left_ml, "kept_in": kept_in}]
    command = SittingEndCreate.model_validate({"rags": "spread", "mixes": mixes})
    with bench.unit("Ended") as work:
        sitting_ends.create(work.session, bench.actor, command, NOW - timedelta(days=days_ago))


def told(bench: Bench) -> tuple[LeftoverFact, ...]:
    with bench.db.read() as session:
        return board.today(session, bench.actor, NOW, PRAGUE).leftovers


def keeps_d(bench: Bench, kept_in: KeptIn) -> float:
    """By the rule itself: the bench's place is 20 C, 50 %, the light of a room."""
    with bench.db.read() as session:
        mix = MixBook.load(session, bench.actor.studio_id).mixes[bench.white.id or 0].recipe
    assert mix is not None
    room = Room((RoomStep(0.0, 20.0, 50.0),), 1.0, False, False)
    [found] = FORECASTS.of([(LayerRecipe(USUAL_UM, Ground.PAINT, (mix,)), room)])
    return next(each.use_by_d for each in keeps(mix, found.stages) if each.kept_in is kept_in)  # type: ignore[union-attr]


@pytest.mark.parametrize(("left_d", "is_told"), [(2.2, False), (1.8, True)])
def test_a_mix_is_told_two_days_before_it_skins(bench: Bench, left_d: float, is_told: bool) -> None:
    use_by_d = keeps_d(bench, KeptIn.SEALED)
    assert use_by_d > 2.5
    left(bench, use_by_d - left_d)
    found = told(bench)
    assert bool(found) is is_told
    for fact in found:
        assert (fact.label, fact.left_ml, fact.is_past) == ("White", 4.0, False)
        assert fact.use_by_at - NOW == pytest.approx(timedelta(days=left_d), abs=timedelta(minutes=1))


def test_what_is_past_is_told_for_a_while_and_then_let_go(bench: Bench) -> None:
    use_by_d = keeps_d(bench, KeptIn.COVERED)
    left(bench, use_by_d + 6, "tray")
    assert told(bench) == ()
    left(bench, use_by_d + 1, "tray")
    [fact] = told(bench)
    assert fact.is_past


def test_what_is_used_up_or_kept_cold_asks_for_nothing(bench: Bench) -> None:
    use_by_d = keeps_d(bench, KeptIn.SEALED)
    left(bench, use_by_d - 1, "freezer")
    assert told(bench) == ()
    left(bench, use_by_d - 1)
    assert len(told(bench)) == 1
    left(bench, use_by_d - 1.5, left_ml=0.0)
    assert told(bench) == ()


def test_it_keeps_as_long_as_the_room_of_its_sitting_lets_it(bench: Bench) -> None:
    """White mixed in the cold sets later: what was left there is told later."""
    with bench.db.write() as session:
        cold = add(session, Place(studio_id=bench.actor.studio_id, name="Cold room", light="room", temperature_c=8.0))
    use_by_d = keeps_d(bench, KeptIn.SEALED)
    bench.painted(bench.panel(place_uid=cold.uid), use_by_d - 1 + 0.1)
    left(bench, use_by_d - 1)
    assert told(bench) == ()
    bench.painted(bench.panel(), use_by_d - 1 + 0.05)  # the last one before its end stood in the warm
    assert len(told(bench)) == 1
