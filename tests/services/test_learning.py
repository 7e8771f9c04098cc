"""What touch tests taught moves every date of the studio, in one place, and nothing of another studio."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from math import log
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlmodel import select

from server.science.learning import Felt, Press
from server.science.recipe import Addition as Added
from server.science.recipe import AdditionKind, MixRecipe, PigmentShare, Room, RoomStep
from server.science.recipe import Paint as PaintInMix
from server.science.results import Stage
from server.services import board, learning_data, touch_tests
from server.services.climates import Climate
from server.services.forecasts import FORECASTS
from server.services.learning import BOOK, StudioLearning, never_soft
from server.services.learning_effects import Where, effects_of
from server.services.learning_moves import Moved, stages_moved
from server.services.learning_scales import LADDER, rung_below
from server.services.touch_tests import TouchTestCreate
from server.services.whereabouts import whereabouts
from server.store.tables import Layer
from tests.services.conftest import NOW, Bench

PRAGUE = ZoneInfo("Europe/Prague")
WHERE = Where("rack", Climate(1.0, False, False, 20.0, 50.0))


def press(bench: Bench, layer: Layer, days: float, stage: str) -> str:
    """A test so many days after the layer went on."""
    assert layer.painted_at is not None
    command = TouchTestCreate(stage=stage, pressed_at=layer.painted_at + timedelta(days=days))
    with bench.unit("Pressed") as work:
        return touch_tests.log(work.session, bench.actor, layer.uid, command, NOW).uid


def slow_layers(bench: Bench, count: int = 4) -> list[Layer]:
    """White layers that stayed tacky half as long again as the book has it, and then were dry."""
    made = []
    for number in range(count):
        layer = bench.painted(bench.panel(title=f"Slow {number}"), 60 - number)
        middle = book_days(bench, layer)
        for share, stage in ((0.7, "wet"), (1.4, "tacky"), (1.6, "touch_dry")):
            press(bench, layer, share * middle, stage)
        made.append(layer)
    return made


def book_days(bench: Bench, layer: Layer) -> float:
    with bench.db.read() as session:
        stored = session.exec(select(Layer).where(Layer.uid == layer.uid)).one()
        assert stored.forecast_json is not None
        return float(stored.forecast_json["book"]["dry_to_touch"]["p50_d"])


def read(bench: Bench, before: datetime | None = None) -> StudioLearning:
    with bench.db.read() as session:
        places = whereabouts(session, bench.actor.studio_id)
        return learning_data.read(session, bench.actor.studio_id, places, before)


def touch_days(bench: Bench, title: str) -> tuple[float, float, float]:
    """p10, p50, p90 of dry-to-touch of a panel's top layer, as its page has it."""
    with bench.db.read() as session:
        shown = board.calendar(session, bench.actor, NOW, PRAGUE)
    [row] = [row for row in shown.rows if row.panel.title == title]
    found = row.layers[0].stages[Stage.DRY_TO_TOUCH]
    return found.p10_d, found.p50_d, found.p90_d


def test_before_anything_was_pressed_every_date_is_the_books(bench):
    layer = bench.painted(bench.panel(title="Fresh"), 0.5)
    assert read(bench) == BOOK
    assert touch_days(bench, "Fresh")[1] == pytest.approx(book_days(bench, layer), abs=1e-3)


def test_slow_layers_move_the_dates_of_every_layer_alike(bench, stranger):
    bench.painted(bench.panel(title="Fresh"), 0.5)
    stranger.painted(stranger.panel(title="Theirs"), 0.5)
    before, theirs = touch_days(bench, "Fresh"), touch_days(stranger, "Theirs")
    slow_layers(bench)
    after = touch_days(bench, "Fresh")
    assert 1.25 * before[1] < after[1] < 1.55 * before[1]
    # Four layers leave less doubt than none.
    assert after[2] / after[0] < 0.8 * before[2] / before[0]
    assert touch_days(stranger, "Theirs") == theirs
    found = read(bench)
    assert (found.layers, found.tests, found.unanchored) == (4, 12, 0)
    assert found.learned is not None
    effects = {effect.name: effect for effect in found.learned.effects()}
    assert {name.partition(":")[0] for name in effects} == {"studio", "place", "pigment", "paint", "thickness"}
    assert effects["studio"].mean > 0 and effects["pigment:PW6"].mean > 0


def test_layers_to_come_wait_longer_too(bench):
    panel = bench.panel(title="Fresh")
    bench.painted(panel, 0.5)
    bench.layer(panel, kind="second painting")
    with bench.db.read() as session:
        before = board.today(session, bench.actor, NOW, PRAGUE)
    slow_layers(bench)
    with bench.db.read() as session:
        after = board.today(session, bench.actor, NOW, PRAGUE)
    ends: list[tuple[date, date]] = []
    for shown in (before, after):
        [fact] = [fact for group in shown.groups.values() for fact in group if fact.title == "Fresh"]
        assert fact.finish is not None and fact.rest.best_from is not None
        ends.append((fact.finish.central, fact.rest.best_from))
    assert all(later > sooner for sooner, later in zip(*ends, strict=True))


