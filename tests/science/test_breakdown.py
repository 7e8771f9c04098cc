"""The breakdown of a dry-to-touch time: its factors multiply to the time, and each is what the model says by hand."""

from math import prod

import pytest

from server.science.breakdown import RegionBreakdown, breakdown
from server.science.estimate import estimate
from server.science.recipe import Ground, LayerRecipe, Room
from server.science.results import Stage
from tests.science import layers as make
from tests.science.test_spread import ALL_CASES


def by_name(region: RegionBreakdown) -> dict[str, float]:
    return {factor.name: factor.factor for factor in region.factors}


@pytest.mark.parametrize("name", [*list(ALL_CASES)[:12], "titanium: seasons", "alkyd: nights"])
def test_factors_multiply_to_the_central_time(name: str):
    layer, room = ALL_CASES[name]
    central = estimate(layer, room).stages[Stage.DRY_TO_TOUCH].p50_d
    (region,) = breakdown(layer, room)
    assert region.base_d * prod(factor.factor for factor in region.factors) == pytest.approx(central)
    assert region.touch_d == pytest.approx(central)


def test_the_worked_layers_by_hand():
    """Titanium 50 um in safflower, 8.650 d: 4.5 x (125/76)^0.8 x 1 x (50/30)^0.5. Derived."""
    (region,) = breakdown(make.layer(50.0, make.mix(make.paint(1, "PW6", oil="safflower"))), make.room())
    found = by_name(region)
    assert found == pytest.approx(
        {"oil": 1.489, "pigment": 1.0, "thickness": 1.291, "ground": 1.0, "room": 1.0}, rel=1e-3
    )
    assert region.weightiest.name == "oil"


@pytest.mark.parametrize(
    ("layer", "room", "name", "factor"),
    [
        (make.layer(30, make.mix(make.paint(1, "PBk9"))), make.room(), "pigment", 2.2),
        (make.layer(30, make.mix(make.paint(1, "PW6")), ground=Ground.GLUE_CHALK), make.room(), "ground", 0.866),
        (make.layer(50, make.mix(make.oil(1))), make.room(12.0), "room", 14.337 / 5.809),
        (make.layer(30, make.mix(make.oil(1), make.alkyd(2.0))), make.room(), "driers", 1 / (1 + 4.5 * 0.55)),
    ],
    ids=["bone black", "glue-chalk", "12 C", "half alkyd"],
)
def test_each_factor_is_the_models(layer: LayerRecipe, room: Room, name: str, factor: float):
    """From the model's equations by hand; derived."""
    (region,) = breakdown(layer, room)
    assert by_name(region)[name] == pytest.approx(factor, rel=0.01)


def test_regions_keep_their_order_and_their_words():
    light, dark = make.mix(make.paint(1, "PW6"), name="light"), make.mix(make.paint(1, "PBk9"), name="dark")
    first, second = breakdown(make.layer(50.0, light, dark), make.room())
    assert (first.name, second.name) == ("light", "dark")
    assert first.touch_d < second.touch_d
    why = {factor.name: factor.why for factor in second.factors}
    assert "ivory black (2.2)" in why["pigment"]
    assert "50 µm are left of 50 µm wet" in why["thickness"]


def test_a_film_is_told_to_two_digits_and_never_as_a_power_of_ten():
    (thick,) = breakdown(make.layer(618.0, make.mix(make.paint(1, "PW6"))), make.room())
    assert next(f.why for f in thick.factors if f.name == "thickness") == "620 µm are left of 618 µm wet"
