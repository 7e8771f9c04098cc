"""Stages given with a layer: they overrule the model's, so that a rule can be tried apart from it."""

from collections.abc import Callable
from dataclasses import astuple

from server.formats.calls.layer_in import CallModel, Collector, StageD
from server.science.results import Stage, StageRange

# Percentiles that were not given follow from a log-normal through p50 and p90.
P95_OVER_P90 = 1.6448536 / 1.2815516  # standard normal quantiles
Stages = dict[Stage, StageRange]


class StageIn(CallModel):
    p50_d: StageD
    p90_d: StageD


class StagesIn(CallModel):
    """Times that overrule the model's, so that a rule can be tried apart from it."""

    set_to_touch: StageIn | None = None
    dry_to_touch: StageIn | None = None
    dry_to_recoat: StageIn | None = None
    dry_through: StageIn | None = None
    final_varnish: StageIn | None = None


def complete(stages: StagesIn | None) -> bool:
    return stages is not None and all(getattr(stages, stage.value) for stage in Stage if stage != Stage.FINAL_VARNISH)


def check_stages(stages: StagesIn | None, path: tuple[int | str, ...], faults: Collector) -> None:
    if stages is None:
        return
    for stage in Stage:
        given = getattr(stages, stage.value)
        if given is not None and given.p90_d < given.p50_d:
            faults.add((*path, stage.value, "p90_d"), "must not be less than p50_d")


def overruled(modelled: Stages, given: StagesIn | None) -> Stages:
    """The model's stages, overruled by those given. What is not given moves along where it would come out of order: no
    film is hard before it is dry to the touch. The varnish's wait is no stage of the film and draws none earlier."""
    if given is None:
        return modelled
    told = {stage: _range(override) for stage in Stage if (override := getattr(given, stage.value)) is not None}
    stages = dict(modelled) | told
    order = list(Stage)
    for place, stage in enumerate(order):
        if stage in told or stage not in modelled:
            continue
        for earlier in (told[one] for one in order[:place] if one in told):
            stages[stage] = _each(max, stages[stage], earlier)
        for later in (told[one] for one in order[place:-1] if one in told):
            stages[stage] = _each(min, stages[stage], later)
    if Stage.FINAL_VARNISH not in stages and Stage.DRY_THROUGH in stages:
        # Stages given without the varnish wait: the rules take the later of it and R35, so dry-through stands in.
        stages[Stage.FINAL_VARNISH] = stages[Stage.DRY_THROUGH]
    return stages


def _range(given: StageIn) -> StageRange:
    ratio = given.p90_d / given.p50_d
    wide = ratio**P95_OVER_P90
    return StageRange(given.p50_d / wide, given.p50_d / ratio, given.p50_d, given.p90_d, given.p50_d * wide)


def _each(pick: Callable[[float, float], float], one: StageRange, other: StageRange) -> StageRange:
    return StageRange(*map(pick, astuple(one), astuple(other)))
