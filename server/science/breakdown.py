"""What makes a layer's dry-to-touch time: base, oil, pigment, thickness, room, ground, driers, each as a factor.

The factors of a region multiply to its central dry-to-touch time exactly. Where the model adds rates (light, metals in
pigments, driers), a factor is what its part does beside the parts named before it, at the reference room; the room's
factor is what is left, the changing room's own integral.
"""

from dataclasses import dataclass

import numpy as np

from server.science import reference
from server.science.composition import film_thickness_um
from server.science.drying import REFERENCE_DRYING_INDEX, REFERENCE_FILM_UM
from server.science.estimate import estimate
from server.science.films import MixFilm, mix_film
from server.science.recipe import LayerRecipe, Room
from server.science.results import LayerEstimate, Stage


@dataclass(frozen=True, slots=True)
class Factor:
    """One part of the time. ``name``: oil, pigment, thickness, ground, driers, additions or room; above 1 it is slower.

    ``why`` says in words what the factor stands on.
    """

    name: str
    factor: float
    why: str


@dataclass(frozen=True, slots=True)
class RegionBreakdown:
    """One mix of a layer: ``base_d``, clear linseed of 30 um at the reference, times all factors is ``touch_d``."""

    name: str
    base_d: float
    factors: tuple[Factor, ...]
    touch_d: float

    @property
    def weightiest(self) -> Factor:
        """The factor that slows most."""
        return max(self.factors, key=lambda factor: factor.factor)


def breakdown(layer: LayerRecipe, room: Room, known: LayerEstimate | None = None) -> tuple[RegionBreakdown, ...]:
    """The parts of every region's central dry-to-touch time, in the layer's order.

    ``known``: the estimate of this layer in this room, when it is at hand. Raises InputError with the field's path.
    """
    answer = known or estimate(layer, room)
    absorbency = reference.absorbency(layer.ground)
    return tuple(
        _region(layer.wet_thickness_um, absorbency, mix_film(mix), region.stages[Stage.DRY_TO_TOUCH].p50_d, mix.name)
        for mix, region in zip(layer.mixes, answer.regions, strict=True)
    )


def _region(wet_um: float, absorbency: float, film: MixFilm, touch_d: float, name: str) -> RegionBreakdown:
    base_d = reference.value("clear_linseed_touch_d")
    factors = [
        _oil(film),
        _pigment(film),
        _thickness(wet_um, absorbency, film),
        Factor("ground", (1 - absorbency) ** 0.5, _ground_words(absorbency)),
    ]
    factors += _driers(film) + _additions(film)
    so_far = base_d * float(np.prod([factor.factor for factor in factors]))
    factors.append(Factor("room", touch_d / so_far, "warmth, humidity and light against 21 °C, 50 % and daylight"))
    return RegionBreakdown(name, base_d, tuple(factors), touch_d)


def _oil(film: MixFilm) -> Factor:
    facts, columns = film.facts, film.by_name
    power = (REFERENCE_DRYING_INDEX / facts.drying_index) ** reference.value("drying_index_exponent")
    names = [_oil_label(name) for name, _, _ in facts.oils]
    return Factor(
        "oil", power * columns["oil_multiplier"], f"{', '.join(names)}: drying index {facts.drying_index:.3g}"
    )


def _oil_label(name: str) -> str:
    by_name = {row.name: row.label for row in reference.oils()}
    return by_name.get(name, name.replace("_", " "))


def _pigment(film: MixFilm) -> Factor:
    columns = film.by_name
    shares = sorted(film.facts.pigments, key=lambda row: row[1], reverse=True)
    labels = {row.key: row.label for row in reference.pigments()}
    told = [f"{100 * share:.0f} % {labels[key]} ({multiplier:g})" for key, share, multiplier in shares]
    return Factor("pigment", columns["slow_down"] / (1 + columns["speed_up"]), ", ".join(told) or "no pigment")


def _thickness(wet_um: float, absorbency: float, film: MixFilm) -> Factor:
    facts = film.facts
    left = film_thickness_um(wet_um, facts.solvent_share, absorbency, facts.binder_volume_fraction)
    power = (left / REFERENCE_FILM_UM) ** reference.value("thickness_exponent")
    thinned = f", {100 * facts.solvent_share:.0f} % of it thinner" if facts.solvent_share > 0.005 else ""
    about = float(f"{left:.2g}")  # the wet thickness is hardly known to more
    why = f"{about:g} µm are left of {wet_um:.3g} µm wet{thinned}"
    return Factor("thickness", max(reference.value("thickness_floor"), power), why)


def _ground_words(absorbency: float) -> str:
    return f"it drinks {100 * absorbency:.0f} % of the binder" if absorbency else "it drinks nothing"


def _driers(film: MixFilm) -> list[Factor]:
    """Driers and alkyd beside light and the pigments' metal, at the reference room."""
    columns = film.by_name
    rate = columns["metal_rate"] + columns["alkyd_rate"]
    if rate <= 0:
        return []
    without = 1 + columns["speed_up"]
    factor = without / (without + reference.value("clear_linseed_touch_d") * rate)
    told = [f"{pct:.2g} % {metal} on the oil" for metal, pct in film.facts.metals]
    told += [f"alkyd, {100 * film.facts.alkyd_share:.0f} % of the binder"] if columns["alkyd_rate"] else []
    return [Factor("driers", factor, ", ".join(told))]


def _additions(film: MixFilm) -> list[Factor]:
    columns = film.by_name
    wax = 1 + reference.value("wax_slowing") * columns["wax_share"]
    clove = 1 + reference.value("clove_slowing") * columns["clove_share"]
    if wax * clove == 1:
        return []
    told = [name for name, factor in (("wax", wax), ("clove oil", clove)) if factor > 1]
    return [Factor("additions", wax * clove, " and ".join(told))]
