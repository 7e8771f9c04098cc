"""The layers as arrays, and the likelihood of each layer's tests tabulated over when it was dry to the touch.

The grid is ``x = u - m``, the logarithm of touch-dry against the book's, the same for all layers. A press of ``felt``
at the logarithm d (against the book) reads, with c_0 = -inf and c_4 = +inf,

    p(felt | x) = Phi((d - x - c_felt)/sigma_o) - Phi((d - x - c_felt+1)/sigma_o)          (1)

and is a lapse with chance ``lapse``, each of the four words being as likely then. Several presses of a layer multiply.
"""

from collections.abc import MutableMapping, Sequence
from dataclasses import dataclass
from math import sin

import numpy as np

from server.science.learning.normal import log_between, log_share, quick_share
from server.science.learning.types import SCALED, Evidence, Felt, Offsets, Priors, Settings

STEP = 0.08
HALF_WIDTH = 3.6  # a factor of 36 either way
WIDEST = 20.0
LEAST_D = 1e-3  # a press sooner after painting counts as one a minute and a half after it
BEYOND = 7.0  # readings this many sigma_o off are certain to 1e-12
MOST_FACTORS = 60
QUICK_FROM = 1e-3  # with lapses this frequent no logarithm of a tail is ever needed
Rows = MutableMapping[tuple[object, ...], np.ndarray]


@dataclass(frozen=True, slots=True)
class Cases:
    """Layers side by side. ``design`` (layers, effects) holds the weights of ``names``; ``prior_sd`` is theirs.

    ``low`` and ``high`` bound x where a layer's moment is given as an interval (-inf and inf: open), NaN where it is
    not; presses are listed with the layer they belong to, ``press_x`` being the logarithm of day / book.
    """

    names: tuple[str, ...]
    design: np.ndarray
    prior_sd: np.ndarray
    log_book: np.ndarray
    low: np.ndarray
    high: np.ndarray
    offsets: tuple[Offsets | None, ...]
    press_of: np.ndarray
    press_x: np.ndarray
    press_felt: np.ndarray
    press_blur: np.ndarray

    def reading_sd(self, settings: Settings) -> np.ndarray:
        """Sd of each press's reading: a finger's, and its own blur."""
        return np.hypot(settings.sigma_o, self.press_blur)

    @property
    def given_between(self) -> np.ndarray:
        """Which layers are given as an interval."""
        return ~np.isnan(self.low)

    def scaled_sd(self, settings: Settings) -> np.ndarray:
        """Prior sds with the settings' factor on pigments and mediums."""
        scaled = np.array([name.startswith(SCALED) for name in self.names], dtype=bool)
        return np.where(scaled, settings.scale * self.prior_sd, self.prior_sd)


def cases(layers: Sequence[Evidence], priors: Priors, names: tuple[str, ...] | None = None) -> Cases:
    """The layers as arrays. ``names`` fixes the effects (others are left out); None: all that occur, in an order that
    depends on their weights alone, so that names made by chance move no last digit."""
    if names is None:
        names = _by_weights(layers)
    place = {name: i for i, name in enumerate(names)}
    design = np.zeros((len(layers), len(names)))
    low, high = np.full(len(layers), np.nan), np.full(len(layers), np.nan)
    log_book = np.log(np.array([layer.book_d for layer in layers], dtype=float))
    presses = []
    for i, layer in enumerate(layers):
        for name, weight in layer.effects:
            if name in place:
                design[i, place[name]] += weight
        if layer.between_d is not None:
            after, by = layer.between_d
            low[i] = -np.inf if not after else np.log(after) - log_book[i]
            high[i] = np.inf if by is None else np.log(by) - log_book[i]
        presses += [
            (i, np.log(max(press.day, LEAST_D)) - log_book[i], int(press.felt), press.blur) for press in layer.presses
        ]
    table = np.array(presses, dtype=float).reshape(-1, 4)
    return Cases(
        names=names,
        design=design,
        prior_sd=np.array([priors.of(name) for name in names], dtype=float),
        log_book=log_book,
        low=low,
        high=high,
        offsets=tuple(layer.offsets for layer in layers),
        press_of=table[:, 0].astype(np.intp),
        press_x=table[:, 1],
        press_felt=table[:, 2].astype(np.intp),
        press_blur=table[:, 3],
    )


