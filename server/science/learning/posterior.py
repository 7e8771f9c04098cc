"""What was learned of a studio's effects, and what it says of layers: those to come and those in progress."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from math import fsum

import numpy as np

from server.science.learning.doubts import Doubts, learned_rate
from server.science.learning.likelihood import (
    STEP,
    WIDEST,
    Cases,
    Rows,
    cases,
    cut_points,
    grid_for,
    tabulate,
)
from server.science.learning.normal import quantile
from server.science.learning.propagation import Fit, Model, fit
from server.science.learning.scales import Scales, learn_scales
from server.science.learning.sites import Sites, tilted
from server.science.learning.types import SCALED, STANDARD, USUAL_PRIORS, Evidence, Priors, Settings

PERCENTILES = (0.05, 0.10, 0.50, 0.90, 0.95)
FRESH_AT_ONCE, FRESH_POINTS = 256, 241  # layers of one go; points over six sds to either side
FINE = 4  # points of the fine grid for one of the coarse one
TOGETHER = 0.6  # correlation of two effects beyond which they are told as a pair
# When more than a fifth of the layers gave their tests so little chance, the book is looked at again.
FEW, HARDLY, SUSPECT = 3, -4.5, 0.2
LITTLE = 0.2  # an effect with less learned than this is the book's still


@dataclass(frozen=True, slots=True)
class Effect:
    """One effect: mean and sd of its logarithm, its prior sd as given, and how much of the prior's variance (as scaled)
    is gone, 0 to 1."""

    name: str
    mean: float
    sd: float
    prior_sd: float
    learned: float


@dataclass(frozen=True, slots=True)
class Pair:
    """Two effects that the tests do not tell apart: their correlation, and what is known of both together."""

    first: str
    second: str
    correlation: float
    mean: float
    learned: float


@dataclass(frozen=True, slots=True)
class Prediction:
    """When a layer is dry to the touch, by the logarithm of effective days, as chances over a fine grid.

    ``log_days`` (grid) and ``below`` (grid), the chance that it is dry by then; mean and sd of the logarithm. ``cuts``
    are the offsets of tacky and firm, and ``cut_sd`` how far they are uncertain.
    """

    log_days: np.ndarray
    below: np.ndarray
    log_mean: float
    log_sd: float
    tacky: float
    firm: float
    tacky_sd: float
    firm_sd: float

    def log_quantile(self, chance: float) -> float:
        """Logarithm of the effective days by which it is dry to the touch with this chance."""
        return float(np.interp(chance, self.below, self.log_days))

    def chance_by(self, day: float) -> float:
        """Chance of being dry to the touch by an effective day."""
        return float(np.interp(np.log(max(day, 1e-9)), self.log_days, self.below, left=0.0, right=1.0))

    def percentiles(self, offset: float = 0.0, extra_sd: float = 0.0) -> tuple[float, ...]:
        """Effective days at ``PERCENTILES`` of a stage entered at u + offset, the offset uncertain by ``extra_sd``."""
        middle = self.log_quantile(0.5)
        found = []
        for chance in PERCENTILES:
            away = self.log_quantile(chance) - middle
            z = quantile(chance)
            wider = np.sign(away) * np.hypot(away, z * extra_sd) if extra_sd else away
            found.append(float(np.exp(middle + offset + wider)))
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Part:
    """The posterior under one of the settings that are averaged over."""

    settings: Settings
    fit: Fit
    prior_sd: np.ndarray


@dataclass(frozen=True)
class Learned:
    """The posterior of a studio: under one setting, or averaged over draws of the settings.

    ``parts`` count alike in what is predicted; evidence and doubtful tests are told of ``top``, the likeliest settings.
    """

    found: Cases
    grid: np.ndarray
    priors: Priors
    top: Part
    parts: tuple[Part, ...]
    scales: Scales | None

    @property
    def settings(self) -> Settings:
        """The most likely settings."""
        return self.top.settings

    @property
    def log_evidence(self) -> float:
        """Logarithm of the chance of all tests, in nats."""
        return self.top.fit.log_evidence

    def effects(self) -> list[Effect]:
        """The effects that occur, by name. Means and variances are those over all parts."""
        mean, cov, prior = self._moments()
        sd = np.sqrt(np.diagonal(cov))
        found = [
            Effect(name, float(m), float(s), float(given), float(max(0.0, 1 - (s / p) ** 2)))
            for name, m, s, p, given in zip(self.found.names, mean, sd, prior, self.found.prior_sd, strict=True)
        ]
        return sorted(found, key=lambda effect: effect.name)

    def pairs(self) -> list[Pair]:
        """Effects that cannot be told apart yet though something is known of them together."""
        mean, cov, prior = self._moments()
        sd = np.sqrt(np.diagonal(cov))
        correlation = cov / np.outer(sd, sd)
        by_name = sorted(enumerate(self.found.names), key=lambda each: each[1])
        found = []
        for (i, first), (j, second) in combinations(by_name, 2):
            if abs(correlation[i, j]) <= TOGETHER:
                continue
            both = (cov[i, i] + cov[j, j] + 2 * cov[i, j]) / (prior[i] ** 2 + prior[j] ** 2)
            pair = Pair(first, second, float(correlation[i, j]), float(mean[i] + mean[j]), float(1 - both))
            found.append(pair)
        return found

    def level(self, weights: Mapping[str, float]) -> tuple[float, float]:
        """Mean and sd of effects by their weights, together; effects that no test has touched are left out."""
        mean, cov, _ = self._moments()
        row = np.array([weights.get(name, 0.0) for name in self.found.names])
        return float(row @ mean), float(np.sqrt(row @ cov @ row))

    def _moments(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        means = np.stack([part.fit.mean for part in self.parts])
        mean = means.mean(axis=0)
        cov = np.mean([part.fit.cov for part in self.parts], axis=0)
        away = means - mean
        prior = np.sqrt(np.mean([part.prior_sd**2 for part in self.parts], axis=0))
        return mean, cov + away.T @ away / len(self.parts), prior

    def predict(self, layer: Evidence, site: int | None = None) -> Prediction:
        """When ``layer`` is dry to the touch, its own presses counted.

        ``site``: which of the fitted layers it is; what its own presses did to the effects is then taken out first.
        """
        own = cases([layer], self.priors, self.found.names)
        centres, spreads = self._expected(own, layer, site, self.parts)
        reach = float((np.abs(centres) + 6 * np.sqrt(spreads)).max())
        half = min(max(reach, float(np.abs(grid_for(own, 0.25)).max())), WIDEST)
        fine = np.arange(-half, half + STEP / FINE, STEP / FINE)
        if layer.presses or layer.between_d is not None:
            table = np.concatenate([_own_table(own, part.settings, fine) for part in self.parts])
        else:
            table = np.zeros((1, len(fine)))
        weights, _ = tilted(fine, table, centres, spreads)
        cuts = np.array([cut_points(own, part.settings)[0, [1, 3]] for part in self.parts])
        return _told(fine, weights.mean(axis=0), float(own.log_book[0]), cuts)

    def predict_fresh(self, layers: Sequence[Evidence]) -> list[Prediction]:
        """What ``predict`` says of layers that were never pressed, in their order, worked out together."""
        found: list[Prediction] = []
        for first in range(0, len(layers), FRESH_AT_ONCE):
            found += self._fresh(layers[first : first + FRESH_AT_ONCE])
        return found

    def _fresh(self, layers: Sequence[Evidence]) -> list[Prediction]:
        own = cases(layers, self.priors, self.found.names)
        scaled, other = np.array([self._new_variance(layer) for layer in layers]).T
        centres = np.stack([own.design @ part.fit.mean for part in self.parts])
        spreads = np.stack(
            [
                ((own.design @ part.fit.cov) * own.design).sum(axis=1)
                + part.settings.sigma**2
                + part.settings.scale**2 * scaled
                + other
                for part in self.parts
            ]
        )
        reach = (np.abs(centres) + 6 * np.sqrt(spreads)).max(axis=0)
        grids = reach[:, None] * np.linspace(-1.0, 1.0, FRESH_POINTS)
        density = np.zeros_like(grids)
        for centre, spread in zip(centres, spreads, strict=True):
            density += np.exp(-0.5 * (grids - centre[:, None]) ** 2 / spread[:, None]) / np.sqrt(spread)[:, None]
        density /= density.sum(axis=1, keepdims=True)
        cuts = np.stack([cut_points(own, part.settings)[:, [1, 3]] for part in self.parts])
        return [
            _told(grid, row, float(log_book), cut)
            for grid, row, log_book, cut in zip(grids, density, own.log_book, cuts.transpose(1, 0, 2), strict=True)
        ]

    def _expected(
        self, own: Cases, layer: Evidence, site: int | None, parts: tuple[Part, ...]
    ) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of x under every part, the layer's own presses left out."""
        scaled, other = self._new_variance(layer)
        centres, spreads = [], []
        for part in parts:
            centre, spread = self._cavity(part, own.design[0], site)
            centres.append(centre)
            spreads.append(spread + part.settings.sigma**2 + part.settings.scale**2 * scaled + other)
        return np.array(centres), np.array(spreads)

    def _cavity(self, part: Part, weights: np.ndarray, site: int | None) -> tuple[float, float]:
        if site is not None:
            return float(part.fit.cavity_mean[site]), float(part.fit.cavity_variance[site])
        return float(weights @ part.fit.mean), float(weights @ part.fit.cov @ weights)

    def _new_variance(self, layer: Evidence) -> tuple[float, float]:
        """Prior variance of the effects no test has touched: those the scale acts on, and the others."""
        known = set(self.found.names)
        scaled: list[float] = []
        other: list[float] = []
        for name, weight in layer.effects:
            if name not in known:
                (scaled if name.startswith(SCALED) else other).append((weight * self.priors.of(name)) ** 2)
        return fsum(scaled), fsum(other)  # which does not depend on their order

    def chances_wrong(self, layer: Evidence, site: int | None = None) -> list[float]:
        """For every press of ``layer``, the chance that it is a lapse: a wrong word, a wrong day, another panel."""
        if not layer.presses or self.top.settings.lapse == 0.0:
            return [0.0] * len(layer.presses)
        own = cases([layer], self.priors, self.found.names)
        at = self._expected(own, layer, site, (self.top,))
        tests = Doubts.of(own, self.top.settings, grid_for(own, 0.25), at)
        return [float(chance) for chance in tests.chances(self.wrong_rate)]

    @cached_property
    def wrong_rate(self) -> float:
        """How often a test of this studio is wrong, as far as its tests tell; the settings' lapses beforehand."""
        top = self.top
        at = top.fit.cavity_mean, top.fit.cavity_variance + top.settings.sigma**2
        return learned_rate(Doubts.of(self.found, top.settings, self.grid, at), top.settings.lapse)


