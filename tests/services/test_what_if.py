"""What if, of a layer that lies: from now on, with its own touch tests, as every other page tells it."""

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from server.science.results import Stage
from server.services import board, on_panel, what_if
from server.services.errors import Invalid
from server.services.what_if import WhatIfAnswer, WhatIfQuestion
from server.store.tables import Layer, Place
from tests.services.conftest import NOW, Bench, add
from tests.services.test_learning import press, slow_layers

PRAGUE = ZoneInfo("Europe/Prague")
AGE_D = 2.0


@pytest.fixture
def lying(bench: Bench) -> Layer:
    return bench.painted(bench.panel(), AGE_D, wet_thickness_um=60, thickness_preset=None)


@pytest.fixture
def stove(bench: Bench) -> Place:
    """A warmer place, its damp and light those of the bench's own."""
    with bench.db.write() as session:
        return add(session, Place(studio_id=bench.actor.studio_id, name="Stove", light="room", temperature_c=28.0))


def asked(bench: Bench, layer: Layer, **values: Any) -> WhatIfAnswer:
    moment = board.moment_of(NOW, PRAGUE)
    with bench.db.read() as session:
        here = on_panel.of_layer(session, bench.actor, layer.uid)
        found = what_if.layer_now(session, bench.actor, here, moment)
        assert found is not None
        return what_if.work_out(*found, WhatIfQuestion.model_validate(values), PRAGUE)


def on_its_page(bench: Bench, layer: Layer) -> Any:
    with bench.db.read() as session:
        panel = on_panel.of_layer(session, bench.actor, layer.uid).panel
        page = board.panel_page(session, bench.actor, panel.uid, NOW, PRAGUE)
    return page.layers[0]


def touch(answer: WhatIfAnswer, tried: bool = True) -> float:
    dates = answer.tried if tried else answer.now
    assert dates is not None
    return dates.ranges[Stage.DRY_TO_TOUCH].p50_d


@pytest.mark.parametrize("is_pressed", [False, True])
def test_as_it_is_it_tells_what_the_panels_page_tells(bench: Bench, lying: Layer, is_pressed: bool) -> None:
    slow_layers(bench)  # the studio learns
    if is_pressed:
        press(bench, lying, AGE_D - 0.1, "tacky")
    found = asked(bench, lying)
    assert dict(found.now.stages) == dict(on_its_page(bench, lying).stages)
    assert found.tried is None and not found.in_hindsight


def test_the_same_place_from_now_on_changes_nothing(bench: Bench, lying: Layer) -> None:
    found = asked(bench, lying, place_uid=bench.place.uid)
    for stage, days in found.now.ranges.items():
        assert found.tried is not None
        assert found.tried.ranges[stage].p50_d == pytest.approx(days.p50_d, rel=1e-3), stage  # drying.md: 0.1 %


def test_warmer_from_now_on_helps_only_what_is_still_to_come(bench: Bench, lying: Layer, stove: Place) -> None:
    """u runs at one speed up to now and at another after: the closed form of the changing climate in drying.md."""
    found = asked(bench, lying, place_uid=stove.uid)
    all_warm = touch(asked(bench, lying, place_uid=stove.uid, wet_thickness_um=60))  # laid there from the start
    as_it_is = touch(found, tried=False)
    assert all_warm < as_it_is
    assert touch(found) == pytest.approx(AGE_D + (1 - AGE_D / as_it_is) * all_warm, rel=2e-3)
    assert [reason.name for reason in found.reasons] == ["room"]
    assert found.reasons[0].times == pytest.approx(all_warm / as_it_is, rel=2e-3)
    assert any("Stove" in way.what for way in found.ways)


def test_a_test_of_the_layer_counts_on_both_sides(bench: Bench, lying: Layer, stove: Place) -> None:
    before = asked(bench, lying, place_uid=stove.uid)
    press(bench, lying, AGE_D - 0.01, "wet")
    after = asked(bench, lying, place_uid=stove.uid)
    assert touch(after, tried=False) > touch(before, tried=False)
    assert touch(after) > touch(before)
    assert after.tried is not None
    assert after.tried.ranges[Stage.SET_TO_TOUCH].p05_d >= AGE_D - 0.02  # it was wet just now
    assert after.now.by_region[0][1] == after.now.ranges  # the curves tell the same


def test_after_touch_dry_the_next_stage_is_asked_for(bench: Bench, lying: Layer, stove: Place) -> None:
    assert asked(bench, lying).target is Stage.DRY_TO_TOUCH
    press(bench, lying, AGE_D - 0.01, "touch_dry")
    found = asked(bench, lying)
    assert found.target is Stage.DRY_TO_RECOAT
    assert found.ways and all("from now on" in way.what for way in found.ways)
    press(bench, lying, AGE_D - 0.005, "firm")
    assert asked(bench, lying).target is Stage.FINAL_VARNISH


def test_laid_otherwise_is_told_in_hindsight(bench: Bench, lying: Layer) -> None:
    press(bench, lying, AGE_D - 0.01, "wet")
    found = asked(bench, lying, wet_thickness_um=30)
    assert found.in_hindsight and found.ways == ()
    assert touch(found) < touch(found, tried=False)
    assert [reason.name for reason in found.reasons] == ["thickness"]
    # drying.md: (h/30)^0.5 of 60 um against 30 um
    assert found.reasons[0].times == pytest.approx(0.5**0.5, rel=0.02)


def test_a_place_of_another_studio_is_none(bench: Bench, lying: Layer, stranger: Bench) -> None:
    with pytest.raises(Invalid, match="no such place"):
        asked(bench, lying, place_uid=stranger.place.uid)


def test_a_planned_layer_is_asked_as_before(bench: Bench) -> None:
    planned = bench.layer(bench.panel(), planned_on=(NOW + timedelta(days=3)).date())
    found = asked(bench, planned, temperature_c=28)
    assert touch(found) < touch(found, tried=False)
    assert not found.in_hindsight and not found.layer.is_painted
