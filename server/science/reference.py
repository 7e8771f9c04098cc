"""The tables: pigments, oils, solvents, grounds, light and the parameters of the drying model.

Every number carries its source and a confidence label: R read in the source named, 2 second-hand, M from memory,
D derived by arithmetic, A assumption of ours. Tables are read once, when first asked for.
"""

import csv
import tomllib
from dataclasses import dataclass, fields, replace
from functools import cache, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from server.science.errors import InputError

DATA = Path(__file__).parent / "data"
CHALK = "PW18"  # what ``inert`` additions are counted as


@dataclass(frozen=True, slots=True)
class Pigment:
    """A row of pigments.csv. Oil figures are grams of oil for 100 g of pigment; the multiplier has no unit.

    ``touch_multiplier``: dry-to-touch time against titanium white; below 1 is faster.
    """

    ci_name: str
    variant: str
    trade_names: str
    chemistry: str
    density_g_cm3: float
    density_confidence: str
    density_source: str
    oil_absorption_low_g_per_100g: float
    oil_absorption_high_g_per_100g: float
    oil_absorption_basis: str
    oil_absorption_confidence: str
    oil_absorption_source: str
    paint_oil_g_per_100g: float
    rub_out_oa_g_per_100g: float
    drying_class: str
    touch_multiplier: float
    drying_basis: str
    drying_confidence: str
    drying_reason: str
    drying_source: str
    hazard: str
    hazard_confidence: str
    hazard_source: str
    key: str  # "PW6", or "PBr7/raw umber" where the Colour Index name has several rows

    @property
    def label(self) -> str:
        """The first of its traditional names."""
        return self.trade_names.split(";")[0].strip()


@dataclass(frozen=True, slots=True)
class Oil:
    """A row of oils.csv. Fatty acids in per cent (None: not meaningful), iodine values in g I2 per 100 g.

    ``speed_multiplier`` multiplies dry-to-touch time; ``lead_pct`` and ``manganese_pct`` are driers the oil brings.
    """

    name: str
    label: str
    c16_1_pct: float | None
    c18_1_pct: float | None
    c18_2_pct: float | None
    c18_3_pct: float | None
    composition_range: str
    composition_confidence: str
    composition_source: str
    iodine_value_low: float
    iodine_value_high: float
    iodine_value: float
    iodine_value_confidence: str
    iodine_value_source: str
    drying_index: float
    drying_index_confidence: str
    drying_index_source: str
    speed_multiplier: float
    speed_multiplier_confidence: str
    speed_multiplier_source: str
    lead_pct: float
    manganese_pct: float
    drier_confidence: str
    drier_source: str


@dataclass(frozen=True, slots=True)
class Solvent:
    """A row of solvents.csv. Evaporation is relative, n-butyl acetate = 1."""

    name: str
    label: str
    aliases: str
    density_low_g_cm3: float
    density_high_g_cm3: float
    density_g_cm3: float
    density_confidence: str
    density_source: str
    evaporation_low: float
    evaporation_high: float
    evaporation_confidence: str
    evaporation_source: str


@dataclass(frozen=True, slots=True)
class Parameter:
    """A row of parameters.csv. ``spread_kind``: ln (sd of the natural logarithm), absolute (same unit) or none."""

    name: str
    symbol: str
    value: float
    unit: str
    spread: float
    spread_kind: str
    confidence: str
    source: str
    meaning: str


@dataclass(frozen=True, slots=True)
class GroundRow:
    """A row of grounds.csv; absorbency is the share of the binder that the ground drinks."""

    name: str
    label: str
    absorbency: float
    absorbency_confidence: str
    absorbency_source: str


@dataclass(frozen=True, slots=True)
class LightRow:
    """A row of light.csv; the factor multiplies the uncatalysed route."""

    name: str
    label: str
    factor: float
    factor_confidence: str
    factor_source: str


@dataclass(frozen=True, slots=True)
class ThicknessPreset:
    """A row of thickness_presets.csv."""

    name: str
    label: str
    wet_thickness_um: float
    confidence: str
    source: str


Row = TypeVar("Row")


def _rows(kind: type[Row], file: str, **derived: str) -> tuple[Row, ...]:
    """The rows of a table as ``kind``: its float fields converted, an empty cell of an optional one None."""
    types = {f.name: f.type for f in fields(kind)}  # type: ignore[arg-type]
    with (DATA / file).open(newline="", encoding="utf-8") as handle:
        read = csv.DictReader(handle)
        return tuple(kind(**{name: _cell(types[name], text) for name, text in row.items()}, **derived) for row in read)


def _cell(kind: object, text: str) -> Any:
    if kind is float:
        return float(text)
    if kind == float | None:
        return float(text) if text else None
    return text


@cache
def pigments() -> tuple[Pigment, ...]:
    """All pigments in the order of the table."""
    rows = _rows(Pigment, "pigments.csv", key="")
    names = [row.ci_name for row in rows]
    return tuple(
        replace(row, key=row.ci_name if names.count(row.ci_name) == 1 else f"{row.ci_name}/{row.variant}")
        for row in rows
    )