def _told(fine: np.ndarray, density: np.ndarray, log_book: float, cuts: np.ndarray) -> Prediction:
    """A prediction from the shares of a grid of x; ``cuts`` (parts, 2) are the offsets of tacky and firm."""
    mean = float(density @ fine)
    variance = float(density @ fine**2) - mean**2
    # The trapezoid's share up to each point: half of its own weight, and all before.
    below = np.cumsum(density) - 0.5 * density
    (tacky, firm), (tacky_sd, firm_sd) = cuts.mean(axis=0).tolist(), cuts.std(axis=0).tolist()
    return Prediction(fine + log_book, below, mean + log_book, variance**0.5, tacky, firm, tacky_sd, firm_sd)


def _own_table(own: Cases, settings: Settings, grid: np.ndarray) -> np.ndarray:
    """The one layer's log likelihood over a grid, whichever way it is given."""
    if own.given_between[0]:
        inside = (grid > own.low[0]) & (grid <= own.high[0])
        return np.where(inside, 0.0, -1e3)[None, :]
    return tabulate(own, settings, grid)


@dataclass(frozen=True, slots=True)
class Ask:
    """How to learn: from which settings, with which priors of the effects, whether the scales are learned too."""

    settings: Settings = STANDARD
    priors: Priors = USUAL_PRIORS
    learn_scales: bool = False


