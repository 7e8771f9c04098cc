"""A film under the climate it has met, cut into what bends the spread of its times and what does not.

All uncertain parameters that enter as factors are normal by their logarithm, and only ratios bend the answer: front
against skin (v), the pigments' metal against light (u), driers against light (w). What is common to all terms shifts
every stage alike. The four are normal together; their covariance is put in order here.
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from server.science import reference
from server.science.drying import REFERENCE_DRYING_INDEX, REFERENCE_FILM_UM, Climate, capped
from server.science.films import Regions
from server.science.priors import absorbency_moments, spreads

THIN_FILM_UM = 12.0  # below, some draws feel the floor of the thickness factor
PLAIN, THIN, DRUNK = 0, 1, 2  # kinds of rows: what is drawn besides routes and pigments


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

    def of_draws(self, variance: np.ndarray) -> "RouteMeans":
        """The same with what uncertain activation energies do to a mean over cold and warm.

        ``variance`` (3, rows): of 1/T - 1/294.15 within each route's mean, 1/K^2. A mean of exponentials bends upwards
        in the energy: by half the variance times the square of the energy's spread, on the mean over the draws.
        """
        s = spreads()
        auto, cat, front = np.exp(0.5 * variance * np.array([s.auto_k, s.cat_k, s.front_k])[:, None] ** 2)
        return replace(self, auto=self.auto * auto, cat=self.cat * cat, front=self.front * front)


@dataclass(frozen=True, slots=True)
class StageWeights:
    """A stage's time is ``skin`` x dry-to-touch + ``front`` x the oxygen front through the whole film, row by row.

    ``cap_um``: thickness beyond which the front's part stays as it is.
    """

    skin: np.ndarray
    front: np.ndarray
    cap_um: np.ndarray

    def of(self, rows: np.ndarray) -> "StageWeights":
        """Some of the rows."""
        return StageWeights(self.skin[rows], self.front[rows], self.cap_um[rows])


def stage_weights(regions: Regions) -> tuple[StageWeights, StageWeights, StageWeights, StageWeights]:
    """Dry-to-touch, dry-to-recoat, dry-through and the varnish's wait; equations (13) to (15) of drying."""
    value = reference.value
    thickness = regions.thickness_um
    one = np.ones_like(thickness)
    never = np.full_like(thickness, np.inf)
    inside = (REFERENCE_DRYING_INDEX / regions.columns["drying_index"]) ** value("through_index_exponent")
    touch, multiple = value("recoat_touch_weight"), value("varnish_multiple")
    recoat_cap, varnish_cap = value("recoat_front_cap_um"), value("varnish_front_cap_um")
    recoat = value("recoat_front_weight") * capped(thickness, recoat_cap)
    varnish = multiple * capped(thickness, varnish_cap)
    return (
        StageWeights(one, 0 * one, never),
        StageWeights(touch * one, recoat, recoat_cap * one),
        StageWeights(touch * inside, one, never),
        StageWeights(multiple * touch * inside, varnish, varnish_cap * one),
    )


