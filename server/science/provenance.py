"""Where the numbers of an estimate come from, and what to be told about it."""

from dataclasses import dataclass
from functools import lru_cache

from server.science import reference
from server.science.composition import MixFacts
from server.science.recipe import Ground, LayerRecipe, Room
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


@dataclass(frozen=True, slots=True)
class Origin:
    """What of the tables a mix stands on (pigment keys, oil names, parameter names), and what to be told about it."""

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
    return Origin(tuple(pigments), tuple(oils), tuple(parameters), _told_of_mix(facts))


def provenance(origins: tuple[Origin, ...], ground: Ground, room: Room) -> tuple[Provenance, ...]:
    """The numbers an estimate stands on, each with source and confidence label, without repeats."""
    pigments, oils, parameters = origins[0].pigments, origins[0].oils, origins[0].parameters
    for other in origins[1:]:
        pigments, oils, parameters = pigments + other.pigments, oils + other.oils, parameters + other.parameters
    return _provenance(pigments, oils, parameters, (ground, room.light_is_number, room.measured))


@lru_cache(maxsize=4096)
def _provenance(
    pigments: tuple[str, ...], oils: tuple[str, ...], parameters: tuple[str, ...], place: tuple[Ground, bool, bool]
) -> tuple[Provenance, ...]:
    ground, light_is_number, measured = place
    names = [*ALWAYS, *dict.fromkeys(parameters)]
    names += [] if light_is_number else ["light"]
    names += [] if measured else ["room_not_measured"]
    rows = [_of_parameter(name) for name in names]
    for row in (row for row in reference.grounds() if row.name == ground):
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


def warnings(layer: LayerRecipe, origins: tuple[Origin, ...], room: Room) -> tuple[str, ...]:
    """What a painter should know about the figures, in plain words."""
    found = [told for origin in origins for told in origin.warnings]
    if layer.wet_thickness_um > 500:
        found.append("The film is thicker than any that was measured: its times are extrapolated.")
    if any(not 5 <= step.temperature_c <= 35 for step in room.steps):
        found.append("The room is colder than 5 C or warmer than 35 C at times: the model is extrapolated there.")
    if any(step.relative_humidity_pct > 60 for step in room.steps):
        found.append("No published law of humidity was found: the slowing above 60 % is our assumption.")
    return tuple(dict.fromkeys(found))


def _told_of_mix(facts: MixFacts) -> tuple[str, ...]:
    found = []
    if len(facts.metals) > 1:
        found.append("Several drier metals do not add up: the fastest one counts, its rate divided by 1.3.")
    if len(facts.pigments) > 1:
        found.append("No published law for mixtures of pigments was found: the sums over their shares are ours.")
    if any(key == "NBr6" for key, _, _ in facts.pigments):
        found.append("Bitumen never hardens: no time given here holds for it.")
    if 1 - facts.binder_volume_fraction > facts.critical_pvc:
        found.append("The mix holds more pigment than its binder can fill: the film will be porous and weak.")
    if facts.wax_share > 0.2 or facts.clove_share > 0.05:
        found.append("With so much wax or clove oil the film may stay soft: the time is extrapolated.")
    return tuple(found)
