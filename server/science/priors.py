"""The stated prior spreads, one standard deviation each, as numbers at hand."""

from dataclasses import dataclass
from functools import cache
from math import erf, exp, pi, sqrt

from server.science import reference
from server.science.drying import GAS_CONSTANT_KJ_MOL_K


@dataclass(frozen=True, slots=True)
class Spreads:
    """Of the natural logarithm, but for the exponents, the ground's absorbency, and the routes (K: energy over R)."""

    t0: float
    index_exponent: float
    thickness_exponent: float
    auto_k: float
    cat_k: float
    front_k: float
    metal: float
    alkyd: float
    k0: float
    light: float
    pigment: float
    ground: float
    observer: float
    room: float


@cache
def spreads() -> Spreads:
    """The spreads of parameters.csv."""
    spread = reference.spread
    return Spreads(
        t0=spread("clear_linseed_touch_d"),
        index_exponent=spread("drying_index_exponent"),
        thickness_exponent=spread("thickness_exponent"),
        auto_k=spread("activation_auto_kj_mol") / GAS_CONSTANT_KJ_MOL_K,
        cat_k=spread("activation_cat_kj_mol") / GAS_CONSTANT_KJ_MOL_K,
        front_k=spread("activation_dif_kj_mol") / GAS_CONSTANT_KJ_MOL_K,
        metal=spread("lead_rate_max"),
        alkyd=spread("alkyd_rate"),
        k0=spread("front_um2_per_d"),
        light=spread("light"),
        pigment=spread("pigment_multiplier"),
        ground=spread("ground_absorbency"),
        observer=spread("observer"),
        room=spread("room_not_measured"),
    )


@cache
def absorbency_moments(absorbency: float) -> tuple[float, float]:
    """By how much the mean of a ground's absorbency lies above its central value, since what is below 0 counts as 0,
    and its standard deviation; a ground that does not drink: 0, 0."""
    if absorbency <= 0:
        return 0.0, 0.0
    sd = spreads().ground
    a = absorbency / sd
    density, share = exp(-a * a / 2) / sqrt(2 * pi), 0.5 * (1 + erf(a / sqrt(2)))
    mean = absorbency * share + sd * density
    return mean - absorbency, sqrt((absorbency**2 + sd * sd) * share + absorbency * sd * density - mean**2)