def varnish_by_itself(regions: Regions) -> np.ndarray:
    """Where the varnish's wait is not simply a multiple of dry-through: a film that is beyond its cap, or is in draws
    in which the ground drinks nothing."""
    return regions.wet_um * regions.columns["stays"] > reference.value("varnish_front_cap_um")


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows ready for the nodes. Times and rates are against the light-driven dry-to-touch time of the plain film."""

    log_touch_d: np.ndarray  # that time, its logarithm
    pigment_route: np.ndarray  # metal route's rate against light's, for one unit of speed-up
    drier_route: np.ndarray  # rate of driers and alkyd against light's
    front: np.ndarray  # time of the oxygen front
    factors: np.ndarray  # (rows, 4, 4): Cholesky factor of the covariance of v, u, w and the common shift
    noise: np.ndarray  # variance of observer and unknown room
    thickness_um: np.ndarray
    absorbency: np.ndarray
    binder_fraction: np.ndarray
    speed_up: np.ndarray  # central sums of the pigments
    slow_down: np.ndarray
    plain_pigment: np.ndarray
    drawn_share: np.ndarray
    drawn_multiplier: np.ndarray
    routes: np.ndarray  # how many of v, u, w bend the row: 1 to 3
    kind: np.ndarray  # PLAIN, THIN or DRUNK

    def of(self, rows: np.ndarray) -> "Rows":
        """Some of the rows, or rows repeated."""
        return Rows(*(getattr(self, f.name)[rows] for f in fields(Rows)))


def rows_of(regions: Regions, means: RouteMeans) -> Rows:
    """Each region under the climate it has met."""
    c, value = regions.columns, reference.value
    thickness, absorbency = regions.thickness_um, regions.absorbency
    log_thick = np.log(thickness / REFERENCE_FILM_UM)
    t0 = value("clear_linseed_touch_d")
    slowed = (1 + value("wax_slowing") * c["wax_share"]) * (1 + value("clove_slowing") * c["clove_share"])
    log_touch = (
        np.log(t0 * slowed * c["oil_multiplier"] / means.auto)
        + np.maximum(np.log(value("thickness_floor")), value("thickness_exponent") * log_thick)
        + 0.5 * np.log1p(-absorbency)
        - value("drying_index_exponent") * np.log(c["drying_index"] / REFERENCE_DRYING_INDEX)
    )
    drunk = (absorbency > 0) & (thickness > value("recoat_front_cap_um"))
    kind = np.where(thickness < THIN_FILM_UM, THIN, np.where(drunk, DRUNK, PLAIN))
    ground = _ground(absorbency, c["binder_fraction"], kind != DRUNK)
    log_touch += ground.skin_mean + c["oil_multiplier_mean"]
    growth = value("front_um2_per_d") * value("front_iodine_value") / c["iodine_value"] * means.front
    rate = c["metal_rate"] + c["alkyd_rate"]
    return Rows(
        log_touch_d=log_touch,
        pigment_route=means.cat / means.auto,
        drier_route=rate * means.cat * t0 / means.auto,
        front=thickness**2 / growth * np.exp(2 * ground.thickness_mean - log_touch),
        factors=np.linalg.cholesky(_covariance(regions, means, kind, ground)),
        noise=spreads().observer ** 2 + spreads().room ** 2 * regions.room_spread,
        thickness_um=thickness,
        absorbency=absorbency,
        binder_fraction=c["binder_fraction"],
        speed_up=c["speed_up"],
        slow_down=c["slow_down"],
        plain_pigment=c["plain_pigment"],
        drawn_share=regions.drawn_share,
        drawn_multiplier=regions.drawn_multiplier,
        routes=np.where(rate > 0, 3, np.where(regions.drawn_share[:, 0] > 0, 2, 1)),
        kind=kind,
    )


@dataclass(frozen=True, slots=True)
class _Ground:
    """What the draws of absorbency do to the logarithms of thickness and of dry-to-touch: on the mean, and by sd."""

    thickness_mean: np.ndarray
    thickness: np.ndarray
    skin_mean: np.ndarray
    skin: np.ndarray


def _ground(absorbency: np.ndarray, fraction: np.ndarray, counts: np.ndarray) -> _Ground:
    """To the second order in absorbency; ``counts``: 0 where a row draws it by itself."""
    grounds, which = np.unique(absorbency, return_inverse=True)
    above, sd = np.array([absorbency_moments(a) for a in grounds.tolist()]).T[:, which] * counts
    square = above**2 + sd**2
    dry, thin = 1 / (1 - absorbency), fraction / (1 - absorbency * fraction)
    n = reference.value("thickness_exponent")
    thickness_mean, thickness = -thin * above - 0.5 * thin**2 * square, -thin * sd
    skin_mean = n * thickness_mean - 0.5 * (dry * above + 0.5 * dry**2 * square)
    return _Ground(thickness_mean, thickness, skin_mean, n * thickness - 0.5 * dry * sd)


def _covariance(regions: Regions, means: RouteMeans, kind: np.ndarray, ground: _Ground) -> np.ndarray:
    """Covariance of v (front against skin), u (pigment route against light), w (driers against light), common shift.

    What a row draws by itself (thickness exponent of thin films, absorbency under thick ones) stays out.
    """
    s, c = spreads(), regions.columns
    log_thick = np.log(regions.thickness_um / REFERENCE_FILM_UM)
    exponent = np.where(kind == THIN, 0.0, s.thickness_exponent * log_thick)
    rate = np.maximum(c["metal_rate"] + c["alkyd_rate"], 1e-12)
    index = -s.index_exponent * np.log(c["drying_index"] / REFERENCE_DRYING_INDEX)
    light = -s.light * regions.light_spread
    auto, cat, front = s.auto_k * means.slope_auto, -s.cat_k * means.slope_cat, s.front_k * means.slope_front
    # columns: t0, light, K0, Ea_auto, Ea_cat, Ea_dif, m, n, absorbency, metal, alkyd, M_oil
    loads = np.zeros((len(kind), 4, 12))
    _, pigment, drier, shift = (loads[:, i] for i in range(4))
    for column, load in ((0, s.t0), (1, light), (3, auto), (6, index), (7, exponent), (8, ground.skin)):
        shift[:, column] = load
    shift[:, 11] = c["oil_multiplier_sd"]
    for column, load in ((1, light), (3, auto), (4, cat)):
        pigment[:, column] = drier[:, column] = load
    for column, load in ((0, s.t0), (9, s.metal * c["metal_rate"] / rate), (10, s.alkyd * c["alkyd_rate"] / rate)):
        drier[:, column] = load
    for column, load in ((2, -s.k0), (5, front), (8, 2 * ground.thickness)):
        loads[:, 0, column] = load
    loads[:, 0] -= shift
    return loads @ loads.transpose(0, 2, 1) + 1e-10 * np.eye(4)