def _by_weights(layers: Sequence[Evidence]) -> tuple[str, ...]:
    """The effects that occur, ordered by their weights layer by layer; those of equal weights by name."""
    weights: dict[str, float] = {}
    for place, layer in enumerate(layers, 1):
        for name, weight in layer.effects:
            if weight != 0.0:
                # Sines of whole numbers are linearly independent over the rationals (Lindemann): columns of weights
                # that differ come to sums that differ.
                weights[name] = weights.get(name, 0.0) + weight * sin(place)
    return tuple(sorted(weights, key=lambda name: (weights[name], name)))


def grid_for(found: Cases, sigma: float) -> np.ndarray:
    """The grid of x: wide enough for the priors, and for presses that say the book is far off."""
    prior_sd = np.sqrt((found.design**2) @ found.prior_sd**2 + sigma**2)
    half = max(HALF_WIDTH, 5.0 * float(prior_sd.max(initial=0.0)))
    late = found.press_x[found.press_felt <= Felt.TACKY]
    early = -found.press_x[found.press_felt >= Felt.TACKY]
    far = max(float(late.max(initial=0.0)), float(early.max(initial=0.0)))
    half = min(max(half, far + 1.2), WIDEST)
    count = int(np.ceil(half / STEP - 1e-9))
    return np.arange(-count, count + 1) * STEP


def cut_points(found: Cases, settings: Settings) -> np.ndarray:
    """Where each layer enters each stage, against its u: shape (layers, 5), first -inf, last inf."""
    cuts = np.zeros((len(found.offsets), 5))
    cuts[:, 0], cuts[:, 4] = -np.inf, np.inf
    usual = settings.offsets
    cuts[:, 1] = [(own or usual).tacky for own in found.offsets]
    cuts[:, 3] = [(own or usual).firm for own in found.offsets]
    # However they are learned, the stages stay in their order.
    cuts[:, 1] = np.minimum(cuts[:, 1] + settings.tacky_shift, -1e-3)
    cuts[:, 3] = np.maximum(cuts[:, 3] + settings.firm_shift, 1e-3)
    return cuts


def press_shares(found: Cases, settings: Settings, grid: np.ndarray) -> np.ndarray:
    """Equation (1) for every press over the grid, without lapses, shape (presses, grid)."""
    cuts = cut_points(found, settings)
    if settings.lapse < QUICK_FROM:
        return np.exp(_log_shares(found, settings, grid, cuts))
    return _shares(found, settings, grid, cuts)


def _distances(found: Cases, settings: Settings, grid: np.ndarray, cut: np.ndarray) -> np.ndarray:
    return ((found.press_x - cut)[:, None] - grid) / found.reading_sd(settings)[:, None]


def _shares(found: Cases, settings: Settings, grid: np.ndarray, cuts: np.ndarray) -> np.ndarray:
    felt, of, sd = found.press_felt, found.press_of, found.reading_sd(settings)
    shares = np.ones((len(felt), len(grid)))
    inner = np.flatnonzero(felt > Felt.WET)
    shares[inner] = _entered(found.press_x[inner] - cuts[of[inner], felt[inner]], sd[inner, None], grid)
    inner = np.flatnonzero(felt < Felt.FIRM)
    shares[inner] -= _entered(found.press_x[inner] - cuts[of[inner], felt[inner] + 1], sd[inner, None], grid)
    return shares


def _entered(at: np.ndarray, sd: np.ndarray, grid: np.ndarray) -> np.ndarray:
    """Phi((at - x)/sd), shape (presses, grid): worked out only where it is neither 0 nor 1."""
    answer = (grid <= at[:, None]).astype(float)
    step = grid[1] - grid[0]
    reach = int(np.ceil(BEYOND * float(sd.max(initial=0.0)) / step))
    if 2 * reach + 1 >= len(grid):
        return quick_share((at[:, None] - grid) / sd)
    nearest = np.rint((at - grid[0]) / step).astype(np.intp)
    columns = np.clip(nearest[:, None] + np.arange(-reach, reach + 1), 0, len(grid) - 1)
    np.put_along_axis(answer, columns, quick_share((at[:, None] - grid[columns]) / sd), axis=1)
    return answer


