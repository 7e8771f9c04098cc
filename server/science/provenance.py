"""Where the numbers of an estimate come from, and what to be told about it."""

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from server.science import reference
from server.science.composition import MixFacts
from server.science.recipe import Ground
from server.science.results import Provenance

ALWAYS = (
    "clear_linseed_touch_d",
    "drying_index_exponent",
    "thickness_exponent",
    "activation_auto_kj_mol",
    "activation_cat_kj_mol",
    "activation_dif_kj_mol",
    "front_um2_per_d",
    "observer",
)
METAL_ROWS = {"Pb": "lead_rate_max", "Mn": "manganese_rate_max", "Co": "cobalt_rate_max"}


@dataclass(frozen=True, slots=True, eq=False)
class Origin:
    """What of the tables a mix stands on (pigment keys, oil names, parameter names), and what to be told about it.

    There is one object for equal origins, so that it is its own key.
    """

    pigments: tuple[str, ...]
    oils: tuple[str, ...]
    parameters: tuple[str, ...]
    warnings: tuple[str, ...]


def origin_of(facts: MixFacts) -> Origin:
    """The origin of a mix's figures."""
    parameters = [METAL_ROWS[metal] for metal, _ in facts.metals]
    parameters += ["alkyd_rate"] if facts.alkyd_share else []
    parameters += ["wax_slowing"] if facts.wax_share else []
    parameters += ["clove_slowing"] if facts.clove_share else []
    pigments, oils = (key for key, _, _ in facts.pigments), (name for name, _, _ in facts.oils)
    return _origin(tuple(pigments), tuple(oils), tuple(parameters), _told_of_mix(facts))


@lru_cache(maxsize=8192)
def _origin(
    pigments: tuple[str, ...], oils: tuple[str, ...], parameters: tuple[str, ...], told: tuple[str, ...]
) -> Origin:
    return Origin(pigments, oils, parameters, told)


class Circumstances(NamedTuple):
    """What of a layer's place decides what is told of its figures."""

    ground: Ground
    light_is_number: bool
    measured: bool
    thick: bool  # thicker than any film that was measured
    extreme: bool  # colder than 5 C or warmer than 35 C at times
    damp: bool  # above 60 % relative humidity at times
    varnish_first: bool = False  # the varnish's figure comes before dry-through


@lru_cache(maxsize=8192)
def provenance(origins: tuple[Origin, ...], place: Circumstances) -> tuple[Provenance, ...]:
    """The numbers an estimate stands on, each with source and confidence label, without repeats."""
    pigments = {key for origin in origins for key in origin.pigments}
    oils = {name for origin in origins for name in origin.oils}
    names = [*ALWAYS, *dict.fromkeys(name for origin in origins for name in origin.parameters)]
    names += [] if place.light_is_number else ["light"]
    names += [] if place.measured else ["room_not_measured"]
    rows = [_of_parameter(name) for name in names]
    for row in (row for row in reference.grounds() if row.name == place.ground):
        quantity = f"absorbency of {row.label}: {row.absorbency:g}"
        rows.append(Provenance(quantity, row.absorbency_source, row.absorbency_confidence))
    rows += [row for oil in reference.oils() if oil.name in oils for row in _of_oil(oil)]
    rows += [row for pigment in reference.pigments() if pigment.key in pigments for row in _of_pigment(pigment)]
    return tuple(rows)


def _of_oil(oil: reference.Oil) -> list[Provenance]:
    quantity = f"{oil.label}: drying index {oil.drying_index:g}"
    rows = [Provenance(quantity, oil.drying_index_source, oil.drying_index_confidence)]
    quantity = f"{oil.label}: iodine value {oil.iodine_value:g}"
    rows.append(Provenance(quantity, oil.iodine_value_source, oil.iodine_value_confidence))
    if oil.speed_multiplier != 1:
        quantity = f"{oil.label}: dries in {oil.speed_multiplier:g} times the time"
        rows.append(Provenance(quantity, oil.speed_multiplier_source, oil.speed_multiplier_confidence))
    return rows


def _of_parameter(name: str) -> Provenance:
    row = reference.parameter(name)
    spread = {"ln": f", spread x/ exp({row.spread:g})", "absolute": f" +- {row.spread:g}", "none": ""}[row.spread_kind]
    unit = "" if row.unit == "1" else f" {row.unit}"
    return Provenance(f"{row.meaning}: {row.value:g}{unit}{spread}", row.source, row.confidence)


def _of_pigment(pigment: reference.Pigment) -> tuple[Provenance, Provenance]:
    words = reference.sources()["words"]
    # The class is named by sources; the figure put on it is from memory all the same.
    source = f"figure from memory; class {pigment.drying_class.replace('_', ' ')}: {pigment.drying_source}"
    return (
        Provenance(f"{pigment.key} ({pigment.label}): touch multiplier {pigment.touch_multiplier:g}", source, "M"),
        Provenance(
            f"{pigment.key} ({pigment.label}): density {pigment.density_g_cm3:g} g/cm3",
            pigment.density_source,
            words[pigment.density_confidence],
        ),
    )


@lru_cache(maxsize=8192)
def warnings(origins: tuple[Origin, ...], place: Circumstances) -> tuple[str, ...]:
    """What a painter should know about the figures, in plain words."""
    found = [told for origin in origins for told in origin.warnings]
    if place.thick:
        found.append("The film is thicker than any that was measured: its times are extrapolated.")
    if place.varnish_first:
        found.append("The figure for the final varnish comes before dry-through here: wait for dry-through.")
    if place.extreme:
        found.append("The room is colder than 5 C or warmer than 35 C at times: the model is extrapolated there.")
    if place.damp:
        found.append("No published law of humidity was found: the slowing above 60 % is our assumption.")
    return tuple(dict.fromkeys(found))


def _told_of_mix(facts: MixFacts) -> tuple[str, ...]:
    found = []
    if len(facts.metals) > 1:
        found.append("Several drier metals do not add up: each counts by its part of the metal atoms, a rule of ours.")
    if len(facts.pigments) > 1:
        found.append("No published law for mixtures of pigments was found: the sums over their shares are ours.")
    if any(key == "NBr6" for key, _, _ in facts.pigments):
        found.append("Bitumen never hardens: no time given here holds for it.")
    if 1 - facts.binder_volume_fraction > facts.critical_pvc:
        found.append("The mix holds more pigment than its binder can fill: the film will be porous and weak.")
    if facts.wax_share > 0.2 or facts.clove_share > 0.05:
        found.append("With so much wax or clove oil the film may stay soft: the time is extrapolated.")
    return tuple(found)