@cache
def _pigments_by_name() -> dict[str, tuple[Pigment, ...]]:
    by_name: dict[str, tuple[Pigment, ...]] = {}
    for row in pigments():
        by_name[row.ci_name.casefold()] = (*by_name.get(row.ci_name.casefold(), ()), row)
    return by_name


def colour_index_name(ci_name: str) -> str:
    """The name as the table writes it, of whichever variants. Raises InputError at ``ci_name`` where it is unknown."""
    return _pigments_of(ci_name)[0].ci_name


def _pigments_of(ci_name: str) -> tuple[Pigment, ...]:
    rows = _pigments_by_name().get(ci_name.strip().casefold())
    if rows is None:
        raise InputError("ci_name", f"the pigment {ci_name!r} is not in the table; write its Colour Index name, as PW6")
    return rows


@lru_cache(maxsize=1024)
def find_pigment(ci_name: str, variant: str | None = None) -> Pigment:
    """The pigment of a Colour Index name. ``variant`` is needed where the name has several rows.

    A remark in brackets after a variant ("rutile (anatase 3.9)") is no part of its name.

    Raises InputError at ``ci_name`` or ``variant`` when the name is unknown, the variant is, or several rows answer.
    """
    rows = _pigments_of(ci_name)
    wanted = (variant or "").partition(" (")[0].strip().casefold()
    if len(rows) == 1 and not wanted:
        return rows[0]
    named = ", ".join(row.variant for row in rows if row.variant) or "none"
    if not wanted:
        raise InputError("variant", f"{rows[0].ci_name} is several pigments; choose one of: {named}")
    for row in rows:
        if row.variant.casefold() == wanted:
            return row
    raise InputError("variant", f"{rows[0].ci_name} has no variant {variant!r}; known: {named}")


@cache
def oils() -> tuple[Oil, ...]:
    """All binder oils."""
    return _rows(Oil, "oils.csv")


@cache
def _oils_by_name() -> dict[str, Oil]:
    return {row.name: row for row in oils()}


def oil(name: str) -> Oil:
    """The oil of that name. Raises InputError at ``oil``."""
    row = _oils_by_name().get(name)
    if row is None:
        raise InputError("oil", f"the oil {name!r} is not in the table; known: {', '.join(_oils_by_name())}")
    return row


@cache
def solvents() -> tuple[Solvent, ...]:
    """All thinners."""
    return _rows(Solvent, "solvents.csv")


@cache
def _solvents_by_name() -> dict[str, Solvent]:
    by_name = {row.name: row for row in solvents()}
    return by_name | {alias: row for row in solvents() for alias in row.aliases.split("; ") if alias}


def solvent(name: str) -> Solvent:
    """The thinner of that name. Raises InputError at ``solvent``."""
    row = _solvents_by_name().get(name)
    if row is None:
        known = ", ".join(s.name for s in solvents())
        raise InputError("solvent", f"the solvent {name!r} is not in the table; known: {known}")
    return row


@cache
def parameters() -> tuple[Parameter, ...]:
    """All parameters of the model."""
    return _rows(Parameter, "parameters.csv")


@cache
def _parameters_by_name() -> dict[str, Parameter]:
    return {row.name: row for row in parameters()}


def parameter(name: str) -> Parameter:
    """The parameter of that name. Raises KeyError: a wrong name is a fault of the program."""
    return _parameters_by_name()[name]


def value(name: str) -> float:
    """The central value of a parameter, in its unit."""
    return _parameters_by_name()[name].value


def spread(name: str) -> float:
    """The prior spread (1 sd) of a parameter, of the kind its row says."""
    return _parameters_by_name()[name].spread


@cache
def grounds() -> tuple[GroundRow, ...]:
    """What a layer may lie on."""
    return _rows(GroundRow, "grounds.csv")


@cache
def absorbency(ground: str) -> float:
    """The share of the binder that a ground drinks, 0 to 1."""
    return next(row.absorbency for row in grounds() if row.name == ground)


@cache
def lights() -> tuple[LightRow, ...]:
    """The named lights."""
    return _rows(LightRow, "light.csv")


@cache
def thickness_presets() -> tuple[ThicknessPreset, ...]:
    """Wet thickness by the painter's words."""
    return _rows(ThicknessPreset, "thickness_presets.csv")


@cache
def iodine_factors() -> MappingProxyType[str, float]:
    """Iodine value that one per cent of a fatty acid brings (AOCS Cd 1c-85, triglycerides)."""
    with (DATA / "fatty_acids.csv").open(newline="", encoding="utf-8") as handle:
        return MappingProxyType({r["name"]: float(r["iodine_factor"]) for r in csv.DictReader(handle)})


@cache
def sources() -> dict[str, dict[str, str]]:
    """The tables of sources.toml: ``confidence`` (labels), ``words`` and ``sources`` (short name to full)."""
    tables: dict[str, dict[str, str]] = tomllib.loads((DATA / "sources.toml").read_text(encoding="utf-8"))
    return tables


LIGHT_FACTORS: dict[str, float] = {row.name: row.factor for row in lights()}
