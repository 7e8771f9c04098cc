"""The one place that decides whether a layer may be painted on: every screen asks it.

A layer is *ready* when it has passed dry-to-touch nine times in ten, or the painter's own touch test says touch-dry or
firm, and no rule says stop. *Test first* holds from the age at which one film in ten is dry until then. What a touch
test does to the ranges is told in ``server.science.stages``: it wins, and an old "tacky" does not hold for ever.
"""

from dataclasses import dataclass
from enum import StrEnum

from server.science.results import FilmState, Stage, StageRange
from server.science.soundness.compare import TOLERANCE
from server.science.soundness.types import Severity
from server.science.stages import HARDNESS, after_test, odds_reached, state_odds

__all__ = ["Readiness", "ReadyStatus", "likely_state", "odds_reached", "readiness"]


class ReadyStatus(StrEnum):
    READY = "ready"
    TEST_FIRST = "test"
    RESTS = "rests"
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True)
class Readiness:
    """Where a layer stands. Ages and dates are days after it was painted; a date may lie in the past.

    ``state`` is what the film most likely is now (by the centre of each stage, or as the painter found it), ``odds``
    the chance of each state, summing to 1. ``ready_from_d`` is when it counts as ready without a test (p90 of
    dry-to-touch), or when the painter found it dry; ``best_from_d`` the central dry-to-recoat. ``stages`` are the
    ranges as the touch test left them. ``tested`` says that the painter's test, not the model, decided.
    """

    status: ReadyStatus
    state: FilmState
    odds: dict[FilmState, float]
    test_from_d: float
    ready_from_d: float
    best_from_d: float
    stages: dict[Stage, StageRange]
    tested: bool


def readiness(
    stages: dict[Stage, StageRange],
    age_d: float,
    observed: FilmState | None,
    observed_age_d: float | None,
    verdict: Severity,
) -> Readiness:
    """Decide where a layer stands.

    ``stages``: the model's ranges; ``age_d``: age now; ``observed`` and ``observed_age_d``: the latest touch test and
    how old the layer was then (None: no test, or, for the age alone, pressed just now). ``verdict`` is the worst the
    rules say of the next layer; while the film is not touch-dry the layer rests whatever it is, since the rule that
    stops it then says the same. A test from later than ``age_d`` is not known yet and counts for nothing.
    """
    seen_d = age_d if observed is not None and observed_age_d is None else observed_age_d
    if seen_d is not None and seen_d > age_d + TOLERANCE:
        observed, seen_d = None, None
    found = after_test(stages, observed, seen_d)
    touch = found[Stage.DRY_TO_TOUCH]
    pressed_dry = observed is not None and HARDNESS[observed] >= HARDNESS[FilmState.TOUCH_DRY]
    by_age = age_d >= touch.p90_d - TOLERANCE
    if pressed_dry or by_age:
        status = ReadyStatus.STOPPED if verdict is Severity.STOP else ReadyStatus.READY
    else:
        status = ReadyStatus.TEST_FIRST if age_d >= touch.p10_d - TOLERANCE else ReadyStatus.RESTS
    ready_from_d = min(seen_d, touch.p90_d) if pressed_dry and seen_d is not None else touch.p90_d
    return Readiness(
        status=status,
        state=likely_state(found, age_d, observed),
        odds=state_odds(stages, age_d, observed, seen_d),
        test_from_d=min(touch.p10_d, ready_from_d),
        ready_from_d=ready_from_d,
        best_from_d=found[Stage.DRY_TO_RECOAT].p50_d,
        stages=found,
        tested=pressed_dry and not by_age,
    )


def likely_state(stages: dict[Stage, StageRange], age_d: float, observed: FilmState | None) -> FilmState:
    """The state at the centre of the ranges, never softer than the painter found it."""
    state = FilmState.WET
    for stage, reached in (
        (Stage.SET_TO_TOUCH, FilmState.TACKY),
        (Stage.DRY_TO_TOUCH, FilmState.TOUCH_DRY),
        (Stage.DRY_THROUGH, FilmState.FIRM),
    ):
        if age_d >= stages[stage].p50_d - TOLERANCE:
            state = reached
    if observed is not None and HARDNESS[observed] > HARDNESS[state]:
        return observed
    return state
