"""What a mix is made of: volumes, masses, pigment volume concentration, richness, film thickness.

Parts are parts by volume. Binder is what stays and is not pigment: oil, alkyd solids, resin, wax, clove oil. The
volumes of the ingredients add up (rule of mixtures). Richness and added binder follow soundness practice and take every
tube alike; everything else follows the tables' oil figures, or the painter's own.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import inf

from server.science import reference
from server.science.errors import InputError
from server.science.mixture import AdditionTotals, PaintTotals, add_up_additions, add_up_paints, addition_parts
from server.science.recipe import Ground, MixRecipe
from server.science.results import Composition


@dataclass(frozen=True, slots=True)
class MixFacts:
    """What a mix is, whatever its thickness. Shares are 0 to 1; ``metals`` are per cent of metal on the mix's oil.

    ``pigments``: (key, share of the pigment volume, touch multiplier); ``oils``: (name, share of the oil volume, speed
    multiplier), alkyd and soft resin counted as linseed under their own names.
    """

    richness: float
    added_binder_share: float
    solvent_share: float
    binder_volume_fraction: float
    critical_pvc: float
    density_g_cm3: float
    oil_mass_share: float
    pigment_mass_share: float
    solvent_mass_share: float
    iodine_value: float
    drying_index: float
    pigments: tuple[tuple[str, float, float], ...]
    oils: tuple[tuple[str, float, float], ...]
    metals: tuple[tuple[str, float], ...]
    alkyd_share: float
    wax_share: float
    clove_share: float


def critical_pvc(
    oil_absorption_g_per_100g: float | Mapping[str, float],
    density_g_cm3: float | Mapping[str, float],
    volume_shares: Mapping[str, float] | None = None,
) -> float:
    """The pigment volume concentration at which binder just fills the gaps, 0 to 1.

    ``oil_absorption_g_per_100g``: rub-out figure; both figures may be mappings by pigment, then ``volume_shares`` gives
    each pigment's share of the pigment volume. One pigment with share 1 gives the single formula. Source: Lewarchik
    2014, worked example OA 20, density 4.2: 0.53.
    """
    if isinstance(oil_absorption_g_per_100g, Mapping) and isinstance(density_g_cm3, Mapping):
        shares = volume_shares or {}
        oil_need = sum(shares[k] * oil_absorption_g_per_100g[k] * density_g_cm3[k] for k in shares)
    elif isinstance(oil_absorption_g_per_100g, Mapping) or isinstance(density_g_cm3, Mapping):
        raise InputError("density_g_cm3", "give both figures by pigment, or both as one number")
    else:
        oil_need = oil_absorption_g_per_100g * density_g_cm3
    return critical_pvc_of_oil_need(oil_need)


def critical_pvc_of_oil_need(oil_g_per_100_ml: float) -> float:
    """Critical PVC from grams of oil that 100 ml of pigment take up (oil absorption x density), 0 to 1."""
    return 1 / (1 + oil_g_per_100_ml / (100 * reference.value("critical_pvc_oil_density")))  # (C1)


def iodine_value(fatty_acids: Mapping[str, float]) -> float:
    """Calculated iodine value of a triglyceride oil, g I2 per 100 g, from fatty acids in per cent (``"18:2": 15.6``).

    Acids without double bonds add nothing. Source: AOCS Cd 1c-85. Not for conjugated oils (tung).
    """
    factors = reference.iodine_factors()
    return sum(pct * factors.get(acid, 0.0) for acid, pct in fatty_acids.items())


def drying_index(fatty_acids: Mapping[str, float]) -> float:
    """Per cent of 18:2 plus twice per cent of 18:3: the count of bis-allylic positions. Source: from memory."""
    return fatty_acids.get("18:2", 0.0) + 2 * fatty_acids.get("18:3", 0.0)


def max_mass_gain_pct(iodine_value_g_per_100g: float) -> float:
    """Greatest mass gain of a thin film in per cent. Source: derived from Gardner 1911, six of seven oils."""
    return reference.value("mass_gain_per_iodine_value") * iodine_value_g_per_100g


def richness(paint_parts: float, added_binder_parts: float, inert_parts: float) -> float:
    """Richness D: binder over solids against plain tube paint; 1 is tube paint, ``inf`` a film without any solids."""
    solids = 1 - reference.value("base_binder_fraction")
    base = paint_parts * solids + inert_parts
    if base <= 0:
        return inf
    return (paint_parts + added_binder_parts + inert_parts) * solids / base  # (C2)


def needed_ml(
    area_cm2: float,
    wet_thickness_um: float,
    area_share: float = 1.0,
    texture_factor: float = 1.0,
    loss_factor: float = 1.3,
) -> float:
    """Millilitres of wet mix for an area: 0.01 ml per 100 cm2 and micrometre, times share, texture and loss.

    Texture: smooth panel 1.0, fine canvas 1.2, coarse 1.5 to 2. Loss on brush and palette 1.3; 1 gives the net volume.
    """
    return area_cm2 * wet_thickness_um * 1e-4 * area_share * texture_factor * loss_factor


@dataclass(frozen=True, slots=True)
class Amounts:
    """What an amount of wet mix holds: millilitres and grams; pigment with inert solids, binder without solvent."""

    binder_ml: float
    pigment_ml: float
    solvent_ml: float
    binder_g: float
    pigment_g: float
    solvent_g: float


def amounts(composition: Composition, wet_ml: float) -> Amounts:
    """Volumes and masses in ``wet_ml`` of the mix."""
    mass = wet_ml * composition.density_g_cm3
    return Amounts(
        wet_ml * composition.binder_volume_share,
        wet_ml * composition.pigment_volume_share,
        wet_ml * composition.solvent_share,
        mass * composition.oil_mass_share,
        mass * composition.pigment_mass_share,
        mass * composition.solvent_mass_share,
    )


def ingredient_ml(mix: MixRecipe, wet_ml: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Millilitres of each paint, and of each addition, for ``wet_ml`` of the mix, in the recipe's order.

    A drier has no volume here; clove oil is counted by its drops.
    """
    paint_parts = sum(paint.parts for paint in mix.paints)
    plain = paint_parts + sum(addition.parts for addition in mix.additions)
    parts = [addition_parts(addition, plain) for addition in mix.additions]
    total = paint_parts + sum(parts)
    return tuple(wet_ml * p.parts / total for p in mix.paints), tuple(wet_ml * p / total for p in parts)


