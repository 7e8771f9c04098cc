"""How an oil layer dries: two routes of initiation, one clock, one oxygen front.

The closed form for a constant climate. Every function takes numbers or numpy arrays that broadcast, so the same lines
serve one film, a thousand films, and draws of the uncertain parameters. Times in days, thickness in micrometres.

Assumptions: reference state 21 C, 50 % relative humidity, diffuse daylight of about 270 lx, an ordinary open room. The
law for mixtures of pigments is ours: no published one was found. Fitted between about 10 and 120 um; thicker films and
rooms below 5 or above 35 C are extrapolated. The published scatter is wide: the same oil, two laboratories, more than
five-fold apart (Gardner 1911).
"""

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from server.science import reference

Number = float | np.ndarray

GAS_CONSTANT_KJ_MOL_K = 8.314462618e-3
ZERO_CELSIUS_K = 273.15
REFERENCE_K = 294.15  # 21 C
REFERENCE_FILM_UM = 30.0
REFERENCE_DRYING_INDEX = 125.0
SPEED_FILM_UM = 50.0
METALS = {"Pb": "lead", "Mn": "manganese", "Co": "cobalt"}
ATOMIC_MASS = {"Pb": 207.2, "Mn": 54.938, "Co": 58.933}  # g/mol, standard atomic weights (IUPAC 2021)


@dataclass(frozen=True, slots=True)
class Kinetics:
    """The uncertain parameters of the model, central or drawn."""

    clear_linseed_touch_d: Number
    drying_index_exponent: Number
    thickness_exponent: Number
    front_um2_per_d: Number


@dataclass(frozen=True, slots=True)
class Film:
    """What dries. ``thickness_um`` is what is left of the wet film; shares are of the binder by weight.

    ``speed_up`` and ``slow_down`` are the pigments' sums of (4) and (5); ``metal_rate`` and ``alkyd_rate`` are 1/d.
    """

    thickness_um: Number = REFERENCE_FILM_UM
    absorbency: Number = 0.0
    drying_index: Number = REFERENCE_DRYING_INDEX
    iodine_value: Number = 180.0
    oil_multiplier: Number = 1.0
    speed_up: Number = 0.0
    slow_down: Number = 1.0
    metal_rate: Number = 0.0
    alkyd_rate: Number = 0.0
    wax_share: Number = 0.0
    clove_share: Number = 0.0


@dataclass(frozen=True, slots=True)
class Climate:
    """What the room does to each route, against the reference: factors on the rates."""

    auto: Number = 1.0
    cat: Number = 1.0
    front: Number = 1.0


@dataclass(frozen=True, slots=True)
class StageTimes:
    """Days to each stage in a constant climate; ``varnish_d`` is the part after the fixed calendar time."""

    set_to_touch_d: Number
    dry_to_touch_d: Number
    dry_to_recoat_d: Number
    dry_through_d: Number
    varnish_d: Number


@cache
def central() -> Kinetics:
    """The central parameters."""
    return Kinetics(
        reference.value("clear_linseed_touch_d"),
        reference.value("drying_index_exponent"),
        reference.value("thickness_exponent"),
        reference.value("front_um2_per_d"),
    )


def arrhenius(inverse_kelvin_from_reference: Number, activation_kj_mol: Number) -> Number:
    """Rate against 21 C; the first argument is 1/T - 1/294.15 in 1/K."""
    exponent = -activation_kj_mol / GAS_CONSTANT_KJ_MOL_K * inverse_kelvin_from_reference
    return np.exp(exponent, out=exponent) if isinstance(exponent, np.ndarray) else np.exp(exponent)  # (1)


def inverse_kelvin(temperature_c: Number) -> Number:
    """1/T - 1/294.15 in 1/K for (1)."""
    if not isinstance(temperature_c, np.ndarray):
        return 1 / (temperature_c + ZERO_CELSIUS_K) - 1 / REFERENCE_K
    inverse = temperature_c + ZERO_CELSIUS_K
    np.divide(1, inverse, out=inverse)
    inverse -= 1 / REFERENCE_K
    return inverse


def humidity_factor(relative_humidity_pct: Number) -> Number:
    """Drying speed against dry air, 0 to 1: flat up to 60 %, then falling. No numeric law was found: ours."""
    threshold, scale = reference.value("humidity_threshold_pct"), reference.value("humidity_scale_pct")
    if not isinstance(relative_humidity_pct, np.ndarray):
        return 1 / (1 + (max(relative_humidity_pct - threshold, 0.0) / scale) ** 2)  # (2)
    over = relative_humidity_pct - threshold
    np.maximum(over, 0.0, out=over)
    over /= scale
    np.square(over, out=over)
    over += 1
    return np.divide(1, over, out=over)


def climate(temperature_c: Number, relative_humidity_pct: Number, light: Number) -> Climate:
    """The factors of a climate with the central activation energies; ``light`` 1 is an ordinary room's daylight."""
    inverse = inverse_kelvin(temperature_c)
    humid = humidity_factor(relative_humidity_pct)
    return Climate(
        auto=light * humid * arrhenius(inverse, reference.value("activation_auto_kj_mol")),
        cat=humid * arrhenius(inverse, reference.value("activation_cat_kj_mol")),
        front=arrhenius(inverse, reference.value("activation_dif_kj_mol")),
    )


