"""How far off a date may be: the stated prior spreads carried through to percentiles of every stage.

Times are treated by their logarithm. All uncertain parameters that enter as factors are normal there, and only their
ratios bend the answer: front against skin (v), the pigments' metal against light (u), driers against light (w). What is
common to all terms shifts every stage alike and is added exactly. So the model is evaluated at a few hundred fixed
nodes in v, u, w, the pigments' multipliers and (thin films) the thickness exponent, and not in all twenty parameters.
The nodes have mean 0 and covariance 1 exactly. Percentiles follow from the first four cumulants (Cornish & Fisher
1938); cumulants three and four of the best linear part of the answer are known to be nought, which takes out most of
the nodes' own error.

Where a spread enters that is small or rarely bends anything (oil multiplier, absorbency of the ground, several driers)
its logarithm is taken as normal with the right sd. The accuracy against a million draws of all parameters is a test.
"""

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from server.science import reference
from server.science.drying import (
    GAS_CONSTANT_KJ_MOL_K,
    REFERENCE_DRYING_INDEX,
    REFERENCE_FILM_UM,
    Climate,
    capped,
)
from server.science.films import PIGMENT_SLOTS, Regions

PERCENTILES = (0.05, 0.10, 0.50, 0.90, 0.95)
NORMAL_QUANTILES = np.array([-1.6448536269514722, -1.2815515655446004, 0.0, 1.2815515655446004, 1.6448536269514722])
NODES = 256
AXES = 4 + PIGMENT_SLOTS  # v, u, w, thickness exponent, pigments
THIN_FILM_UM = 12.0  # below, the floor of the thickness factor is felt by some draws
ROWS_AT_ONCE = 32  # keeps the work of one go inside the processor's cache
LN_FLOOR = float(np.log(0.3))


@dataclass(frozen=True, slots=True)
class RouteMeans:
    """The climate that each row of films has met: mean factor of each route, and its mean of 1/T - 1/294.15 in 1/K."""

    auto: np.ndarray
    cat: np.ndarray
    front: np.ndarray
    slope_auto: np.ndarray
    slope_cat: np.ndarray
    slope_front: np.ndarray

    def climate(self) -> Climate:
        """The means as a climate that stays."""
        return Climate(self.auto, self.cat, self.front)


@dataclass(frozen=True, slots=True)
class StageWeights:
    """A stage's time is ``skin`` x dry-to-touch + ``front`` x the oxygen front through the whole film.

    ``capped``: the front's part no longer goes with the film's thickness.
    """

    skin: np.ndarray
    front: np.ndarray
    capped: np.ndarray


def stage_weights(regions: Regions) -> tuple[StageWeights, ...]:
    """Weights of dry-to-touch, dry-to-recoat, dry-through and the varnish's wait; equations (13) to (15) of drying."""
    value = reference.value
    thickness = regions.thickness_um
    one = np.ones_like(thickness)
    never = np.zeros(len(thickness), dtype=bool)
    inside = (REFERENCE_DRYING_INDEX / regions.columns["drying_index"]) ** value("through_index_exponent")
    touch, multiple = value("recoat_touch_weight"), value("varnish_multiple")
    recoat_cap, varnish_cap = value("recoat_front_cap_um"), value("varnish_front_cap_um")
    recoat = value("recoat_front_weight") * capped(thickness, recoat_cap)
    varnish = multiple * capped(thickness, varnish_cap)
    return (
        StageWeights(one, 0 * one, never),
        StageWeights(touch * one, recoat, thickness > recoat_cap),
        StageWeights(touch * inside, one, never),
        StageWeights(multiple * touch * inside, varnish, thickness > varnish_cap),
    )


@cache
def nodes() -> np.ndarray:
    """The nodes, shape (NODES, AXES): mean 0, covariance 1, symmetric about 0, the same on every machine.

    An additive recurrence on the generalised golden ratio (Roberts 2018), mirrored, then whitened.
    """
    half = NODES // 2
    golden = 2.0
    for _ in range(80):
        golden = (1 + golden) ** (1 / (AXES + 1))
    steps = golden ** -np.arange(1.0, AXES + 1)
    points = normal_quantile((0.5 + np.outer(np.arange(1, half + 1), steps)) % 1)
    mirrored = np.vstack([points, -points])
    whiten = np.linalg.inv(np.linalg.cholesky(mirrored.T @ mirrored / NODES)).T
    return mirrored @ whiten


