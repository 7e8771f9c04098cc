"""The scales of the model: their slope, what they learn from tests, and that their doubt widens the ranges."""

from dataclasses import replace

import numpy as np
import pytest

from bench.learning_studios import Painter, between, make
from server.science.learning import STANDARD, Ask, Evidence, Priors, learn
from server.science.learning.likelihood import cases
from server.science.learning.scales import PRIOR_SD, _Hill, learn_scales, point_of, settings_at


def test_the_slope_with_cavities_held_still_is_the_evidences_own():
    hill = _Hill(cases(make(4, 30, Painter(wrong=0.02, keeps_pressing=True)).layers, Priors()), STANDARD)
    point = np.array([0.3, -0.5, 0.4, -0.2, 0.6])
    seen = hill.look(point, None)
    for axis in range(len(point)):
        nudge = np.zeros(len(point))
        nudge[axis] = 1e-3
        up, down = (hill.look(point + sign * nudge, None).value for sign in (1, -1))
        assert seen.slope[axis] == pytest.approx((up - down) / 2e-3, rel=2e-2, abs=5e-3)


def test_points_and_settings_are_inverse():
    point = np.array([0.2, -0.1, 0.05, -0.07, 0.3])
    assert point_of(settings_at(point, STANDARD), STANDARD) == pytest.approx(point, abs=1e-12)


def test_noise_that_is_larger_than_assumed_is_found():
    # Printed trial: true noise 0.40 where 0.25 is assumed; ranges taken on trust cover three in five.
    truth = replace(STANDARD, sigma=0.40, sigma_o=0.20)
    layers = make(8, 150, Painter(truth)).layers
    scales = learn_scales(cases(layers, Priors()), STANDARD)
    assert scales.settings.sigma == pytest.approx(0.40, abs=0.06)
    assert scales.settings.sigma_o == pytest.approx(0.20, abs=0.04)
    assert len(scales.draws) == 16


def test_with_little_to_learn_from_the_scales_stay_at_their_priors():
    scales = learn_scales(cases(make(8, 2).layers, Priors()), STANDARD)
    assert scales.sd[[0, 1, 3, 4]] == pytest.approx(PRIOR_SD[[0, 1, 3, 4]], rel=0.25)
    assert scales.settings.sigma == pytest.approx(0.25, rel=0.3)


def test_the_scales_doubt_widens_what_is_predicted():
    studio = make(9, 6)
    asked = replace(studio.layers[0], presses=())
    known = learn(studio.layers, Ask()).predict(asked)
    doubtful = learn(studio.layers, Ask(learn_scales=True)).predict(asked)
    assert doubtful.log_sd > 0.9 * known.log_sd
    assert doubtful.tacky_sd > 0.05


def test_layers_never_pressed_are_predicted_together_as_each_alone():
    """Derived: one mixture of normals either way, on the grid of one layer or on the grids of all."""
    studio = make(9, 30)
    learned = learn(studio.layers, Ask(learn_scales=True))
    strange = Evidence(3.0, (("studio", 1.0), ("pigment:never seen", 0.7), ("medium:never seen", 0.3)))
    asked = [replace(layer, presses=()) for layer in studio.layers] + [strange]
    together = learned.predict_fresh(asked)
    assert len(together) == len(asked)
    for layer, found in zip(asked, together, strict=True):
        alone = learned.predict(layer)
        for chance in (0.05, 0.1, 0.5, 0.9, 0.95):
            assert found.log_quantile(chance) == pytest.approx(alone.log_quantile(chance), abs=1e-3)
        told = (found.log_mean, found.log_sd, found.tacky, found.firm, found.tacky_sd, found.firm_sd)
        expected = (alone.log_mean, alone.log_sd, alone.tacky, alone.firm, alone.tacky_sd, alone.firm_sd)
        assert told == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("sigma", [0.40])
def test_coverage_comes_back_where_the_noise_was_wrong(sigma):
    """The bench has 200 studios of each kind; here a dozen: 80 % ranges hold three quarters, and on trust far less."""
    painter = Painter(replace(STANDARD, sigma=sigma))
    inside = {"trust": 0, "learned": 0}
    for seed in range(12):
        studio = make(seed, 40, painter)
        rng = np.random.default_rng(seed)
        seen = between(studio.layers, studio.log_dry, rng)
        for name, learns in (("trust", False), ("learned", True)):
            learned = learn(seen[:30], Ask(learn_scales=learns))
            for layer, moment in zip(studio.layers[30:], studio.log_dry[30:], strict=True):
                found = learned.predict(replace(layer, presses=()))
                inside[name] += int(found.log_quantile(0.1) < moment < found.log_quantile(0.9))
    assert inside["learned"] / 120 > 0.70
    assert inside["learned"] > inside["trust"]
