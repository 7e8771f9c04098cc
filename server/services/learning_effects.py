"""What a painted or planned layer has in common with others: its effects with their weights, as learning takes them.

Pigments weigh by their share of the mix's pigment volume, and the studio's own tubes with them; oils other than linseed
by their share of the oil; what quickens drying already in traces (alkyd, driers) by a law that saturates; thickness by
its logarithm.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import hypot, log

from server.science.drying import REFERENCE_FILM_UM
from server.science.learning import Priors
from server.science.learning.types import DEFAULT_SD
from server.science.mixture import DEFAULT_OIL, add_up_additions, add_up_paints
from server.science.priors import spreads
from server.science.recipe import MixRecipe
from server.services.climates import Climate

EFFECTS_KEPT = 4000
TRACE = 0.15  # half of a catalyst's effect is there at this share of the binder, or per cent of metal on oil
METER_SD = 0.10  # what a thermometer and a hygrometer of the house may be off, as it shows in drying
Effects = tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Where:
    """The place a layer dries in, by its uid, with its climate."""

    uid: str
    climate: Climate

    @property
    def effect(self) -> str:
        return f"place:{self.uid}"

    @property
    def prior_sd(self) -> float:
        """What the model does not know of the place: its light unless it is a number, its air unless measured."""
        light = 0.0 if self.climate.light_is_number else spreads().light
        air = METER_SD if self.climate.measured else spreads().room
        return hypot(light, air)


def priors_for(places: tuple[Where, ...]) -> Priors:
    """The effects' sds before anything was pressed: the usual ones, and the model's own for places and thickness."""
    own = {place.effect: place.prior_sd for place in places}
    return Priors({**DEFAULT_SD, "thickness": spreads().thickness_exponent, **own})


def effects_of(mix: MixRecipe, film_thickness_um: float, place: Where) -> Effects:
    """The effects of one mix of a layer, its film so thick, in a place."""
    thick = log(film_thickness_um / REFERENCE_FILM_UM) if film_thickness_um > 0 else 0.0
    return ("studio", 1.0), (place.effect, 1.0), ("thickness", round(thick, 4)), *_of_mix(mix)


@lru_cache(maxsize=EFFECTS_KEPT)
def _of_mix(mix: MixRecipe) -> Effects:
    paints = add_up_paints(mix.paints)
    added = add_up_additions(mix.additions, paints.volume)
    found: dict[str, float] = {}
    pigment = sum(volume for volume, _ in paints.pigment_volumes.values())
    for key, (volume, _) in paints.pigment_volumes.items():
        found[f"pigment:{key}"] = volume / pigment
    for paint in mix.paints:
        if paint.tube is not None:
            own = sum(volume for volume, _ in add_up_paints((paint,)).pigment_volumes.values())
            name = f"paint:{paint.tube}"
            found[name] = found.get(name, 0.0) + own / pigment
    oils = dict(paints.oil_volumes)
    for oil, volume in added.oil_volumes.items():
        oils[oil] = oils.get(oil, 0.0) + volume
    oil_volume = sum(oils.values())
    for oil, volume in oils.items():
        if oil != DEFAULT_OIL:
            found[f"medium:oil/{oil}"] = volume / oil_volume
    binder = oil_volume + added.binder_volume_besides_oil
    for name, volume in (("wax", added.wax_volume), ("clove", added.clove_volume), ("resin", added.resin_volume)):
        if volume > 0:
            found[f"medium:{name}"] = volume / binder
    if added.alkyd_volume > 0:
        found["medium:alkyd"] = _saturating(added.alkyd_volume / binder)
    for metal, percent in added.metals.items():
        found[f"medium:drier/{metal}"] = _saturating(percent)
    return tuple(sorted((name, round(weight, 4)) for name, weight in found.items()))


def _saturating(share: float) -> float:
    return share * (1 + TRACE) / (share + TRACE)
