"""Value types that calculations answer with."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

STAGES = ("set_to_touch", "dry_to_touch", "dry_to_recoat", "dry_through", "final_varnish")


class Stage(StrEnum):
    """Drying stages by the names of ASTM D1640 and ISO 9117; the varnish wait is ours."""

    __hash__ = str.__hash__  # that of an enumeration is written in Python: ten times slower as a key

    SET_TO_TOUCH = "set_to_touch"
    DRY_TO_TOUCH = "dry_to_touch"
    DRY_TO_RECOAT = "dry_to_recoat"
    DRY_THROUGH = "dry_through"
    FINAL_VARNISH = "final_varnish"


class FilmState(StrEnum):
    """What a fingertip says of a film, softest first."""

    NONE = "none"
    WET = "wet"
    TACKY = "tacky"
    TOUCH_DRY = "touch_dry"
    FIRM = "firm"


@dataclass(frozen=True, slots=True)
class StageRange:
    """When a stage is reached, days after painting. ``p50_d`` is the model's central value."""

    p05_d: float
    p10_d: float
    p50_d: float
    p90_d: float
    p95_d: float


def slowest_of(ranges: Sequence[StageRange]) -> StageRange:
    """The range of what waits for all of several films: at each percentile the latest of theirs.

    A film whose middle comes first may still be the one that 9 in 10 wait for. The least that can be said: films that
    vary apart from each other make what waits for them all a little later still.
    """
    latest = max(ranges, key=lambda one: one.p50_d)
    early, late = max(one.p10_d for one in ranges), max(one.p90_d for one in ranges)
    earliest, last = max(one.p05_d for one in ranges), max(one.p95_d for one in ranges)
    if (latest.p05_d, latest.p10_d, latest.p90_d, latest.p95_d) == (earliest, early, late, last):
        return latest
    return StageRange(earliest, early, latest.p50_d, late, last)


@dataclass(frozen=True, slots=True)
class Composition:
    """What a mix is made of. Fractions are 0 to 1 by volume unless the name says otherwise.

    ``richness`` is ``inf`` for a film without any solids. Of the wet mix, the volume shares ``binder_volume_share``,
    ``pigment_volume_share`` (inert solids included) and ``solvent_share`` add up to 1, and so do the three mass shares.
    """

    name: str
    richness: float
    added_binder_share: float
    solvent_share: float
    binder_volume_fraction: float
    pigment_volume_concentration: float
    critical_pvc: float
    reduced_pvc: float
    density_g_cm3: float
    film_thickness_um: float
    oil_mass_share: float
    pigment_mass_share: float
    solvent_mass_share: float
    iodine_value: float
    drying_index: float
    binder_volume_share: float
    pigment_volume_share: float


@dataclass(frozen=True, slots=True)
class RegionEstimate:
    """One mix of a layer: when it reaches each stage."""

    name: str
    area_share: float
    stages: dict[Stage, StageRange]
    composition: Composition
    holds_up: bool


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a number comes from: R read, 2 second-hand, M from memory, D derived, A assumption."""

    quantity: str
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class LayerEstimate:
    """When a layer, taken as its slowest region, reaches each stage."""

    stages: dict[Stage, StageRange]
    regions: tuple[RegionEstimate, ...]
    iodine_value: float
    drying_index: float
    max_mass_gain_pct: float
    provenance: tuple[Provenance, ...] = ()
    warnings: tuple[str, ...] = field(default=())
