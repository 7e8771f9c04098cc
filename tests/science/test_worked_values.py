"""Worked values of the drying model, done by hand from its equations; all to 1 per cent.

Constant room, neutral light, 50 % relative humidity, sealed ground and no solvent unless said. Derived, no outside
source.
"""

import pytest

from server.science.composition import film_thickness_um
from server.science.drying import Film, climate, drier_rate, dry_to_touch_d, metal_rate, pigment_sums, stage_times
from server.science.reference import value

NEUTRAL = climate(21.0, 50.0, 1.0)


def pigmented(multiplier: float, thickness_um: float = 50.0, **film: float) -> Film:
    speed_up, slow_down = pigment_sums(((1.0, multiplier),))
    return Film(thickness_um, speed_up=speed_up, slow_down=slow_down, **film)


# 30 um wet, half of it solvent, on acrylic primer that drinks a tenth of the binder; binder is 0.6 of the film
UMBER_UM = film_thickness_um(30.0, 0.5, 0.1, 0.6)
WORKED = {
    "umber on acrylic primer": (pigmented(0.4, UMBER_UM, absorbency=0.1), (1.171, 1.880, 2.253, 69.01)),
    "titanium in linseed": (pigmented(1.0), (5.809, 10.277, 14.964, 119.86)),
    "titanium in safflower": (
        pigmented(1.0, drying_index=76.0, iodine_value=142.0),
        (8.650, 14.208, 23.312, 153.25),
    ),
    "lead white in linseed": (pigmented(0.45), (2.614, 5.484, 10.171, 100.69)),
    "bone black in linseed": (pigmented(2.2), (12.781, 20.734, 25.421, 161.69)),
    "titanium, a fifth of the binder alkyd": (
        pigmented(1.0, alkyd_rate=0.2 * value("alkyd_rate")),
        (2.919, 5.942, 10.629, 102.52),
    ),
    "titanium impasto": (pigmented(1.0, 300.0), (14.230, 35.408, 246.35, 545.38)),
}


@pytest.mark.parametrize("name", WORKED)
def test_worked_value(name: str):
    film, expected = WORKED[name]
    times = stage_times(film, NEUTRAL)
    varnish = value("varnish_fixed_d") + times.varnish_d
    got = (times.dry_to_touch_d, times.dry_to_recoat_d, times.dry_through_d, varnish)
    assert got == pytest.approx(expected, rel=0.01)
    assert times.set_to_touch_d == pytest.approx(0.7 * expected[0], rel=0.01)


def test_worked_film_thickness():
    assert pytest.approx(14.1, abs=0.01) == UMBER_UM


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "light", "touch_d"),
    [(12.0, 50.0, 1.0, 14.337), (28.0, 50.0, 1.0, 2.987), (21.0, 85.0, 1.0, 8.079), (21.0, 50.0, 0.25, 23.238)],
    ids=["12 C", "28 C", "85 % RH", "dark"],
)
def test_worked_room(temperature_c: float, humidity_pct: float, light: float, touch_d: float):
    room = climate(temperature_c, humidity_pct, light)
    assert dry_to_touch_d(pigmented(1.0), room) == pytest.approx(touch_d, rel=0.01)


def test_several_metals_share_the_work_by_their_atoms():
    """0.5 % of lead oxide with 0.025 % of manganese dioxide, by hand: 0.8862 of the atoms are lead. Derived."""
    both = metal_rate({"Pb": 0.46415, "Mn": 0.0157975})
    alone = drier_rate("Pb", 0.46415), drier_rate("Mn", 0.0157975)
    assert both == pytest.approx(0.8862 * alone[0] + 0.1138 * alone[1], rel=1e-3)
    assert alone[0] < both < alone[1]


@pytest.mark.parametrize("metal", ["Pb", "Mn", "Co"])
def test_a_trace_of_a_second_metal_changes_little(metal: str):
    other = "Mn" if metal == "Pb" else "Pb"
    alone = drier_rate(metal, 0.1)
    assert metal_rate({metal: 0.1}) == pytest.approx(alone)
    assert metal_rate({metal: 0.1, other: 1e-6}) == pytest.approx(alone, rel=1e-3)
    assert metal_rate({metal: 0.0}) == 0.0
