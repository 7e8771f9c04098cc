"""Slow change of a studio: steps in ramps, followed in simulation."""

from datetime import datetime, timedelta, timezone

import numpy as np

from bench.learning_drift import through_a_year
from bench.learning_held import Held
from server.science.learning import Ask, Evidence, learn
from server.science.learning.drift import LOOK_BACK_D, QUARTER_D, drift_effects

FIRST = datetime(2031, 1, 1, tzinfo=timezone.utc)


def after(days: float) -> datetime:
    return FIRST + timedelta(days=days)


def test_the_steps_of_a_year():
    weights = dict(drift_effects(FIRST, after(365), after(1.5 * QUARTER_D)))
    assert weights == {"drift:00": 1.0, "drift:01": 0.5}
    assert len(drift_effects(FIRST, after(365), after(365))) == 4
    assert drift_effects(FIRST, after(365), FIRST) == ()
    assert drift_effects(FIRST, after(80), after(80)) == ()  # one level says it all
    assert len(drift_effects(FIRST, after(365 * 30), after(365 * 30))) == 40


def test_a_slow_drift_keeps_its_ranges_and_none_costs_next_to_nothing():
    """The bar: a drift of 30 % within a year keeps 80 % ranges above 74 %."""
    found = {}
    for slope in (0.0, float(np.log(1.3))):
        for follows in (False, True):
            held = Held()
            for seed in range(14):
                through_a_year(held, (seed, 90), slope, follows)
            found[slope > 0, follows] = held
    assert found[True, True].covers(80) >= 74
    assert found[True, True].covers(80) > found[True, False].covers(80)
    still, followed = (float(np.median(found[False, follows].errors)) for follows in (False, True))
    assert followed < 1.06 * still


def test_the_level_of_now_is_told_against_a_quarter_before():
    """Layers of one colour that dry half as fast again in the second half of the year."""
    layers = []
    for number in range(80):
        at = after(365 * number / 79)
        day = 4.0 if number < 40 else 6.0
        effects = (("studio", 1.0), *drift_effects(FIRST, after(365), at))
        layers.append(Evidence(4.0, effects, between_d=(day - 0.5, day + 0.5)))
    learned = learn(layers, Ask())
    now, then = (dict(drift_effects(FIRST, after(365), after(days))) for days in (365, 365 - 2 * LOOK_BACK_D))
    mean, sd = learned.level({name: weight - then.get(name, 0.0) for name, weight in now.items()})
    assert mean > 1.6448 * sd and 0.1 < mean < np.log(1.6)  # steps are small beforehand, so that a jump is told in part
    assert learned.level({"pigment:PW6": 1.0}) == (0.0, 0.0)