def normal_quantile(share: np.ndarray) -> np.ndarray:
    """The quantile of the normal distribution for shares between 0 and 1 exclusive."""
    from statistics import NormalDist

    inverse = NormalDist().inv_cdf
    return np.vectorize(inverse)(share)


@dataclass(frozen=True, slots=True)
class _Spreads:
    """The prior spreads, 1 sd each."""

    t0: float
    index_exponent: float
    thickness_exponent: float
    auto: float
    cat: float
    front: float
    metal: float
    alkyd: float
    k0: float
    light: float
    pigment: float
    ground: float
    observer: float
    room: float


@lru_cache(maxsize=1)
def _spreads() -> _Spreads:
    spread = reference.spread
    return _Spreads(
        t0=spread("clear_linseed_touch_d"),
        index_exponent=spread("drying_index_exponent"),
        thickness_exponent=spread("thickness_exponent"),
        auto=spread("activation_auto_kj_mol") / GAS_CONSTANT_KJ_MOL_K,
        cat=spread("activation_cat_kj_mol") / GAS_CONSTANT_KJ_MOL_K,
        front=spread("activation_dif_kj_mol") / GAS_CONSTANT_KJ_MOL_K,
        metal=spread("lead_rate_max"),
        alkyd=spread("alkyd_rate"),
        k0=spread("front_um2_per_d"),
        light=spread("light"),
        pigment=spread("pigment_multiplier"),
        ground=spread("ground_absorbency"),
        observer=spread("observer"),
        room=spread("room_not_measured"),
    )


@dataclass(frozen=True, slots=True)
class Terms:
    """Rows ready for the nodes. Everything is against the light-driven dry-to-touch time of the row's plain film."""

    log_touch_d: np.ndarray  # that time, its logarithm
    pigment_route: np.ndarray  # metal route's rate against light's, for one unit of speed-up
    drier_route: np.ndarray  # rate of driers and alkyd against light's
    front: np.ndarray  # time of the oxygen front against that time
    drunk_front: np.ndarray  # what of the front's spread is due to the ground's drinking, 0 to 1
    factors: np.ndarray  # (rows, 4, 4): Cholesky factor of the covariance of v, u, w and the common shift
    noise: np.ndarray  # variance of observer and unknown room
    thin: np.ndarray  # logarithm of thickness over 30 um where the floor may be felt, else 0
    speed_up: np.ndarray  # central sums of the pigments
    slow_down: np.ndarray
    plain: np.ndarray
    drawn_share: np.ndarray
    drawn_multiplier: np.ndarray


def terms(regions: Regions, means: RouteMeans) -> Terms:
    """Prepare rows: each region under the climate it has met."""
    c = regions.columns
    thickness, absorbency = regions.thickness_um, regions.absorbency
    value = reference.value
    log_thick = np.log(thickness / REFERENCE_FILM_UM)
    log_g = np.maximum(LN_FLOOR, value("thickness_exponent") * log_thick)
    log_oil = np.log(c["drying_index"] / REFERENCE_DRYING_INDEX)
    t0 = value("clear_linseed_touch_d")
    log_touch = (
        np.log(t0 * (1 + value("wax_slowing") * c["wax_share"]) * (1 + value("clove_slowing") * c["clove_share"]))
        + np.log(c["oil_multiplier"] / means.auto)
        + log_g
        + 0.5 * np.log1p(-absorbency)
        - value("drying_index_exponent") * log_oil
    )
    growth = value("front_um2_per_d") * value("front_iodine_value") / c["iodine_value"] * means.front
    thin = np.where(thickness < THIN_FILM_UM, log_thick, 0.0)
    s = _spreads()
    covariance, drunk_front = _covariance(regions, means)
    return Terms(
        log_touch_d=log_touch,
        pigment_route=means.cat / means.auto,
        drier_route=(c["metal_rate"] + c["alkyd_rate"]) * means.cat * t0 / means.auto,
        front=thickness**2 / growth / np.exp(log_touch),
        drunk_front=drunk_front,
        factors=np.linalg.cholesky(covariance),
        noise=s.observer**2 + s.room**2 * regions.room_spread,
        thin=thin,
        speed_up=c["speed_up"],
        slow_down=c["slow_down"],
        plain=c["plain_pigment"],
        drawn_share=regions.drawn_share,
        drawn_multiplier=regions.drawn_multiplier,
    )


