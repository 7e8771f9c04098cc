"""The ``estimate`` call: a layer and a room in, drying stages with their ranges out."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from pydantic import AwareDatetime, BaseModel

from server.formats.calls import layer_in
from server.formats.calls.call import Call
from server.formats.calls.estimate_out import DAYS_DIGITS, as_text, estimate_answers
from server.formats.calls.layer_in import CallModel, Collector, LayerIn, RoomIn
from server.science.estimate import estimate_many
from server.science.recipe import LayerRecipe, Room
from server.science.results import LayerEstimate


class EstimateRequest(CallModel):
    """When does this layer dry, here? ``painted_at`` adds dates to the days."""

    painted_at: AwareDatetime | None = None
    layer: LayerIn
    room: RoomIn


class StageOut(BaseModel):
    """Days after painting at five percentiles; ``p50_d`` is the model's central value."""

    p05_d: float
    p10_d: float
    p50_d: float
    p90_d: float
    p95_d: float
    p50_at: AwareDatetime | None
    p90_at: AwareDatetime | None


class StagesOut(BaseModel):
    """Stages by the names of ASTM D1640 and ISO 9117."""

    set_to_touch: StageOut
    dry_to_touch: StageOut
    dry_to_recoat: StageOut
    dry_through: StageOut
    final_varnish: StageOut


class RegionOut(BaseModel):
    name: str
    area_share: float
    stages: StagesOut
    holds_up: bool


class CompositionOut(BaseModel):
    """Fractions by volume, 0 to 1. ``richness`` is null for a film without solids, such as clear oil."""

    name: str
    richness: float | None
    added_binder_share: float
    solvent_share: float
    binder_volume_fraction: float
    pigment_volume_concentration: float
    critical_pvc: float
    reduced_pvc: float
    density_g_cm3: float
    film_thickness_um: float


class OilOut(BaseModel):
    iodine_value: float
    drying_index: float
    max_mass_gain_pct: float


class ProvenanceOut(BaseModel):
    quantity: str
    source: str
    confidence: str


class EstimateAnswer(BaseModel):
    stages: StagesOut
    regions: list[RegionOut]
    composition: list[CompositionOut]
    oil: OilOut
    provenance: list[ProvenanceOut]
    warnings: list[str]


Prepared = tuple[EstimateRequest, LayerRecipe, Room]


def prepare(request: EstimateRequest, _now: datetime, faults: Collector) -> Prepared | None:
    """The request in the science's own types, or None with the faults collected."""
    before = len(faults.problems)
    recipe = layer_in.layer(request.layer, ("layer",), faults)
    layer_in.check_room(request.room, ("room",), faults)
    if len(faults.problems) > before:
        return None
    return request, recipe, layer_in.room(request.room, request.painted_at)


def answer_many(prepared: Sequence[Prepared]) -> list[dict[str, Any]]:
    estimates = estimate_many([(recipe, room) for _, recipe, room in prepared])
    requests = [request for request, _, _ in prepared]
    warnings = [_warnings(request, estimate) for request, estimate in zip(requests, estimates, strict=True)]
    return estimate_answers(estimates, [request.painted_at for request in requests], warnings)


def _warnings(request: EstimateRequest, estimate: LayerEstimate) -> list[str]:
    warnings = list(estimate.warnings)
    if request.room.series is not None and request.painted_at is None:
        warnings.append("no painted_at: the layer counts as painted at the first reading of the series")
    return warnings


def rounded(value: float) -> float:
    return float(f"{value:.{DAYS_DIGITS}g}")


CALL = Call(EstimateRequest, EstimateAnswer, prepare, answer_many, as_text)
