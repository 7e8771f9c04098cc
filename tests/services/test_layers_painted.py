"""Painted layers: frozen with what went on, in an order of times that makes sense."""

from datetime import datetime, timedelta

import pytest
from sqlmodel import select

from server.services import touch_tests
from server.services.errors import Conflict, Invalid, Refused
from server.services.touch_tests import TouchTestCreate
from server.store.tables import MixPart
from tests.services.conftest import NOW, Bench, add
from tests.services.layer_acts import DAY, change, paint, regions


def test_painting_freezes_what_went_on_and_what_is_promised(bench: Bench) -> None:
    layer = paint(bench, bench.layer(bench.panel(), thickness_preset="normal_brush"))
    assert layer.painted_at == NOW
    assert layer.recipe_json is not None
    assert layer.forecast_json is not None
    assert layer.recipe_json["wet_thickness_um"] == 50
    assert layer.recipe_json["ground"] == "acrylic"
    [mix] = layer.recipe_json["mixes"]
    assert (mix["name"], mix["area_share"]) == ("White", 1.0)
    assert mix["paints"][0]["pigments"][0]["ci_name"] == "PW6"
    touch = layer.forecast_json["stages"]["dry_to_touch"]
    assert 0 < touch["p10_d"] < touch["p50_d"] < touch["p90_d"]


def test_painting_takes_what_was_different_from_the_plan(bench: Bench) -> None:
    layer = bench.layer(bench.panel(), sitting_min=60)
    painted_at = NOW - timedelta(hours=3)
    layer = paint(
        bench,
        layer,
        painted_at=painted_at,
        wet_thickness_um=70,
        solvent_pct=10,
        thinner_uid=bench.thinner.uid,
        sitting_min=95,
        mixes=[{"mix_uid": bench.black.uid}],
        surface="matte",
        notes="went on thicker",
    )
    assert (layer.painted_at, layer.thickness_preset, layer.wet_thickness_um) == (painted_at, None, 70)
    assert (layer.solvent_pct, layer.thinner_id, layer.sitting_min) == (10, bench.thinner.id, 95)
    assert (layer.surface, layer.notes) == ("matte", "went on thicker")
    assert regions(bench, layer) == [(bench.black.id, 1.0, "")]
    assert layer.recipe_json is not None
    assert layer.recipe_json["mixes"][0]["name"] == "Black"


def test_painting_by_another_preset(bench: Bench) -> None:
    layer = paint(bench, bench.layer(bench.panel(), wet_thickness_um=45), thickness_preset="loaded_brush")
    assert (layer.thickness_preset, layer.wet_thickness_um) == ("loaded_brush", 150)


def test_a_later_change_to_the_tube_never_rewrites_the_past(bench: Bench) -> None:
    layer = paint(bench, bench.layer(bench.panel()))
    with bench.unit() as work:
        work.session.get_one(type(bench.white), bench.white.id).label = "Something else"
    corrected = change(bench, layer, notes="only a note")
    assert corrected.recipe_json == layer.recipe_json
    assert corrected.version == layer.version + 1


def test_a_correction_of_the_thickness_keeps_the_mix_that_went_on(bench: Bench) -> None:
    layer = paint(bench, bench.layer(bench.panel()))
    assert layer.recipe_json is not None
    with bench.unit() as work:
        for part in work.session.exec(select(MixPart).where(MixPart.mix_id == bench.white.id)):
            work.session.delete(part)
    corrected = change(bench, layer, thickness_preset="impasto")
    assert corrected.recipe_json == layer.recipe_json | {"wet_thickness_um": 500.0}
    with pytest.raises(Invalid, match="no parts"):
        change(bench, corrected, solvent_pct=5)  # this needs the mix as it is now


def test_a_correction_freezes_anew(bench: Bench) -> None:
    layer = paint(bench, bench.layer(bench.panel()))
    before = layer.forecast_json
    corrected = change(bench, layer, thickness_preset=None, wet_thickness_um=400)
    assert corrected.recipe_json is not None
    assert corrected.recipe_json["wet_thickness_um"] == 400
    assert corrected.forecast_json != before
    earlier = change(bench, corrected, painted_at=NOW - 2 * DAY)
    assert earlier.painted_at == NOW - 2 * DAY