def film_thickness_um(wet_um: float, solvent_share: float, absorbency: float, binder_fraction: float) -> float:
    """What is left of a wet film when the solvent has gone and the ground has drunk, micrometres."""
    return wet_um * (1 - solvent_share) * (1 - absorbency * binder_fraction)  # (C3)


def compose(mix: MixRecipe, wet_thickness_um: float, ground: Ground) -> Composition:
    """What ``mix`` is, and its film when it goes on ``wet_thickness_um`` thick over ``ground``.

    Raises InputError with the path inside the mix (``paints.0.oil``).
    """
    return composition_of(mix.name, mix_facts(mix), wet_thickness_um, reference.absorbency(ground))


def composition_of(name: str, facts: MixFacts, wet_um: float, absorbency: float) -> Composition:
    """The answer of ``compose`` from facts already known."""
    pvc = 1 - facts.binder_volume_fraction
    stays = 1 - facts.solvent_share
    return Composition(
        name,
        facts.richness,
        facts.added_binder_share,
        facts.solvent_share,
        facts.binder_volume_fraction,
        pvc,
        facts.critical_pvc,
        pvc / facts.critical_pvc,
        facts.density_g_cm3,
        film_thickness_um(wet_um, facts.solvent_share, absorbency, facts.binder_volume_fraction),
        facts.oil_mass_share,
        facts.pigment_mass_share,
        facts.solvent_mass_share,
        facts.iodine_value,
        facts.drying_index,
        stays * facts.binder_volume_fraction,
        stays * pvc,
    )


@lru_cache(maxsize=16_384)
def mix_facts(mix: MixRecipe) -> MixFacts:
    """The facts of a mix. Raises InputError with the path inside the mix."""
    paints = add_up_paints(mix.paints)
    added = add_up_additions(mix.additions, paints.volume)
    oil_volumes = dict(paints.oil_volumes)
    for name, volume in added.oil_volumes.items():
        oil_volumes[name] = oil_volumes.get(name, 0.0) + volume
    film_volume = sum(oil_volumes.values()) + added.alkyd_volume + added.resin_volume
    if film_volume <= 0:
        raise InputError("paints", "a mix needs something that dries: a paint, an oil or an alkyd medium")
    return _facts(paints, added, oil_volumes)