def _covariance(regions: Regions, means: RouteMeans) -> tuple[np.ndarray, np.ndarray]:
    """Covariance of v (front against skin), u (pigment route against light), w (driers against light), common shift.

    Also the share of the front's own sd that is due to the thickness that the ground drinks.
    """
    s, c = _spreads(), regions.columns
    thickness, absorbency = regions.thickness_um, regions.absorbency
    log_thick = np.log(thickness / REFERENCE_FILM_UM)
    exponent = np.where(thickness < THIN_FILM_UM, 0.0, s.thickness_exponent * log_thick)
    ground = np.where(absorbency > 0, _cut_sd(absorbency, s.ground), 0.0)
    drunk = -c["binder_fraction"] / (1 - absorbency * c["binder_fraction"]) * ground  # d ln(thickness)
    rate = np.maximum(c["metal_rate"] + c["alkyd_rate"], 1e-12)
    light = s.light * regions.light_spread
    log_oil = np.log(c["drying_index"] / REFERENCE_DRYING_INDEX)
    z = np.zeros_like(thickness)
    one = z + 1
    auto, cat, front = s.auto * means.slope_auto, s.cat * means.slope_cat, s.front * means.slope_front
    # columns: t0, light, K0, Ea_auto, Ea_cat, Ea_dif, m, n, absorbency, metal, alkyd, M_oil
    touch_ground = reference.value("thickness_exponent") * drunk - 0.5 * ground / (1 - absorbency)
    index = -s.index_exponent * log_oil
    common = [s.t0 * one, -light, z, auto, z, z, index, exponent, touch_ground, z, z, c["oil_multiplier_sd"]]
    shift = np.stack(common, axis=1)
    crossing = np.stack([z, z, -s.k0 * one, z, z, front, z, z, 2 * drunk, z, z, z], axis=1)
    pigment = np.stack([z, -light, z, auto, -cat, z, z, z, z, z, z, z], axis=1)
    metal, alkyd = s.metal * c["metal_rate"] / rate, s.alkyd * c["alkyd_rate"] / rate
    drier = np.stack([s.t0 * one, -light, z, auto, -cat, z, z, z, z, metal, alkyd, z], axis=1)
    loads = np.stack([crossing - shift, pigment, drier, shift], axis=1)
    covariance = loads @ loads.transpose(0, 2, 1) + 1e-10 * np.eye(4)
    front_variance = np.einsum("ij,ij->i", crossing, crossing)
    return covariance, 1 - np.sqrt(1 - (2 * drunk) ** 2 / front_variance)


def _cut_sd(mean: np.ndarray, sd: float) -> np.ndarray:
    """Standard deviation of a normal cut at 0 (what is below counts as 0)."""
    from math import erf, exp, pi, sqrt

    def one(m: float) -> float:
        a = m / sd
        density, share = exp(-a * a / 2) / sqrt(2 * pi), 0.5 * (1 + erf(a / sqrt(2)))
        first = m * share + sd * density
        return sqrt((m * m + sd * sd) * share + m * sd * density - first**2)

    known = {m: one(m) for m in set(mean.tolist())}
    return np.array([known[m] for m in mean.tolist()])


def central_log_d(t: Terms, weight: StageWeights) -> np.ndarray:
    """Logarithm of a stage's time in days with the central parameters, shape (rows,)."""
    skin = t.slow_down / (1 + t.speed_up * t.pigment_route + t.drier_route)
    return np.log(weight.skin * skin + weight.front * t.front) + t.log_touch_d


