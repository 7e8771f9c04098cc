"""The published checks of drying: how a row's inputs become a film and a room, and which rows are known misses."""

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.science.composition import iodine_value, max_mass_gain_pct
from server.science.drying import (
    REFERENCE_FILM_UM,
    Film,
    arrhenius,
    climate,
    inverse_kelvin,
    metal_rate,
    pigment_sums,
    stage_times,
)
from server.science.reference import value

DATA = Path(__file__).parent / "data"


@dataclass(frozen=True, slots=True)
class Check:
    """A published value with the inputs that reproduce it."""

    id: int
    condition: str
    quantity: str
    low: float
    high: float
    unit: str
    inputs: dict[str, Any]
    source: str


def checks() -> list[Check]:
    """All rows of drying_checks.csv."""
    with (DATA / "drying_checks.csv").open(newline="", encoding="utf-8") as handle:
        return [
            Check(
                int(row["id"]),
                row["condition"],
                row["quantity"],
                float(row["published_low"]),
                float(row["published_high"]),
                row["unit"],
                json.loads(row["inputs"]),
                row["source"],
            )
            for row in csv.DictReader(handle)
        ]


def film_of(given: dict[str, Any]) -> Film:
    """The film that a row's inputs describe; what a row leaves out is clear linseed of 30 um."""
    speed_up, slow_down = pigment_sums(((1.0, given["pig"]),)) if "pig" in given else (0.0, 1.0)
    return Film(
        thickness_um=given.get("h", REFERENCE_FILM_UM),
        drying_index=given.get("DI", 125.0),
        iodine_value=given.get("IV", 180.0),
        oil_multiplier=given.get("oil_mult", 1.0),
        speed_up=speed_up,
        slow_down=slow_down,
        metal_rate=metal_rate(given.get("driers", {})),
        alkyd_rate=given.get("alkyd", 0.0) * value("alkyd_rate"),
        wax_share=given.get("wax", 0.0),
    )


def model_value(check: Check) -> float:
    """What the model says for a row, in the row's unit."""
    given = check.inputs
    if check.quantity == "calculated iodine value":
        return iodine_value(given)
    if check.quantity == "max mass gain":
        return max_mass_gain_pct(given["IV"])
    if check.quantity == "rate ratio 25/15 C":
        energy = value("activation_auto_kj_mol")
        return float(arrhenius(inverse_kelvin(25.0), energy) / arrhenius(inverse_kelvin(15.0), energy))
    room = climate(given.get("T", 21.0), 50.0, given.get("light", 1.0))
    times = stage_times(film_of(given), room)
    return float(
        {
            "touch-dry": times.dry_to_touch_d,
            "next layer": times.dry_to_recoat_d,
            "through-dry": times.dry_through_d,
            "final varnish": value("varnish_fixed_d") + times.varnish_d,
            "touch-dry ratio": times.dry_to_touch_d / value("clear_linseed_touch_d"),
        }[check.quantity]
    )