def _facts(paints: PaintTotals, added: AdditionTotals, oil_volumes: dict[str, float]) -> MixFacts:
    oil_density = reference.value("oil_density_g_cm3")
    true_oil = sum(oil_volumes.values())
    # Alkyd solids are counted at the density of oil, so weight and volume shares of the binder nearly agree.
    binder_mass = (true_oil + added.alkyd_volume) * oil_density + added.resin_mass + added.wax_mass + added.clove_mass
    binder = true_oil + added.binder_volume_besides_oil
    solids = paints.pigment_volume + added.inert_volume
    wet = binder + solids + added.solvent_volume
    mass = binder_mass + paints.pigment_mass + added.inert_mass + added.solvent_mass
    film = _weighted_oils(oil_volumes, added)
    oil_need = (paints.oil_need + added.inert_oil_need) / solids if solids > 0 else 0.0
    added_binder = sum(added.oil_volumes.values()) + added.binder_volume_besides_oil
    chalk = reference.find_pigment(reference.CHALK)
    pigment_volumes = dict(paints.pigment_volumes)
    if added.inert_volume > 0:
        multiplier = chalk.touch_multiplier
        before = pigment_volumes.get(chalk.key, (0.0, multiplier))[0]
        pigment_volumes[chalk.key] = (before + added.inert_volume, multiplier)
    return MixFacts(
        richness=richness(paints.volume, added_binder, added.inert_volume),
        added_binder_share=added_binder / (paints.volume + added_binder),
        solvent_share=added.solvent_volume / wet,
        binder_volume_fraction=binder / (binder + solids),
        critical_pvc=critical_pvc_of_oil_need(oil_need),
        density_g_cm3=mass / wet,
        oil_mass_share=binder_mass / mass,
        pigment_mass_share=(paints.pigment_mass + added.inert_mass) / mass,
        solvent_mass_share=added.solvent_mass / mass,
        iodine_value=sum(share * iodine for _, share, _, iodine, _ in film),
        drying_index=sum(share * index for _, share, _, _, index in film),
        pigments=tuple((key, volume / solids, m) for key, (volume, m) in pigment_volumes.items()),
        oils=tuple((name, share, multiplier) for name, share, multiplier, _, _ in film),
        metals=_metals(oil_volumes, true_oil, added.metals),
        alkyd_share=added.alkyd_volume * oil_density / binder_mass,
        wax_share=added.wax_mass / binder_mass,
        clove_share=added.clove_mass / binder_mass,
    )


def _weighted_oils(
    oil_volumes: Mapping[str, float], added: AdditionTotals
) -> list[tuple[str, float, float, float, float]]:
    """(name, volume share, speed multiplier, iodine value, drying index) of all that dries; wax and clove have none."""
    linseed = reference.oil("linseed")
    total = sum(oil_volumes.values()) + added.alkyd_volume + added.resin_volume
    film = []
    for name, volume in oil_volumes.items():
        row = reference.oil(name)
        film.append((name, volume / total, row.speed_multiplier, row.iodine_value, row.drying_index))
    for name, volume in (("alkyd", added.alkyd_volume), ("soft_resin", added.resin_volume)):
        if volume > 0:
            film.append((name, volume / total, 1.0, linseed.iodine_value, linseed.drying_index))
    return film


def _metals(
    oil_volumes: Mapping[str, float], true_oil: float, added: Mapping[str, float]
) -> tuple[tuple[str, float], ...]:
    """Per cent of each metal on the mix's whole oil: what is added, and what boiled oil brings."""
    metals = dict(added)
    for name, volume in oil_volumes.items():
        row = reference.oil(name)
        for metal, pct in (("Pb", row.lead_pct), ("Mn", row.manganese_pct)):
            if pct > 0:
                metals[metal] = metals.get(metal, 0.0) + pct * volume / true_oil
    return tuple(sorted(metals.items()))
