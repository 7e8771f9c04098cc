"""From stage ranges to what the film is now: odds, states, and what a touch test does to the ranges.

A stage's range is read as log-normal through its p10, p50 and p90, one spread below the median and one above.
A touch test that finds a film softer than a stage says that the stage was still ahead then: the range is cut
below that age and the later stages move by the same factor. A test that finds a film harder changes no date:
the film simply counts as at least that hard from then on. So an old "tacky" does not hold for ever, it only
pushes the dates out, and "touch-dry" is never taken back. Both choices are ours; learning from many tests
replaces the first.
"""

import math
from collections.abc import Sequence
from itertools import accumulate
from statistics import NormalDist

from server.science.results import FilmState, Stage, StageRange

NORMAL = NormalDist()
ROOT_2 = math.sqrt(2.0)
Z90 = NORMAL.inv_cdf(0.9)
OBSERVER_SD = 0.25  # sd of ln t of one painter's judgement; assumption, drying prior "observer"
PERCENTILES = (0.05, 0.10, 0.50, 0.90, 0.95)
HARDNESS = {
    FilmState.NONE: 0,
    FilmState.WET: 1,
    FilmState.TACKY: 2,
    FilmState.TOUCH_DRY: 3,
    FilmState.FIRM: 4,
}
# The stage a film of this state has not reached yet.
NEXT_STAGE = {
    FilmState.WET: Stage.SET_TO_TOUCH,
    FilmState.TACKY: Stage.DRY_TO_TOUCH,
    FilmState.TOUCH_DRY: Stage.DRY_THROUGH,
}


def odds_reached(stage: StageRange, age_d: float) -> float:
    """Chance, 0 to 1, that a film of ``age_d`` days has reached the stage.

    Log-normal with sd ln(p50/p10)/1.2816 below the median and ln(p90/p50)/1.2816 above; a step without spread.
    """
    if age_d <= 0.0:
        return 1.0 if stage.p50_d <= 0.0 <= age_d else 0.0
    if stage.p50_d <= 0.0:
        return 1.0
    distance = math.log(age_d) - math.log(stage.p50_d)  # no quotient: it may underflow
    spread = _spread(stage, distance)
    if spread <= 0.0:
        return 1.0 if distance >= 0.0 else 0.0
    return NORMAL.cdf(distance / spread)


def odds_at(stage: StageRange, ages_d: Sequence[float]) -> list[float]:
    """``odds_reached`` at many ages, to the same digits and several times as fast. Needs a range with a spread."""
    middle = math.log(stage.p50_d)
    low, high = _spread(stage, -1.0), _spread(stage, 1.0)
    if low <= 0.0 or high <= 0.0:
        return [odds_reached(stage, age_d) for age_d in ages_d]
    log, erf = math.log, math.erf
    odds = []
    for age_d in ages_d:
        if age_d <= 0.0:
            odds.append(0.0)
            continue
        distance = log(age_d) - middle
        odds.append(0.5 * (1.0 + erf(distance / (low if distance < 0.0 else high) / ROOT_2)))
    return odds


def age_reached(stage: StageRange, chance: float) -> float:
    """The age in days by which a film has reached the stage with this chance: the inverse of ``odds_reached``."""
    z = NORMAL.inv_cdf(chance)
    return stage.p50_d * math.exp(z * _spread(stage, z))


def still_ahead(stage: StageRange, seen_d: float) -> StageRange:
    """The range of a stage known to be still ahead at age ``seen_d``: every percentile lies after it.

    Percentile q becomes the age t where P(T > t) = (1 - q) P(T > seen_d). A range without spread that the film
    has outlived takes the observer's spread beyond ``seen_d``. No percentile gets earlier than it was.
    """
    if seen_d <= 0.0:
        return stage
    ahead = 1.0 - odds_reached(stage, seen_d)
    values = [_later(stage, seen_d, ahead, q) for q in PERCENTILES]
    return StageRange(*accumulate(values, max))