def drier_rate(metal: str, pct_on_oil: float) -> float:
    """Rate in 1/d that a metal (Pb, Mn, Co) in per cent on the oil brings.

    Source: fitted to Gardner 1911, tables VI to VIII; cobalt from one read point and memory.
    """
    name = METALS[metal]
    power = reference.value(f"{name}_power")
    dose, half = pct_on_oil**power, reference.value(f"{name}_half_pct") ** power
    return reference.value(f"{name}_rate_max") * dose / (dose + half)  # (3)


def metal_rate(metals: dict[str, float]) -> float:
    """Rate in 1/d of one or several metals: several do not add up, they share the work.

    Each counts by its part of the metal atoms in the oil: atoms of a slow metal take the place of those of a quick one.
    No parameter. Source: derived; it meets the two-metal rows of Gardner 1911 (table IX and the committee's films of
    boiled oil), all of them lead with manganese. Why lead hinders manganese was not read anywhere.
    """
    atoms = {metal: pct / ATOMIC_MASS[metal] for metal, pct in metals.items() if pct > 0}
    whole = sum(atoms.values())
    return sum(part / whole * drier_rate(metal, metals[metal]) for metal, part in atoms.items())  # (3a)


@lru_cache(maxsize=4096)
def pigment_sums(pigments: tuple[tuple[float, float], ...]) -> tuple[float, float]:
    """Speed-up and slow-down of (share of pigment volume, touch multiplier) pairs; without pigment 0 and 1."""
    if not pigments:
        return 0.0, 1.0
    speed_up = sum(share * max(0.0, 1 / m - 1) for share, m in pigments)  # (4)
    slow_down = sum(share * max(1.0, m) for share, m in pigments)  # (5)
    return speed_up, slow_down


def thickness_factor(thickness_um: Number, exponent: Number) -> Number:
    """Dry-to-touch of a film against that of one of 30 um; the thinnest films gain no more."""
    return np.maximum(reference.value("thickness_floor"), (thickness_um / REFERENCE_FILM_UM) ** exponent)


def dry_to_touch_d(film: Film, room: Climate, kinetics: Kinetics | None = None) -> Number:
    """Days until a light rub no longer sticks, in a constant climate."""
    k = kinetics or central()
    thick = thickness_factor(film.thickness_um, k.thickness_exponent) * np.sqrt(1 - film.absorbency)  # (6)
    waxed = 1 + reference.value("wax_slowing") * film.wax_share
    cloved = 1 + reference.value("clove_slowing") * film.clove_share
    retarded = waxed * cloved * film.slow_down  # (7)
    rate = (room.auto + film.speed_up * room.cat) / k.clear_linseed_touch_d  # (8) light-driven, and the pigments' metal
    rate = rate + (film.metal_rate + film.alkyd_rate) * room.cat  # (9) driers and alkyd
    oil = (film.drying_index / REFERENCE_DRYING_INDEX) ** k.drying_index_exponent
    return retarded * film.oil_multiplier * thick / (rate * oil)  # (10)


def front_d(thickness_um: Number, film: Film, room: Climate, kinetics: Kinetics | None = None) -> Number:
    """Days until the oxygen front has crossed ``thickness_um``."""
    k = kinetics or central()
    growth = k.front_um2_per_d * reference.value("front_iodine_value") / film.iodine_value * room.front
    return thickness_um**2 / growth  # (11)


def stage_times(film: Film, room: Climate, kinetics: Kinetics | None = None) -> StageTimes:
    """Days to every stage in a constant climate."""
    touch = dry_to_touch_d(film, room, kinetics)
    whole_front = front_d(film.thickness_um, film, room, kinetics)
    recoat_front = whole_front * capped(film.thickness_um, reference.value("recoat_front_cap_um"))
    varnish_front = whole_front * capped(film.thickness_um, reference.value("varnish_front_cap_um"))
    skin = reference.value("recoat_touch_weight") * touch
    inside = (REFERENCE_DRYING_INDEX / film.drying_index) ** reference.value("through_index_exponent")
    return StageTimes(
        reference.value("set_to_touch_share") * touch,  # (12)
        touch,
        skin + reference.value("recoat_front_weight") * recoat_front,  # (13)
        skin * inside + whole_front,  # (14)
        reference.value("varnish_multiple") * (skin * inside + varnish_front),  # (15) after the fixed days
    )


def drying_speed(room: Climate) -> Number:
    """How fast a room dries against the reference room: dry-to-recoat of a 50 um neutral linseed layer. 1 is equal."""
    layer = Film(thickness_um=SPEED_FILM_UM)
    here, there = stage_times(layer, room), stage_times(layer, Climate())
    return there.dry_to_recoat_d / here.dry_to_recoat_d  # (16)


def capped(thickness_um: Number, cap_um: float) -> np.ndarray:
    """What a cap on thickness leaves of a time that goes with its square, 0 to 1."""
    return np.asarray((np.minimum(thickness_um, cap_um) / thickness_um) ** 2)
