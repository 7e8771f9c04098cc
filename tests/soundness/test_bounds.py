"""Bounds belong to the lighter side, as the rules are written: at the bound, and just beyond it. Basis: derived."""

import pytest

from server.science.recipe import Addition, AdditionKind
from server.science.soundness import Action, GroundFacts, Severity
from tests.soundness.builders import (
    THROUGH_D,
    TOUCH_DRY_D,
    ask,
    coming,
    layer,
    mix,
    more,
    oil,
    severity,
    solvent,
    there,
    times,
    tube,
)

SOUND, NOTE, CAUTION, STOP = Severity.SOUND, Severity.NOTE, Severity.CAUTION, Severity.STOP
SEALED = GroundFacts("none", None, "sealed")


def share(part: float) -> float:
    """Parts to ten of paint that are this share of both."""
    return 10.0 * part / (1.0 - part)


def over(lower, upper):
    return ask([lower], upper)


def wax(part: float):
    return coming(layer(mix(oil(10.0 * (1.0 - part)), more(AdditionKind.WAX, 10.0 * part))))


def resin(part: float):
    return coming(layer(mix(oil(10.0 * (1.0 - part)), more(AdditionKind.SOFT_RESIN, 10.0 * part)), um=10.0))


def clove(drops: float):
    return coming(layer(mix(Addition(AdditionKind.CLOVE_OIL, drops_per_10_ml=drops))))


JUST = 1e-4
CASES = [
    # rule, situation from a number, the bound, what holds at it, what holds beyond it
    ("R02", lambda x: over(there(age_d=TOUCH_DRY_D), coming(stages=times(4.0 * x))), 0.7, SOUND, CAUTION, -1),
    ("R02", lambda x: over(there(age_d=TOUCH_DRY_D), coming(stages=times(4.0 * x))), 0.4, CAUTION, STOP, -1),
    ("R06", lambda x: over(there(layer(um=x), TOUCH_DRY_D), coming()), 500.0, SOUND, STOP, 1),
    ("R07", lambda x: over(there(layer(um=x), TOUCH_DRY_D), coming(layer(um=40.0))), 150.0, SOUND, CAUTION, 1),
    ("R07", lambda x: over(there(layer(um=x), TOUCH_DRY_D), coming(layer(um=60.0))), 180.0, SOUND, CAUTION, 1),
    ("R08", lambda x: ask((), coming(layer(mix(oil(share(x)))))), 0.20, SOUND, NOTE, 1),
    ("R08", lambda x: ask((), coming(layer(mix(oil(share(x)))))), 0.25, NOTE, CAUTION, 1),
    ("R08", lambda x: ask((), coming(layer(mix(oil(share(x)))))), 0.40, CAUTION, STOP, 1),
    ("R08", lambda x: ask((), coming(layer(mix(oil(10)), um=x))), 15.0, NOTE, STOP, 1),
    ("R09", lambda x: ask((), coming(layer(mix(oil(3)), um=x))), 100.0, SOUND, CAUTION, 1),
    ("R09", lambda x: ask((), coming(layer(mix(oil(3)), um=x))), 300.0, CAUTION, STOP, 1),
    ("R09", lambda x: ask((), coming(layer(mix(oil(share(x))), um=200.0))), 0.15, SOUND, CAUTION, 1),
    ("R10", lambda x: ask((), coming(layer(mix(solvent(share(x))))), ground=SEALED), 0.30, SOUND, CAUTION, 1),
    ("R10", lambda x: ask((), coming(layer(mix(solvent(share(x))))), ground=SEALED), 0.60, CAUTION, STOP, 1),
    ("R11", lambda x: over(there(age_d=TOUCH_DRY_D), coming(layer(mix(solvent(share(x)))))), 0.20, SOUND, CAUTION, 1),
    ("R11", lambda x: over(there(age_d=TOUCH_DRY_D), coming(layer(mix(solvent(share(x)))))), 0.40, CAUTION, STOP, 1),
    ("R14", lambda x: over(there(age_d=x), coming()), 180.0, SOUND, CAUTION, 1),
    ("R14", lambda x: over(there(layer(mix(oil(share(x)))), THROUGH_D), coming()), 0.25, SOUND, CAUTION, 1),
    ("R18", lambda x: ask((), resin(x)), 0.05, SOUND, CAUTION, 1),
    ("R19", lambda x: ask((), wax(x)), 0.10, SOUND, NOTE, 1),
    ("R19", lambda x: ask((), wax(x)), 0.20, NOTE, CAUTION, 1),
    ("R24", lambda x: ask((), coming(), ground=GroundFacts("acrylic", x)), 3.0, NOTE, STOP, -1),
    ("R24", lambda x: ask((), coming(), ground=GroundFacts("acrylic", x)), 14.0, SOUND, NOTE, -1),
    ("R25", lambda x: ask((), coming(), ground=GroundFacts("oil", x)), 14.0, NOTE, CAUTION, -1),
    ("R25", lambda x: ask((), coming(), ground=GroundFacts("oil", x)), 180.0, SOUND, NOTE, -1),
    ("R26", lambda x: over(there(layer(mix(paint=tube("PBk9")), um=x), TOUCH_DRY_D), coming()), 40.0, SOUND, NOTE, 1),
    ("R28", lambda x: ask((), clove(x)), 1.0, SOUND, CAUTION, 1),
    ("R03", lambda x: over(there(age_d=x), coming()), 6.4, SOUND, STOP, -1),
    ("R35", lambda x: ask([there(age_d=x)], None, Action.FINAL_VARNISH), 180.0, CAUTION, STOP, -1),
    ("R36", lambda x: ask([there(age_d=x)], None, Action.WRAP), 19.2 + 30.0, SOUND, STOP, -1),
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case[0]} at {case[2]:g}")
def test_the_bound_belongs_to_the_lighter_side(case):
    rule, situation, bound, within, beyond, way = case
    assert severity(situation(bound), rule) is within
    assert severity(situation(bound + way * JUST * bound), rule) is beyond


def test_from_a_third_of_wax_on_canvas_is_a_stop():
    # The one bound that belongs to the heavier side: "a third", from 0.33 on.
    assert severity(ask((), wax(0.33), support="stretched"), "R19") is STOP
    assert severity(ask((), wax(0.3299), support="stretched"), "R19") is CAUTION
