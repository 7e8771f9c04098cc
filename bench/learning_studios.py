"""Invented studios to learn from, and the exact sampler that learning is held against.

The painters are draws from the model: effects from their priors, layers of one to three pigments with a few favourites,
visits on six days in ten, a press at each until the layer is dry to the touch. Nothing here is data of anybody.
"""

from dataclasses import dataclass, field, replace
from statistics import NormalDist

import numpy as np

from server.science.learning.likelihood import cases, grid_for, tabulate
from server.science.learning.types import Evidence, Felt, Press, Priors, Settings

PIGMENTS, MEDIUMS = 22, 7
BOOK_D, BOOK_SD = 4.5, 0.6
VISITS = 0.6  # of days
MOST_PRESSES = 14
WRONG_BY = (-10, -7, 7, 10)  # days


@dataclass(frozen=True)
class Painter:
    """``truth`` are the scales as they really are; ``wrong`` the share of tests that are wrong."""

    truth: Settings = field(default_factory=Settings)
    wrong: float = 0.0
    keeps_pressing: bool = False  # beyond touch-dry, until firm
    only_when_dry: float = 0.0  # share of layers pressed only once they looked dry
    remembers_wet: bool = False  # and then tells when they were last seen wet


@dataclass(frozen=True)
class Studio:
    """Layers with their tests, when each was really dry (log), and which tests are wrong, by (layer, press)."""

    layers: list[Evidence]
    log_dry: np.ndarray
    wrong: set[tuple[int, int]]
    rng: np.random.Generator
    effects: dict[str, float]
    painter: Painter


def make(seed: int, count: int, painter: Painter | None = None, until: int | None = None) -> Studio:
    """A studio of ``count`` layers, or of as many as hold ``until`` tests."""
    painter = painter or Painter()
    rng = np.random.default_rng((seed, 7001))
    studio = Studio([], np.empty(0), set(), rng, _effects(rng, painter.truth), painter)
    return more(studio, count, until)


def made(seed: int, count: int, effects: dict[str, float]) -> Studio:
    """A studio with these very effects."""
    studio = Studio([], np.empty(0), set(), np.random.default_rng((seed, 7001)), effects, Painter())
    return more(studio, count)


def names_of_effects() -> list[str]:
    return ["studio", *(f"pigment:P{i}" for i in range(PIGMENTS)), *(f"medium:M{i}" for i in range(MEDIUMS))]


def spread_evenly(count: int, place: int) -> np.ndarray:
    """So many values of the effect at ``place``, one in each of as many equal parts of its prior, in a chance order."""
    rng = np.random.default_rng((place, 7003))
    shares = (rng.permutation(count) + rng.random(count)) / count
    sd = Priors().of(names_of_effects()[place])
    return np.array([NormalDist(0, sd).inv_cdf(float(share)) for share in shares])


def more(studio: Studio, count: int, until: int | None = None) -> Studio:
    """Another ``count`` layers of the same painter (only those)."""
    layers: list[Evidence] = []
    moments, wrong, tests = [], set(), 0
    while len(layers) < count and (until is None or tests < until):
        layer, log_dry, mistakes = _layer(studio)
        if until is not None and tests + len(layer.presses) > until:
            layer = replace(layer, presses=layer.presses[: until - tests])
            mistakes &= set(range(len(layer.presses)))
        wrong |= {(len(layers), mistake) for mistake in mistakes}
        layers.append(layer)
        moments.append(log_dry)
        tests += len(layer.presses)
    return replace(studio, layers=layers, log_dry=np.array(moments), wrong=wrong)


def _effects(rng: np.random.Generator, truth: Settings) -> dict[str, float]:
    priors = Priors()
    names = names_of_effects()
    scale = {name: 1.0 if name == "studio" else truth.scale for name in names}
    return {name: float(rng.normal(0, priors.of(name) * scale[name])) for name in names}


def _recipe(rng: np.random.Generator) -> tuple[tuple[str, float], ...]:
    favours = 1 / np.arange(1, PIGMENTS + 1)
    count = int(rng.integers(1, 4))
    chosen = rng.choice(PIGMENTS, count, replace=False, p=favours / favours.sum())
    effects = [("studio", 1.0)]
    effects += [(f"pigment:P{p}", float(w)) for p, w in zip(chosen, rng.dirichlet(np.ones(count)), strict=True)]
    if rng.random() < 0.6:
        effects.append((f"medium:M{rng.integers(MEDIUMS)}", float(rng.uniform(0.1, 0.6))))
    return tuple(effects)


def _layer(studio: Studio) -> tuple[Evidence, float, set[int]]:
    rng, truth = studio.rng, studio.painter.truth
    effects = _recipe(rng)
    book_d = float(BOOK_D * np.exp(rng.normal(0, BOOK_SD)))
    log_dry = float(
        np.log(book_d) + sum(weight * studio.effects[name] for name, weight in effects) + rng.normal(0, truth.sigma)
    )
    if rng.random() < studio.painter.only_when_dry:
        presses = _looked_dry(studio, log_dry)
        return Evidence(book_d, effects, presses), log_dry, set()
    presses, mistakes = _pressed(studio, log_dry)
    return Evidence(book_d, effects, presses), log_dry, mistakes