def test_a_mistaken_test_teaches_nothing_and_teaches_again_once_restored(bench):
    bench.painted(bench.panel(title="Fresh"), 0.5)
    before = touch_days(bench, "Fresh")
    layer = bench.painted(bench.panel(title="Slow"), 40)
    uid = press(bench, layer, 1.6 * book_days(bench, layer), "wet")
    moved = touch_days(bench, "Fresh")
    assert moved[1] > 1.1 * before[1]
    with bench.unit("Mistaken") as work:
        touch_tests.archive(work.session, bench.actor, uid)
    assert touch_days(bench, "Fresh") == before
    with bench.unit("Restored") as work:
        touch_tests.restore(work.session, bench.actor, uid)
    assert touch_days(bench, "Fresh") == moved


def test_a_layer_found_dry_at_its_first_test_teaches_only_with_the_day_it_was_seen_wet(bench):
    layer = bench.painted(bench.panel(title="Late look"), 30)
    press(bench, layer, 1.2 * book_days(bench, layer), "touch_dry")
    found = read(bench)
    assert (found.learned, found.unanchored) == (None, 1)
    press(bench, layer, 0.9 * book_days(bench, layer), "wet")
    assert read(bench).layers == 1
    assert never_soft((Press(3.0, Felt.FIRM),)) and not never_soft((Press(3.0, Felt.FIRM), Press(1.0, Felt.TACKY)))


def test_a_layer_in_progress_is_narrowed_by_its_own_tests(bench):
    layer = bench.painted(bench.panel(title="Pressed"), 9)
    before = touch_days(bench, "Pressed")
    press(bench, layer, 0.8 * before[1], "wet")
    after = touch_days(bench, "Pressed")
    assert after[0] > before[0] and after[1] > before[1]
    assert after[2] / after[0] < before[2] / before[0]


def test_what_is_promised_knows_only_what_was_pressed_before(bench):
    slow_layers(bench)
    early, late = bench.painted(bench.panel(), 70), bench.painted(bench.panel(), 1)
    with bench.db.read() as session:
        frozen = {x.uid: x.forecast_json for x in session.exec(select(Layer))}
    told, kept = frozen[early.uid]["learned"], frozen[late.uid]["learned"]
    assert (told["tests"], kept["tests"]) == (0, 12)
    assert told["log_mean"] == pytest.approx(log(told["book_touch_dry_d"]), abs=1e-6)
    assert kept["log_mean"] > log(kept["book_touch_dry_d"]) + 0.2
    assert kept["log_sd"] < kept["book_log_sd"] == told["log_sd"]
    assert frozen[early.uid]["stages"] == frozen[early.uid]["book"]
    assert frozen[late.uid]["stages"]["dry_to_touch"]["p50_d"] > 1.2 * frozen[late.uid]["book"]["dry_to_touch"]["p50_d"]
    assert read(bench, NOW - timedelta(days=90)).learned is None


def test_a_promise_stays_whatever_is_pressed_later(bench):
    layer = bench.painted(bench.panel(), 50)
    with bench.db.read() as session:
        before = session.exec(select(Layer).where(Layer.uid == layer.uid)).one().forecast_json
    slow_layers(bench)
    press(bench, layer, 1.0, "wet")
    with bench.db.read() as session:
        assert session.exec(select(Layer).where(Layer.uid == layer.uid)).one().forecast_json == before


def test_the_same_tests_are_answered_from_what_is_kept(bench):
    slow_layers(bench, 2)
    assert read(bench) is read(bench)
    number = len(FORECASTS)
    first = touch_days(bench, "Slow 0")
    assert touch_days(bench, "Slow 0") == first
    assert len(FORECASTS) >= number


# What learning takes and gives


def mix(*additions: Added, **pigments: float) -> MixRecipe:
    shares = tuple(PigmentShare(name, None, share) for name, share in pigments.items())
    return MixRecipe("mix", 1.0, (PaintInMix(9.0, "linseed", shares),), additions)


def test_effects_weigh_pigments_by_volume_oils_by_share_and_traces_of_driers_as_much():
    walnut = Added(AdditionKind.OIL, 1.0, oil="walnut")
    drier = Added(AdditionKind.DRIER, metal="Pb", percent_on_oil=0.15)
    found = dict(effects_of(mix(walnut, drier, PW6=0.8, PBk9=0.2), 30.0, WHERE))
    assert found["studio"] == found["place:rack"] == 1.0
    assert found["thickness"] == pytest.approx(0.0)  # the reference film
    assert found["pigment:PW6"] == pytest.approx(0.8)
    assert found["pigment:PBk9"] == pytest.approx(0.2)
    assert 0.1 < found["medium:oil/walnut"] < 0.5
    assert "medium:oil/linseed" not in found
    # w 1.15 / (w + 0.15): half of a catalyst's whole effect at 0.15.
    assert found["medium:drier/Pb"] == pytest.approx(0.575)


