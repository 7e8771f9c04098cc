"""Tests of a finished picture: what each can show, and what it says of the films below."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from server.science.results import FilmState
from server.science.soundness.facts import DRYING_MATERIALS
from server.science.soundness.types import PaintedLayer, Situation, SwabTest
from server.science.stages import HARDNESS

# What each test can show, what speaks for the picture first.
RESULTS: dict[str, tuple[str, ...]] = {
    "swab": ("clean", "colour", "dull"),
    "thumb": ("no_mark", "mark"),
    "nail": ("no_dent", "dent"),
}
PASSED = frozenset(results[0] for results in RESULTS.values())
PRESSES = frozenset({"thumb", "nail"})  # they tell how hard the paint is; a swab tells whether it may be varnished


@dataclass(frozen=True, slots=True)
class FinishTestMade:
    """One test; ``age_d`` is how old the top layer was then."""

    method: str
    result: str
    age_d: float

    @property
    def passed(self) -> bool:
        return self.result in PASSED


def with_finish_tests(situation: Situation, tests: Sequence[FinishTestMade]) -> Situation:
    """The situation with what the tests showed: the last swab, and what thumb and fingernail say of each film.

    No mark: every film below is firm. A mark: the top one is not, whatever else is not.
    """
    if not tests:
        return situation
    ordered = sorted(tests, key=lambda test: test.age_d)
    swabs = [SwabTest(test.passed, test.age_d) for test in ordered if test.method not in PRESSES]
    stack = list(situation.stack)
    top_d = stack[-1].age_d
    for test in ordered:
        if test.method in PRESSES:
            pressed = range(len(stack)) if test.passed else range(len(stack) - 1, len(stack))
            state = FilmState.FIRM if test.passed else FilmState.TOUCH_DRY
            for place in pressed:
                stack[place] = _pressed(stack[place], state, test.age_d + stack[place].age_d - top_d)
    return replace(situation, stack=tuple(stack), swab=swabs[-1] if swabs else situation.swab)


def _pressed(layer: PaintedLayer, state: FilmState, age_d: float) -> PaintedLayer:
    """The layer with a press of it. The later test counts, of two at once the softer."""
    if layer.material not in DRYING_MATERIALS:
        return layer
    known_d = layer.age_d if layer.observed_age_d is None else layer.observed_age_d
    softer = layer.observed is not None and HARDNESS[layer.observed] < HARDNESS[state]
    if layer.observed is not None and (known_d > age_d or (known_d == age_d and softer)):
        return layer
    return replace(layer, observed=state, observed_age_d=age_d)