def felt_at(rng: np.random.Generator, truth: Settings, day: float, log_dry: float) -> Felt:
    """What a fingertip reads at a day, with its noise."""
    read = np.log(day) - log_dry + rng.normal(0, truth.sigma_o)
    tacky, firm = truth.offsets.tacky + truth.tacky_shift, truth.offsets.firm + truth.firm_shift
    return Felt(int(read >= tacky) + int(read >= 0) + int(read >= firm))


def _pressed(studio: Studio, log_dry: float) -> tuple[tuple[Press, ...], set[int]]:
    rng, painter = studio.rng, studio.painter
    presses: list[Press] = []
    mistakes: set[int] = set()
    last = Felt.FIRM if painter.keeps_pressing else Felt.TOUCH_DRY
    for day in range(1, 400):
        if rng.random() >= VISITS:
            continue
        at = day + float(rng.uniform(-0.3, 0.3))
        felt = felt_at(rng, painter.truth, at, log_dry)
        if rng.random() < painter.wrong:
            mistakes.add(len(presses))
            press = _mistaken(rng, at, felt)
        else:
            press = Press(at, felt)
        presses.append(press)
        if felt >= last or len(presses) >= MOST_PRESSES:
            break
    return tuple(presses), mistakes


def _mistaken(rng: np.random.Generator, day: float, felt: Felt) -> Press:
    """A wrong word, a day that is off by seven or ten, the scale turned round: one third each.

    Days from before the layer was painted are refused where tests are entered: a painter errs to others.
    """
    kind = int(rng.integers(3))
    if kind == 0:
        return Press(day, Felt(int((felt + rng.integers(1, 4)) % 4)))
    if kind == 1:
        return Press(day + float(rng.choice([off for off in WRONG_BY if day + off > 0])), felt)
    return Press(day, Felt(3 - felt))


def _looked_dry(studio: Studio, log_dry: float) -> tuple[Press, ...]:
    """One press within a day after it looked dry, and maybe the day before, on which it was seen wet."""
    rng = studio.rng
    day = float(np.exp(log_dry)) + float(rng.uniform(0, 1))
    dry = Press(day, max(felt_at(rng, studio.painter.truth, day, log_dry), Felt.TOUCH_DRY))
    if not studio.painter.remembers_wet:
        return (dry,)
    tacky = log_dry + studio.painter.truth.offsets.tacky
    seen = float(np.exp(tacky)) * float(rng.uniform(0.6, 1.0))
    return Press(seen, Felt.WET), dry


def between(layers: list[Evidence], log_dry: np.ndarray, rng: np.random.Generator) -> list[Evidence]:
    """The layers given as intervals between visits instead of presses."""
    answer = []
    for layer, moment in zip(layers, log_dry, strict=True):
        dry = float(np.exp(moment))
        visits = [0.0]
        while visits[-1] < dry:
            visits.append(visits[-1] + float(rng.geometric(VISITS)) + float(rng.uniform(-0.3, 0.3)))
        answer.append(replace(layer, presses=(), between_d=(visits[-2] or None, visits[-1])))
    return answer


@dataclass(frozen=True)
class Exact:
    """Means and sds of the effects by sampling, and of one layer's log time if asked for."""

    mean: np.ndarray
    sd: np.ndarray


def gibbs(layers: list[Evidence], settings: Settings, sweeps: int, seed: int, chains: int = 8) -> Exact:
    """The exact posterior of the effects: layers given effects on the grid, effects given layers in closed form.

    Rao-Blackwell: means and variances are those of the effects' normal, averaged over the sweeps.
    """
    found = cases(layers, Priors())
    grid = grid_for(found, settings.sigma)
    table = _table(found, settings, grid)
    rng = np.random.default_rng((seed, 7002))
    noise = settings.sigma**2
    cov = np.linalg.inv(np.diag(1 / found.scaled_sd(settings) ** 2) + found.design.T @ found.design / noise)
    root = np.linalg.cholesky(cov)
    effects = np.zeros((chains, len(found.names)))
    total, square, counted = np.zeros(len(found.names)), np.zeros(len(found.names)), 0
    for sweep in range(sweeps // chains + 50):
        centre = effects @ found.design.T  # (chains, layers)
        logs = table - (grid - centre[:, :, None]) ** 2 / (2 * noise)
        chances = np.exp(logs - logs.max(axis=2, keepdims=True)).cumsum(axis=2)
        drawn = (rng.random(centre.shape) * chances[:, :, -1])[:, :, None] > chances
        x = grid[np.minimum(drawn.sum(axis=2), len(grid) - 1)]
        mean = (x @ found.design) @ cov / noise
        if sweep >= 50:
            total += mean.sum(axis=0)
            square += (mean**2).sum(axis=0)
            counted += chains
        effects = mean + rng.standard_normal(mean.shape) @ root.T
    centre = total / counted
    return Exact(centre, np.sqrt(np.diagonal(cov) + square / counted - centre**2))


def _table(found: object, settings: Settings, grid: np.ndarray) -> np.ndarray:
    from server.science.learning.likelihood import Cases

    assert isinstance(found, Cases)
    table = tabulate(found, settings, grid)
    inside = (grid > found.low[:, None]) & (grid <= found.high[:, None])
    return np.where(found.given_between[:, None], np.where(inside, 0.0, -np.inf), table)