def test_the_second_layer_lies_on_paint(bench: Bench) -> None:
    panel = bench.panel()
    bench.painted(panel, 30)
    layer = bench.painted(panel, 1)
    assert layer.recipe_json is not None
    assert layer.recipe_json["ground"] == "paint"


@pytest.mark.parametrize("material", ["oil", "alkyd"])
def test_an_oil_layer_needs_a_mix_to_be_painted(bench: Bench, material: str) -> None:
    layer = bench.layer(bench.panel(), mixes=[], material=material)
    with pytest.raises(Invalid, match="which mix") as caught:
        paint(bench, layer)
    assert caught.value.errors[0].field == "mixes"


def test_a_mix_without_parts_cannot_be_painted(bench: Bench) -> None:
    with bench.db.write() as session:
        empty = add(session, type(bench.white)(studio_id=bench.actor.studio_id, label="Empty"))
    with pytest.raises(Invalid, match="no parts"):
        bench.painted(bench.panel(), 1, mixes=[{"mix_uid": empty.uid}])


def test_other_films_need_no_mix(bench: Bench) -> None:
    layer = bench.painted(bench.panel(), 400, mixes=[], material="old_painting")
    assert (layer.recipe_json, layer.forecast_json) == (None, None)


def test_a_layer_is_painted_once(bench: Bench) -> None:
    layer = paint(bench, bench.layer(bench.panel()))
    with pytest.raises(Refused, match="already"):
        paint(bench, layer)


def test_a_plan_that_changed_is_not_painted_unseen(bench: Bench) -> None:
    layer = bench.layer(bench.panel())
    change(bench, layer, thickness_preset="impasto")
    with pytest.raises(Conflict) as caught:
        paint(bench, layer)
    assert caught.value.current["thickness_preset"] == "impasto"


def test_the_layer_below_comes_first(bench: Bench) -> None:
    panel = bench.panel()
    bench.layer(panel, kind="underpainting")
    with pytest.raises(Refused, match=r"underpainting.*not painted yet"):
        paint(bench, bench.layer(panel, kind="glaze"))


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (NOW + timedelta(minutes=3), "to come"),
        (NOW + timedelta(days=400), "to come"),
        (NOW - 6 * DAY, "layer below was painted on 20 November 2026 at 10:00"),  # Prague is UTC+1
        (NOW - 40 * DAY, "ground was laid on 1 November 2026"),
    ],
)
def test_a_time_that_cannot_be_is_refused_at_its_field(bench: Bench, at: datetime, words: str) -> None:
    panel = bench.panel(ground_on="2026-11-01")
    bench.painted(panel, 5)
    for attempt in (lambda: paint(bench, bench.layer(panel), painted_at=at), lambda: bench.layer(panel, painted_at=at)):
        with pytest.raises(Invalid) as caught:
            attempt()
        assert [error.field for error in caught.value.errors] == ["painted_at"]
        assert words in caught.value.errors[0].message


def test_a_correction_keeps_the_order_of_times(bench: Bench) -> None:
    panel = bench.panel()
    lower, upper = bench.painted(panel, 9), bench.painted(panel, 5)
    with pytest.raises(Invalid, match="layer above"):
        change(bench, lower, painted_at=NOW - 4 * DAY)
    with pytest.raises(Invalid, match="layer below"):
        change(bench, upper, painted_at=NOW - 10 * DAY)
    with bench.unit() as work:
        command = TouchTestCreate(stage="wet", pressed_at=NOW - 4 * DAY)
        touch_tests.log(work.session, bench.actor, upper.uid, command)
    with pytest.raises(Invalid, match="touch-tested"):
        change(bench, upper, painted_at=NOW - 3 * DAY)
    assert change(bench, upper, painted_at=NOW - 4 * DAY).painted_at == NOW - 4 * DAY


def test_two_layers_of_one_sitting_may_share_a_moment(bench: Bench) -> None:
    panel = bench.panel()
    bench.painted(panel, 1)
    assert bench.painted(panel, 1, wet_in_wet=True).painted_at == NOW - DAY


def test_an_update_neither_paints_nor_unpaints(bench: Bench) -> None:
    panel = bench.panel()
    painted, planned = bench.painted(panel, 1), bench.layer(panel)
    for layer, at in ((painted, None), (planned, NOW)):
        with pytest.raises(Invalid) as caught:
            change(bench, layer, painted_at=at)
        assert caught.value.errors[0].field == "painted_at"
