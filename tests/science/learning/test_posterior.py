"""Effects from tests: printed golden numbers, and what must hold of any posterior.

Golden numbers: six layers worked out by two-dimensional quadrature, printed with the method's description to six
digits; expectation propagation and Laplace beside them.
"""

from dataclasses import replace

import numpy as np
import pytest

from bench.learning_studios import Painter, make
from server.science.learning import STANDARD, Ask, Evidence, Felt, Learned, Press, Priors, learn
from server.science.learning.likelihood import cases, grid_for, tabulate
from server.science.learning.propagation import Model, fit, laplace
from server.science.learning.sites import Sites

NAMES = ("studio", "pigment:A")
SHARES = (1.0, 0.0, 0.5, 1.0, 0.25, 0.0)
BOOK = (4.0, 3.0, 6.0, 5.0, 2.0, 8.0)
BETWEEN = ((4.0, 6.0), (2.0, 4.0), (6.0, 9.0), (7.0, 8.0), (0.0, 3.0), (9.0, None))
GOLDEN = [
    Evidence(book, (("studio", 1.0), ("pigment:A", share)), between_d=between)
    for book, share, between in zip(BOOK, SHARES, BETWEEN, strict=True)
]


def model_of(layers: list[Evidence], settings=STANDARD) -> Model:
    found = cases(layers, Priors())
    grid = grid_for(found, settings.sigma)
    sites = Sites.of(found, grid, tabulate(found, settings, grid))
    return Model(found.design, found.scaled_sd(settings), sites, settings.sigma**2)


def named(learned: Learned) -> dict[str, tuple[float, float]]:
    return {effect.name: (effect.mean, effect.sd) for effect in learned.effects()}


def test_golden_layers_against_quadrature():
    # Exact, by quadrature: mean .135209 .129115, sd .149713 .207822, correlation -.65255, log evidence -5.639094.
    learned = learn(GOLDEN, Ask())
    found = named(learned)
    assert found["studio"] == pytest.approx((0.135209, 0.149713), abs=5e-4)
    assert found["pigment:A"] == pytest.approx((0.129115, 0.207822), abs=5e-4)
    assert learned.log_evidence == pytest.approx(-5.639094, abs=1e-3)
    cov = learned.parts[0].fit.cov
    assert cov[0, 1] / np.sqrt(cov[0, 0] * cov[1, 1]) == pytest.approx(-0.65255, abs=1e-3)


def test_golden_layers_against_the_printed_approximations():
    order = [cases(GOLDEN, Priors()).names.index(name) for name in NAMES]
    model = model_of(GOLDEN)
    ep, mode = fit(model), laplace(model)
    assert ep.mean[order] == pytest.approx([0.135227, 0.129097], abs=1e-6)
    assert np.sqrt(np.diagonal(ep.cov))[order] == pytest.approx([0.149843, 0.207888], abs=1e-6)
    assert ep.log_evidence == pytest.approx(-5.638795, abs=1e-6)
    assert mode.mean[order] == pytest.approx([0.135946, 0.129478], abs=1e-6)
    assert np.sqrt(np.diagonal(mode.cov))[order] == pytest.approx([0.149737, 0.207985], abs=1e-6)
    assert mode.log_evidence == pytest.approx(-5.638179, abs=1e-6)


PRESSED = make(3, 25, Painter(wrong=0.02)).layers


def test_slope_and_curvature_are_those_of_log_z():
    sites = model_of(PRESSED).sites
    golden = model_of(GOLDEN).sites
    for given in (sites, golden):
        count = len(given.low)
        mean, variance = np.linspace(-0.5, 0.4, count), np.linspace(0.05, 0.3, count)
        answer = given.at(mean, variance)
        h = 1e-4
        up, down = given.at(mean + h, variance), given.at(mean - h, variance)
        assert answer.slope == pytest.approx((up.log_z - down.log_z) / (2 * h), abs=1e-6)
        assert answer.curvature == pytest.approx((up.slope - down.slope) / (2 * h), rel=1e-5, abs=1e-6)
        # The equation of heat: dlogZ/dV = (h + g^2)/2.
        more, less = given.at(mean, variance + h), given.at(mean, variance - h)
        by_variance = (more.log_z - less.log_z) / (2 * h)
        assert 0.5 * (answer.curvature + answer.slope**2) == pytest.approx(by_variance, rel=1e-5, abs=1e-5)