def test_a_measured_room_leaves_less_to_learn_of_its_place():
    measured = Where("easel", Climate(1.0, True, True, 20.0, 50.0))
    assert measured.prior_sd < 0.15 < WHERE.prior_sd


CHANGING = Room((RoomStep(0.0, 20.0, 50.0), RoomStep(3.0, 12.0, 70.0)), measured=True)
STEADY = Room((RoomStep(0.0, 24.0, 45.0),), measured=True)


@pytest.mark.parametrize("room", [STEADY, CHANGING])
def test_moving_by_nothing_leaves_every_percentile(room):
    from server.science.climate import reference_clock
    from server.science.estimate import estimate
    from server.science.recipe import Ground, LayerRecipe

    found = estimate(LayerRecipe(45.0, Ground.PAINT, (mix(PW6=1.0),)), room)
    same = stages_moved(dict(found.stages), reference_clock(room), Moved(0.0, 1.0, 1.0, 0.0, 0.0))
    slower = stages_moved(dict(found.stages), reference_clock(room), Moved(0.3, 0.5, 0.5, 0.0, 0.1))
    for stage in Stage:
        for name in ("p05_d", "p10_d", "p50_d", "p90_d", "p95_d"):
            assert getattr(same[stage], name) == pytest.approx(getattr(found.stages[stage], name), rel=1e-6)
        assert slower[stage].p50_d > found.stages[stage].p50_d
        before, after = found.stages[stage], slower[stage]
        assert after.p90_d / after.p10_d < before.p90_d / before.p10_d
    middles = [slower[stage].p50_d for stage in (Stage.SET_TO_TOUCH, Stage.DRY_TO_TOUCH, Stage.DRY_THROUGH)]
    assert middles == sorted(middles)


def test_a_small_studios_scales_change_now_and_then():
    assert [rung_below(tests) for tests in (0, 1, 5, 6, 12, 60)] == [0, 1, 4, 6, 10, 58]
    assert list(LADDER) == sorted(set(LADDER))


def test_tests_at_two_places_of_one_round_are_one_reading(bench):
    layer = bench.painted(bench.panel(), 30)
    assert layer.painted_at is not None
    for place, stage in (("upper", "touch_dry"), ("lower", "tacky")):
        command = TouchTestCreate(stage=stage, pressed_at=layer.painted_at + timedelta(days=4), place_on_panel=place)
        with bench.unit("Pressed") as work:
            touch_tests.log(work.session, bench.actor, layer.uid, command, NOW)
    [evidence] = read(bench).evidence
    assert [press.felt for press in evidence.presses] == [Felt.TACKY]


def test_a_test_of_a_mix_teaches_of_that_mix(bench):
    regions = [{"mix_uid": bench.white.uid, "area_pct": 60}, {"mix_uid": bench.black.uid, "area_pct": 40}]
    layer = bench.painted(bench.panel(), 20, mixes=regions)
    assert layer.painted_at is not None
    command = TouchTestCreate(stage="tacky", pressed_at=layer.painted_at + timedelta(days=5), region="White")
    with bench.unit("Pressed") as work:
        touch_tests.log(work.session, bench.actor, layer.uid, command, NOW)
    found = read(bench)
    assert found.units == ((layer.uid, 0),)
    assert {name for name, _ in found.evidence[0].effects if name.startswith("pigment:")} == {"pigment:PW6"}


def test_a_tube_teaches_of_itself_beside_its_pigment(bench):
    """Two tubes of one pigment of which one is slow: the other's dates move less; recipes kept without tubes work."""
    slow_layers(bench)
    studio = read(bench)
    assert studio.learned is not None
    [tube] = [name for name, _ in studio.evidence[0].effects if name.startswith("paint:")]
    book = replace(studio.evidence[0], presses=(), effects=tuple(e for e in studio.evidence[0].effects if e[0] != tube))
    own, other, unnamed = (
        studio.learned.predict(replace(book, effects=(*book.effects, *more)))
        for more in (((tube, 1.0),), (("paint:another", 1.0),), ())
    )
    assert own.log_mean > other.log_mean == pytest.approx(unnamed.log_mean, abs=1e-3)
    assert other.log_sd > own.log_sd and other.log_sd > unnamed.log_sd


def test_tests_of_one_moment_are_not_parted_by_their_ids():
    """A small studio's scales are learned from its first tests; which of two at one moment comes first says nothing."""
    at = NOW - timedelta(days=3)
    tests: dict[int, list[Any]] = {
        1: [SimpleNamespace(uid="b", pressed_at=at), SimpleNamespace(uid="d", pressed_at=at + timedelta(hours=1))],
        2: [SimpleNamespace(uid="a", pressed_at=at)],
    }
    first = {layer: [test.uid for test in kept] for layer, kept in learning_data._first(tests, 1).items()}
    assert first == {1: ["b"], 2: ["a"]}
    assert learning_data._first(tests, 0) == {}