def learn(layers: Sequence[Evidence], ask: Ask, scales: Scales | None = None, known: Rows | None = None) -> Learned:
    """The posterior from all layers. ``scales`` learned earlier are taken as they are; ``known`` keeps tables' rows."""
    found = cases(layers, ask.priors)
    if scales is None and ask.learn_scales:
        scales = learn_scales(found, ask.settings)
    grid = grid_for(found, ask.settings.sigma)
    work = _Work(found, grid, known)
    top = work.part(ask.settings if scales is None else scales.settings)
    parts = (top,) if scales is None else tuple(work.part(settings) for settings in scales.draws)
    return Learned(found, grid, ask.priors, top, parts, scales)


@dataclass(slots=True)
class _Work:
    """Fits one setting after another; each starts from the sites of the last."""

    found: Cases
    grid: np.ndarray
    known: Rows | None
    start: tuple[np.ndarray, np.ndarray] | None = None

    def part(self, settings: Settings) -> Part:
        found, grid = self.found, self.grid
        prior_sd = found.scaled_sd(settings)
        sites = Sites.of(found, grid, tabulate(found, settings, grid, self.known))
        model = Model(found.design, prior_sd, sites, settings.sigma**2)
        fitted = fit(model, self.start)
        if settings.lapse > 0.0 and _takes_most_for_lapses(fitted):
            fitted = _taken_seriously(model, (found, settings, grid), fitted)
        self.start = (fitted.precision, fitted.shift) if fitted.method == "ep" else None
        return Part(settings, fitted, prior_sd)


def prior_only(ask: Ask) -> Learned:
    """Nothing pressed yet."""
    return learn((), ask)


def _takes_most_for_lapses(fitted: Fit) -> bool:
    return len(fitted.log_z) >= FEW and float(np.mean(fitted.log_z < HARDLY)) > SUSPECT


def _taken_seriously(model: Model, given: tuple[Cases, Settings, np.ndarray], fitted: Fit) -> Fit:
    """The better of ``fitted`` and a fit begun where every test counts.

    Where the book is far off, calling each single press a lapse is a way out that feeds itself. Without lapses there is
    one answer; from there the sweeps find the one in which the book is off. The evidence decides.
    """
    found, settings, grid = given
    sober_sites = Sites.of(found, grid, tabulate(found, replace(settings, lapse=0.0), grid))
    sober = fit(replace(model, sites=sober_sites))
    again = fit(model, (sober.precision, sober.shift))
    return again if again.log_evidence > fitted.log_evidence else fitted