def _log_shares(found: Cases, settings: Settings, grid: np.ndarray, cuts: np.ndarray) -> np.ndarray:
    felt, of = found.press_felt, found.press_of
    entered = _distances(found, settings, grid, cuts[of, felt])
    passed = _distances(found, settings, grid, cuts[of, felt + 1])
    wet, firm = felt == Felt.WET, felt == Felt.FIRM
    answer = np.empty_like(entered)
    answer[wet] = log_share(-passed[wet])
    answer[firm] = log_share(entered[firm])
    between = ~(wet | firm)
    answer[between] = log_between(passed[between], entered[between])
    return answer


def tabulate(found: Cases, settings: Settings, grid: np.ndarray, known: Rows | None = None) -> np.ndarray:
    """Logarithm of each layer's likelihood over the grid, shape (layers, grid); 0 for a layer without presses.

    ``known`` keeps the rows of layers that were tabulated before, so that one more press costs one row.
    """
    if known is None:
        return _tabulated(found, settings, grid)
    keys = _row_keys(found, settings, grid)
    new = [i for i, key in enumerate(keys) if key not in known]
    if new:
        part = _of(found, np.array(new))
        made = _tabulated(part, settings, grid)
        known.update({keys[i]: row for i, row in zip(new, made, strict=True)})
    return np.stack([known[key] for key in keys]) if keys else np.zeros((0, len(grid)))


def _tabulated(found: Cases, settings: Settings, grid: np.ndarray) -> np.ndarray:
    answer = np.zeros((len(found.log_book), len(grid)))
    if not len(found.press_of):
        return answer
    # Presses run in the order of their layers, so that each layer's are a stretch of rows.
    starts = np.flatnonzero(np.diff(found.press_of, prepend=-1))
    longest = int(np.diff(starts, append=len(found.press_of)).max())
    layers = found.press_of[starts]
    lapse = settings.lapse
    if lapse >= QUICK_FROM and longest <= MOST_FACTORS:
        # A factor is at least lapse/4: so many of them do not underflow, and one logarithm serves them all.
        shares = _shares(found, settings, grid, cut_points(found, settings))
        shares *= 1 - lapse
        shares += lapse / 4
        answer[layers] = np.log(np.multiply.reduceat(shares, starts, axis=0))
        return answer
    logs = _log_shares(found, settings, grid, cut_points(found, settings))
    if lapse > 0.0:
        logs = np.logaddexp(np.log1p(-lapse) + logs, np.log(lapse / 4))
    answer[layers] = np.add.reduceat(logs, starts, axis=0)
    return answer


def _row_keys(found: Cases, settings: Settings, grid: np.ndarray) -> list[tuple[object, ...]]:
    ends = np.searchsorted(found.press_of, np.arange(len(found.log_book) + 1))
    x, felt = found.press_x.tolist(), list(zip(found.press_felt.tolist(), found.press_blur.tolist(), strict=True))
    shared = (settings, len(grid))
    return [
        (shared, own, tuple(x[first:last]), tuple(felt[first:last]))
        for own, first, last in zip(found.offsets, ends[:-1].tolist(), ends[1:].tolist(), strict=True)
    ]


def _of(found: Cases, rows: np.ndarray) -> Cases:
    """Some of the layers, in growing order."""
    kept = np.isin(found.press_of, rows)
    return Cases(
        names=found.names,
        design=found.design[rows],
        prior_sd=found.prior_sd,
        log_book=found.log_book[rows],
        low=found.low[rows],
        high=found.high[rows],
        offsets=tuple(found.offsets[i] for i in rows.tolist()),
        press_of=np.searchsorted(rows, found.press_of[kept]),
        press_x=found.press_x[kept],
        press_felt=found.press_felt[kept],
        press_blur=found.press_blur[kept],
    )