def log_quantiles(t: Terms, weights: tuple[StageWeights, ...]) -> np.ndarray:
    """Logarithm of the time in days at every percentile, shape (rows, stages, percentiles)."""
    rows = len(t.log_touch_d)
    answer = np.empty((rows, len(weights), len(PERCENTILES)))
    for start in range(0, rows, ROWS_AT_ONCE):
        part = slice(start, start + ROWS_AT_ONCE)
        answer[part] = _part(t, weights, part)
    return answer


def _part(t: Terms, weights: tuple[StageWeights, ...], part: slice) -> np.ndarray:
    z = nodes()
    factors = t.factors[part]
    v = factors[:, 0, :1] @ z[:, :1].T
    u = factors[:, 1, :2] @ z[:, :2].T
    w = factors[:, 2, :3] @ z[:, :3].T
    shift = factors[:, 3, :3] @ z[:, :3].T
    speed_up, slow_down = _pigment_draws(t, part, z)
    thin = np.flatnonzero(t.thin[part])
    if thin.size:
        slow_down[thin] *= _thickness_draws(t.thin[part][thin, None], z[:, 3])
    skin = slow_down / (1 + speed_up * t.pigment_route[part, None] * np.exp(u) + t.drier_route[part, None] * np.exp(w))
    front = t.front[part, None] * np.exp(v)
    noise = t.noise[part] + factors[:, 3, 3] ** 2
    answer = np.empty((len(factors), len(weights), len(PERCENTILES)))
    for i, weight in enumerate(weights):
        through = front
        rows = np.flatnonzero(weight.capped[part])
        if rows.size:
            through = front.copy()
            through[rows] *= np.exp(-t.drunk_front[part][rows, None] * (v[rows] + shift[rows]))
        logs = np.log(weight.skin[part, None] * skin + weight.front[part, None] * through) + shift
        answer[:, i] = _cornish_fisher(logs, noise, z)
    return answer + t.log_touch_d[part, None, None]


def _pigment_draws(t: Terms, part: slice, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Speed-up (4) and slow-down (5) of drying, the multipliers drawn."""
    plain = t.plain[part]
    speed_up = np.zeros((len(plain), len(z)))
    slow_down = np.broadcast_to(plain[:, None], speed_up.shape).copy()
    for slot in range(PIGMENT_SLOTS):
        share, multiplier = t.drawn_share[part, slot], t.drawn_multiplier[part, slot]
        rows = np.flatnonzero(share)
        if not rows.size:
            break
        drawn = multiplier[rows, None] * np.exp(_spreads().pigment * z[:, 4 + slot])
        speed_up[rows] += share[rows, None] * np.maximum(0.0, 1 / drawn - 1)
        slow_down[rows] += share[rows, None] * np.maximum(1.0, drawn)
    return speed_up, slow_down


def _thickness_draws(log_thick: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Thickness factor with its exponent drawn, against the central one; both with their floor."""
    n, sd = reference.value("thickness_exponent"), _spreads().thickness_exponent
    return np.exp(np.maximum(LN_FLOOR, (n + sd * z) * log_thick) - np.maximum(LN_FLOOR, n * log_thick))


def _cornish_fisher(logs: np.ndarray, noise: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Percentiles of logs (rows, nodes) plus normal noise of the given variance, shape (rows, percentiles)."""
    mean = logs.mean(axis=1)
    y = logs - mean[:, None]
    slopes = y @ z / len(z)
    line = slopes @ z.T
    line_variance = np.einsum("ij,ij->i", slopes, slopes)
    y2, l2 = y * y, line * line
    variance = y2.mean(axis=1)
    third = (np.einsum("ij,ij->i", y2, y) - np.einsum("ij,ij->i", l2, line)) / len(z)
    fourth = (np.einsum("ij,ij->i", y2, y2) - np.einsum("ij,ij->i", l2, l2)) / len(z)
    fourth += 3 * line_variance**2 - 3 * variance**2
    sd = np.sqrt(variance + noise)[:, None]
    skew, tail = third[:, None] / sd**3, fourth[:, None] / sd**4
    q = NORMAL_QUANTILES
    bend = (q**2 - 1) / 6 * skew + (q**3 - 3 * q) / 24 * tail - (2 * q**3 - 5 * q) / 36 * skew**2
    return mean[:, None] + sd * (q + bend)
