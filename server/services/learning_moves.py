"""The book's dates as learning takes them, and the dates it gives back.

What is learned is told on the clock of the reference room: days of a layer's own room are turned into effective days,
moved there by their logarithm, and turned back.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import fsum, log, sqrt

import numpy as np

from server.science import reference
from server.science.climate import Clock
from server.science.learning import STANDARD, Evidence, Offsets, Prediction, Priors
from server.science.recipe import LayerRecipe
from server.science.results import LayerEstimate, RegionEstimate, Stage, StageRange, slowest_of
from server.services.learning_effects import Where, effects_of

STAGES = tuple(Stage)
SET, TOUCH, RECOAT, THROUGH, VARNISH = range(len(STAGES))
Z = np.array([-1.6448536269514722, -1.2815515655446004, 0.0, 1.2815515655446004, 1.6448536269514722])
MIDDLE = 2  # p50 among p05, p10, p50, p90, p95
OWN_SD = 0.2  # what another stage keeps to itself however well dry-to-touch is known; prior sd of the stages' offsets
APART = 1e-3  # least distance of the stages' offsets


@dataclass(frozen=True, slots=True)
class Moved:
    """What learning does to a region's dates, on the logarithm of effective days.

    ``shift`` of the middle of dry-to-touch; ``low`` and ``high``: how many times the book's spread is left before and
    after it; ``tacky`` and ``firm``: shifts of these stages beside.
    """

    shift: float
    low: float
    high: float
    tacky: float
    firm: float


def book_evidence(estimate: LayerEstimate, recipe: LayerRecipe, clock: Clock, where: Where) -> tuple[Evidence, ...]:
    """Each region of a layer as learning takes it, without presses."""
    middles = np.array([[region.stages[stage].p50_d for stage in STAGES] for region in estimate.regions])
    effective = clock.progress_at(np.maximum(middles, 1e-6))
    found = []
    for region, mix, days in zip(estimate.regions, recipe.mixes, effective, strict=True):
        tacky, firm = np.log(days[[SET, THROUGH]] / days[TOUCH])
        offsets = Offsets(min(float(tacky), -APART), max(float(firm), APART))
        effects = effects_of(mix, region.composition.film_thickness_um, where)
        found.append(Evidence(float(days[TOUCH]), effects, offsets=offsets))
    return tuple(found)


def varnish_after_through(region: RegionEstimate, clock: Clock) -> float:
    """Logarithm of a region's varnish wait, after its fixed days, against dry-through, in effective days."""
    fixed_d = reference.value("varnish_fixed_d")
    varnish_d, through_d = (region.stages[stage].p50_d for stage in (Stage.FINAL_VARNISH, Stage.DRY_THROUGH))
    varnish, through = clock.progress_at(np.maximum([varnish_d - fixed_d, through_d], 1e-6))
    return float(np.log(varnish / through))


def prior_sd(book: Evidence, priors: Priors) -> float:
    """Sd of the logarithm of dry-to-touch before anything was pressed."""
    return sqrt(fsum((weight * priors.of(name)) ** 2 for name, weight in book.effects) + STANDARD.sigma**2)


def moved_by(found: Prediction, book: Evidence, priors: Priors) -> Moved:
    """How far a prediction is from the book, and how much narrower than what was known before."""
    middle = found.log_quantile(0.5)
    wide = Z[3] * prior_sd(book, priors)
    assert book.offsets is not None
    return Moved(
        shift=middle - log(book.book_d),
        low=(middle - found.log_quantile(0.1)) / wide,
        high=(found.log_quantile(0.9) - middle) / wide,
        tacky=found.tacky - book.offsets.tacky,
        firm=found.firm - book.offsets.firm,
    )


def stages_moved(stages: dict[Stage, StageRange], clock: Clock, moved: Moved) -> dict[Stage, StageRange]:
    """The ranges of a region's stages after learning.

    Dry-to-touch takes the learned spread. Another stage shares the touch's spread but for `OWN_SD`, and what it has
    beyond that stays. Between touch and dry-through the shift of firm counts by how far on the stage is; the varnish's
    fixed days are the calendar's and are not moved.
    """
    fixed = np.zeros((len(STAGES), 1))
    fixed[VARNISH] = reference.value("varnish_fixed_d")
    names = StageRange.__dataclass_fields__
    days = np.array([[getattr(stages[stage], name) for name in names] for stage in STAGES])
    logs = np.log(np.maximum(clock.progress_at(np.maximum(days - fixed, 1e-6)), 1e-9))
    middle = logs[:, MIDDLE, None]
    away = logs - middle
    left = np.array([moved.low, moved.low, 1.0, moved.high, moved.high])
    own = np.full((len(STAGES), 1), OWN_SD)
    own[TOUCH] = 0.0
    shared = np.minimum(away[TOUCH] ** 2, np.maximum(away**2 - (own * Z) ** 2, 0.0))
    narrowed = np.sign(away) * np.sqrt(np.maximum(away**2 - shared * (1 - left**2), 0.0))
    goals = np.exp(middle + moved.shift + _beside(middle[:, 0], moved)[:, None] + narrowed)
    found = clock.reach(goals.reshape(1, -1)).reshape(goals.shape) + fixed
    return {stage: StageRange(*row) for stage, row in zip(STAGES, found.tolist(), strict=True)}


def _beside(middle: np.ndarray, moved: Moved) -> np.ndarray:
    """Shift of each stage beside that of dry-to-touch."""
    span = max(middle[THROUGH] - middle[TOUCH], APART)
    share = np.clip((middle - middle[TOUCH]) / span, 0.0, 1.0)
    beside = moved.firm * share
    beside[SET] = moved.tacky
    return beside


def with_regions(estimate: LayerEstimate, regions: Sequence[RegionEstimate]) -> LayerEstimate:
    """The estimate with other regions: at each stage the layer waits for the slowest of them."""
    stages = {stage: slowest_of([region.stages[stage] for region in regions]) for stage in STAGES}
    touch = [region.stages[Stage.DRY_TO_TOUCH].p50_d for region in regions]
    slowest = touch.index(max(touch))
    told = tuple(replace(region, holds_up=i == slowest) for i, region in enumerate(regions))
    return replace(estimate, stages=stages, regions=told)