def test_a_test_that_was_certain_beforehand_changes_nothing():
    quiet = replace(STANDARD, lapse=0.0)
    before = learn(PRESSED, Ask(quiet))
    certain = [replace(PRESSED[0], presses=(Press(0.001, Felt.WET), *PRESSED[0].presses)), *PRESSED[1:]]
    after = learn(certain, Ask(quiet))
    assert after.parts[0].fit.mean == pytest.approx(before.parts[0].fit.mean, abs=1e-6)
    assert after.log_evidence == pytest.approx(before.log_evidence, abs=1e-6)


def test_an_effect_without_data_keeps_its_prior_exactly():
    layers = [*GOLDEN, Evidence(4.0, (("studio", 1.0), ("pigment:B", 1.0)))]
    found = {effect.name: effect for effect in learn(layers, Ask()).effects()}
    assert found["pigment:B"].mean == pytest.approx(0, abs=1e-12)
    assert found["pigment:B"].learned == pytest.approx(0, abs=1e-9)
    assert found["pigment:B"].sd == pytest.approx(0.35, abs=1e-9)
    assert found["studio"].mean == pytest.approx(0.135227, abs=1e-6)


def test_the_order_of_layers_does_not_matter():
    one, other = learn(PRESSED, Ask()), learn(PRESSED[::-1], Ask())
    assert named(one).keys() == named(other).keys()
    for name, found in named(one).items():
        assert found == pytest.approx(named(other)[name], abs=1e-7)
    assert one.log_evidence == pytest.approx(other.log_evidence, abs=1e-7)


def test_another_unit_of_time_changes_nothing():
    hours = [
        replace(layer, book_d=24 * layer.book_d, presses=tuple(Press(24 * p.day, p.felt) for p in layer.presses))
        for layer in PRESSED
    ]
    assert learn(hours, Ask()).parts[0].fit.mean == pytest.approx(learn(PRESSED, Ask()).parts[0].fit.mean, abs=1e-9)


def test_the_evidence_is_the_sum_of_what_each_layer_adds():
    total, last = 0.0, 0.0
    for count in range(1, len(GOLDEN) + 1):
        here = learn(GOLDEN[:count], Ask()).log_evidence
        total, last = total + (here - last), here
    assert total == pytest.approx(learn(GOLDEN, Ask()).log_evidence, abs=1e-9)
    # One step ahead: what a layer adds is the chance the earlier ones gave it.
    before, after = learn(PRESSED[:-1], Ask()), learn(PRESSED, Ask())
    ahead = before.predict(replace(PRESSED[-1], presses=()))
    sites = model_of([replace(PRESSED[-1], book_d=float(np.exp(ahead.log_mean)))]).sites
    step = sites.at(np.zeros(1), np.array([ahead.log_sd**2])).log_z[0]
    assert after.log_evidence - before.log_evidence == pytest.approx(step, abs=0.02)


def test_several_presses_of_one_layer_are_not_several_layers():
    presses = tuple(Press(day, Felt.TACKY if day < 6 else Felt.TOUCH_DRY) for day in (3.0, 4.0, 5.0, 7.0, 8.0, 9.0))
    one = learn([Evidence(4.0, (("studio", 1.0),), presses)], Ask()).effects()[0]
    apart = learn([Evidence(4.0, (("studio", 1.0),), (press,)) for press in presses], Ask()).effects()[0]
    # However often it is pressed, one layer cannot tell the studio from the noise of that layer.
    assert one.sd > 0.30 * (0.25**2 / (0.25**2 + 0.30**2)) ** 0.5
    assert apart.sd < one.sd


def test_a_book_seven_times_off_is_no_trouble():
    # Without taking out the largest term first, the cavity's mean off the grid divides nought by nought.
    layers = [Evidence(1.0, (("studio", 1.0),), (Press(7.0 + i / 30, Felt.TACKY),)) for i in range(30)]
    found = learn(layers, Ask())
    assert np.isfinite(found.log_evidence)
    assert 1.0 < found.effects()[0].mean < 2.5


