"""Adds up the ingredients of a mix: volumes in its own parts, masses in grams where a part is a millilitre."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from server.science import reference
from server.science.errors import InputError
from server.science.recipe import Addition, AdditionKind, Paint, PigmentShare

METALS = ("Pb", "Mn", "Co")
DEFAULT_OIL = "linseed"
DEFAULT_SOLVENT = "odourless_mineral_spirits"
DEFAULT_NON_VOLATILE = 0.5  # an alkyd medium of the trade, from memory


@dataclass(slots=True)
class PaintTotals:
    """Sums over the tube paints. ``oil_need``: grams of oil per 100 ml of pigment, times pigment volume.

    ``pigment_volumes``: key to (volume, touch multiplier).
    """

    volume: float = 0.0
    pigment_volume: float = 0.0
    pigment_mass: float = 0.0
    oil_need: float = 0.0
    oil_volumes: dict[str, float] = field(default_factory=dict)
    pigment_volumes: dict[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(slots=True)
class AdditionTotals:
    """Sums over the additions; the solvent inside mediums counts as solvent."""

    oil_volumes: dict[str, float] = field(default_factory=dict)
    metals: dict[str, float] = field(default_factory=dict)
    alkyd_volume: float = 0.0
    resin_volume: float = 0.0
    wax_volume: float = 0.0
    clove_volume: float = 0.0
    solvent_volume: float = 0.0
    inert_volume: float = 0.0
    resin_mass: float = 0.0
    wax_mass: float = 0.0
    clove_mass: float = 0.0
    solvent_mass: float = 0.0
    inert_mass: float = 0.0
    inert_oil_need: float = 0.0

    @property
    def binder_volume_besides_oil(self) -> float:
        """What else stays in the film and is not solid."""
        return self.alkyd_volume + self.resin_volume + self.wax_volume + self.clove_volume


def add_up_paints(paints: Sequence[Paint]) -> PaintTotals:
    """Sums over tube paints. Raises InputError with the path inside the mix."""
    totals = PaintTotals()
    for i, paint in enumerate(paints):
        try:
            _add_paint(totals, paint)
        except InputError as error:
            raise error.under(f"paints.{i}") from None
    return totals


def _add_paint(totals: PaintTotals, paint: Paint) -> None:
    """Split the paint's volume into pigment and oil by its oil figure, and add both."""
    _need_positive("parts", paint.parts)
    reference.oil(paint.oil)
    own = (paint.paint_oil_g_per_100g, paint.rub_out_oa_g_per_100g, paint.density_g_cm3)
    unit = _unit_pigment(paint.pigments, own)
    oil_ratio = unit.oil_g / reference.value("oil_density_g_cm3")
    pigment_volume = paint.parts / (1 + oil_ratio)
    totals.volume += paint.parts
    totals.pigment_volume += pigment_volume
    totals.pigment_mass += pigment_volume * unit.mass_g
    totals.oil_need += pigment_volume * unit.oil_need
    totals.oil_volumes[paint.oil] = totals.oil_volumes.get(paint.oil, 0.0) + pigment_volume * oil_ratio
    for row, share in unit.rows:
        before = totals.pigment_volumes.get(row.key, (0.0, 0.0))[0]
        totals.pigment_volumes[row.key] = (before + share * pigment_volume, row.touch_multiplier)


@dataclass(frozen=True, slots=True)
class _UnitPigment:
    """One millilitre of the pigment of a tube: grams of it and of the oil it is ground in, its oil need, its rows."""

    mass_g: float
    oil_g: float
    oil_need: float
    rows: tuple[tuple[reference.Pigment, float], ...]


@lru_cache(maxsize=4096)
def _unit_pigment(
    pigments: tuple[PigmentShare, ...], own: tuple[float | None, float | None, float | None]
) -> _UnitPigment:
    """``own``: the tube's own oil figure, oil absorption and density, where they replace the table's."""
    shares = sum(p.share for p in pigments)
    if shares <= 0:
        raise InputError("pigments", "a paint needs at least one pigment with a share above zero")
    own_oil, own_rub_out, own_density = own
    mass_g = oil_g = oil_need = 0.0
    rows = []
    for i, given in enumerate(pigments):
        row = _pigment(given, i)
        share = given.share / shares
        density = row.density_g_cm3 if own_density is None else own_density
        paint_oil = row.paint_oil_g_per_100g if own_oil is None else own_oil
        rub_out = row.rub_out_oa_g_per_100g if own_rub_out is None else own_rub_out
        mass_g += share * density
        oil_g += share * density * paint_oil / 100
        oil_need += share * density * rub_out
        rows.append((row, share))
    return _UnitPigment(mass_g, oil_g, oil_need, tuple(rows))