def after_test(
    stages: dict[Stage, StageRange], observed: FilmState | None, observed_age_d: float | None
) -> dict[Stage, StageRange]:
    """The stage ranges once the painter found the film ``observed`` at ``observed_age_d`` days (None: no test)."""
    if observed is None or observed_age_d is None or observed not in NEXT_STAGE or not stages:
        return stages
    changed = dict(stages)
    anchor = NEXT_STAGE[observed]
    if observed is FilmState.WET:
        ratio = _ratio(stages, Stage.DRY_TO_TOUCH, Stage.SET_TO_TOUCH)
        changed[anchor] = still_ahead(stages[anchor], observed_age_d)
        anchor, observed_age_d = Stage.DRY_TO_TOUCH, observed_age_d * ratio
    changed[anchor] = still_ahead(stages[anchor], observed_age_d)
    if stages[anchor].p50_d <= 0.0:
        return changed
    factor = changed[anchor].p50_d / stages[anchor].p50_d
    order = list(Stage)
    first_later = Stage.DRY_TO_RECOAT if anchor is Stage.DRY_TO_TOUCH else Stage.FINAL_VARNISH
    for later in order[order.index(first_later) :]:
        if later in stages:
            changed[later] = scaled(stages[later], factor)
    return changed


def state_odds(
    stages: dict[Stage, StageRange], age_d: float, observed: FilmState | None, observed_age_d: float | None
) -> dict[FilmState, float]:
    """Chance of each state now; they sum to 1.

    A state softer than the one observed has chance 0; what is left is conditional on what was observed.
    """
    harder = HARDNESS[observed] if observed is not None and observed_age_d is not None else 0
    bounds = (
        (Stage.SET_TO_TOUCH, HARDNESS[FilmState.TACKY]),
        (Stage.DRY_TO_TOUCH, HARDNESS[FilmState.TOUCH_DRY]),
        (Stage.DRY_THROUGH, HARDNESS[FilmState.FIRM]),
    )
    reached: list[float] = []
    for stage, hardness in bounds:
        if hardness <= harder:
            odds = 1.0
        else:
            odds = _odds_since(stages, stage, age_d, (observed, observed_age_d))
        reached.append(min(odds, reached[-1]) if reached else odds)
    tacky, touch, firm = reached
    return {
        FilmState.WET: 1.0 - tacky,
        FilmState.TACKY: tacky - touch,
        FilmState.TOUCH_DRY: touch - firm,
        FilmState.FIRM: firm,
    }


def _odds_since(
    stages: dict[Stage, StageRange], stage: Stage, age_d: float, test: tuple[FilmState | None, float | None]
) -> float:
    """Chance that a stage was reached by now, given that it was still ahead when the painter pressed."""
    observed, seen_d = test
    if observed is None or seen_d is None:
        return odds_reached(stages[stage], age_d)
    shifted = after_test(stages, observed, seen_d)[stage]
    if stage is not NEXT_STAGE.get(observed):
        return odds_reached(shifted, age_d)
    if age_d <= seen_d:
        return 0.0
    before, now = odds_reached(stages[stage], seen_d), odds_reached(stages[stage], age_d)
    if before >= 1.0 - 1e-12:
        return odds_reached(shifted, age_d)
    return (now - before) / (1.0 - before)


def _spread(stage: StageRange, distance: float) -> float:
    if distance < 0.0:
        return math.log(stage.p50_d / stage.p10_d) / Z90 if stage.p10_d > 0.0 else 0.0
    return math.log(stage.p90_d / stage.p50_d) / Z90


def _later(stage: StageRange, seen_d: float, ahead: float, q: float) -> float:
    given = getattr(stage, f"p{round(q * 100):02d}_d")
    tail = (1.0 - q) * ahead
    if tail > 0.0:
        z = -NORMAL.inv_cdf(tail)
        spread = _spread(stage, z)
        if spread > 0.0:
            return float(max(given, stage.p50_d * math.exp(z * spread), seen_d))
    if given > seen_d:
        return float(given)
    # No spread left to go by: half a normal of the observer's spread beyond what was seen.
    return seen_d * math.exp(OBSERVER_SD * NORMAL.inv_cdf(0.5 + q / 2.0))


def _ratio(stages: dict[Stage, StageRange], later: Stage, earlier: Stage) -> float:
    base = stages[earlier].p50_d
    return stages[later].p50_d / base if base > 0.0 else 1.0


def scaled(stage: StageRange, factor: float) -> StageRange:
    """The range with every percentile as many times as late."""
    return StageRange(*(getattr(stage, f"p{round(q * 100):02d}_d") * factor for q in PERCENTILES))