def test_a_contradictory_layer_pulls_no_mean_away():
    """Clipping its negative site at nought, its shift kept, moved means by 0.7 sd in trials."""
    studio = make(11, 30)
    odd = Evidence(4.0, (("studio", 1.0), ("pigment:P0", 1.0)), (Press(2.0, Felt.FIRM), Press(12.0, Felt.WET)))
    plain, pulled = learn(studio.layers, Ask()), learn([*studio.layers, odd], Ask())
    for before, after in zip(plain.effects(), pulled.effects(), strict=True):
        assert abs(after.mean - before.mean) < 0.35 * before.sd
        assert 0.9 < after.sd / before.sd < 1.15


def test_pigments_always_mixed_are_told_as_a_pair():
    # Printed trial: two pigments always half and half correlate by -0.73, each 42 % learned, the mix 84 %.
    effects = (("studio", 1.0), ("pigment:A", 0.5), ("pigment:B", 0.5))
    layers = [Evidence(4.0, effects, between_d=(5.0, 6.0)) for _ in range(12)]
    layers += [Evidence(4.0, (("studio", 1.0),), between_d=(3.5, 4.5)) for _ in range(12)]
    learned = learn(layers, Ask())
    pairs = {(pair.first, pair.second): pair for pair in learned.pairs()}
    together = pairs[("pigment:A", "pigment:B")]
    single = {effect.name: effect.learned for effect in learned.effects()}
    assert together.correlation < -0.6
    assert together.learned > single["pigment:A"] + 0.2


def test_known_rows_answer_the_same():
    known: dict = {}
    first = learn(PRESSED, Ask(), known=known)
    again = learn(PRESSED, Ask(), known=known)
    assert len(known) == len(PRESSED)
    assert again.parts[0].fit.mean == pytest.approx(first.parts[0].fit.mean, abs=1e-12)
    assert first.parts[0].fit.mean == pytest.approx(learn(PRESSED, Ask()).parts[0].fit.mean, abs=1e-12)


def test_nothing_pressed_is_the_book():
    layer = Evidence(5.0, (("studio", 1.0), ("pigment:A", 1.0)))
    found = learn([], Ask()).predict(layer)
    assert found.log_mean == pytest.approx(np.log(5.0), abs=1e-9)
    assert found.log_sd == pytest.approx(np.sqrt(0.3**2 + 0.35**2 + 0.25**2), rel=1e-3)


def test_a_layers_own_offsets_are_what_its_stages_are_read_by():
    from server.science.learning import Offsets

    presses = (Press(20.0, Felt.TOUCH_DRY),)
    thin = Evidence(5.0, (("studio", 1.0),), presses, offsets=Offsets(-0.36, 0.5))
    thick = replace(thin, offsets=Offsets(-0.36, 2.0))
    # Not firm yet at four times the book's touch-dry: news of a thin film, none of a thick one.
    late, usual = (learn([layer], Ask()).effects()[0].mean for layer in (thin, thick))
    assert late > usual + 0.1
    assert usual == pytest.approx(0.0, abs=0.05)


def test_names_move_no_digit():
    """Uids are made by chance: a studio whose effects are called otherwise gets the same numbers, to the last bit."""
    layers = make(5, 30, Painter(wrong=0.02)).layers
    names = sorted({name for layer in layers for name, _ in layer.effects if ":" in name})
    shuffled = np.random.default_rng(11).permutation(len(names))
    # Others by name, in another order, of the same kind.
    other = {name: f"{name.partition(':')[0]}:{place:03d}" for name, place in zip(names, shuffled, strict=True)}
    renamed = [
        replace(layer, effects=tuple(sorted((other.get(name, name), weight) for name, weight in layer.effects)))
        for layer in layers
    ]
    ask = Ask(learn_scales=True)
    ours, theirs = learn(layers, ask), learn(renamed, ask)
    assert named(theirs) == {other.get(name, name): found for name, found in named(ours).items()}
    assert ours.log_evidence == theirs.log_evidence
    fresh = replace(layers[0], presses=()), replace(renamed[0], presses=())
    assert ours.predict(fresh[0]).log_mean == theirs.predict(fresh[1]).log_mean