def _pigment(given: PigmentShare, position: int) -> reference.Pigment:
    try:
        return reference.find_pigment(given.ci_name, given.variant)
    except InputError as error:
        raise error.under(f"pigments.{position}") from None


def add_up_additions(additions: Sequence[Addition], paint_volume: float) -> AdditionTotals:
    """Sums over additions; ``paint_volume`` for what is counted per 10 ml. Raises InputError with its path."""
    totals = AdditionTotals()
    volume = paint_volume + sum(a.parts for a in additions)
    for i, addition in enumerate(additions):
        try:
            _add_addition(totals, addition, volume)
        except InputError as error:
            raise error.under(f"additions.{i}") from None
    return totals


def _add_addition(totals: AdditionTotals, addition: Addition, mix_volume: float) -> None:
    kind, parts = addition.kind, addition.parts
    if kind not in (AdditionKind.DRIER, AdditionKind.CLOVE_OIL):
        _need_positive("parts", parts)
    if kind is AdditionKind.OIL:
        name = reference.oil(addition.oil or DEFAULT_OIL).name
        totals.oil_volumes[name] = totals.oil_volumes.get(name, 0.0) + parts
    elif kind is AdditionKind.SOLVENT:
        _add_solvent(totals, parts, addition.solvent)
    elif kind is AdditionKind.ALKYD_MEDIUM:
        stays = DEFAULT_NON_VOLATILE if addition.non_volatile is None else addition.non_volatile
        if not 0 < stays <= 1:
            raise InputError("non_volatile", "must be above 0 and at most 1")
        totals.alkyd_volume += parts * stays
        _add_solvent(totals, parts * (1 - stays), addition.solvent)
    elif kind is AdditionKind.DRIER:
        _add_drier(totals, addition)
    elif kind is AdditionKind.INERT:
        chalk = reference.find_pigment(reference.CHALK)
        totals.inert_volume += parts
        totals.inert_mass += parts * chalk.density_g_cm3
        totals.inert_oil_need += parts * chalk.density_g_cm3 * chalk.rub_out_oa_g_per_100g
    else:
        _add_slow_stuff(totals, addition, mix_volume)


def _add_slow_stuff(totals: AdditionTotals, addition: Addition, mix_volume: float) -> None:
    """Wax, soft resin and clove oil: binder that does not dry as oil does."""
    if addition.kind is AdditionKind.WAX:
        totals.wax_volume += addition.parts
        totals.wax_mass += addition.parts * reference.value("wax_density_g_cm3")
    elif addition.kind is AdditionKind.SOFT_RESIN:
        totals.resin_volume += addition.parts
        totals.resin_mass += addition.parts * reference.value("soft_resin_density_g_cm3")
    else:
        _need_positive("drops_per_10_ml", addition.drops_per_10_ml or 0.0)
        volume = addition_parts(addition, mix_volume)
        totals.clove_volume += volume
        totals.clove_mass += volume * reference.value("clove_oil_density_g_cm3")


def addition_parts(addition: Addition, mix_volume: float) -> float:
    """The volume of an addition in parts; drops of clove oil are counted on ``mix_volume``, a drier has no volume."""
    if addition.kind is AdditionKind.CLOVE_OIL:
        return mix_volume * (addition.drops_per_10_ml or 0.0) / reference.value("clove_drops_per_ml") / 10
    return 0.0 if addition.kind is AdditionKind.DRIER else addition.parts


def _add_solvent(totals: AdditionTotals, parts: float, name: str | None) -> None:
    totals.solvent_volume += parts
    totals.solvent_mass += parts * reference.solvent(name or DEFAULT_SOLVENT).density_g_cm3


def _add_drier(totals: AdditionTotals, addition: Addition) -> None:
    metal, pct = addition.metal or "", addition.percent_on_oil or 0.0
    if metal not in METALS:
        raise InputError("metal", f"the metal {metal!r} is not known as a drier here; known: {', '.join(METALS)}")
    _need_positive("percent_on_oil", pct)
    totals.metals[metal] = totals.metals.get(metal, 0.0) + pct


def _need_positive(name: str, figure: float) -> None:
    if not 0 < figure < float("inf"):
        raise InputError(name, "must be above zero")
