"""Every published value of drying_checks.csv against the model. Each row names its source.

A row out of range stands in KNOWN_MISSES with the model's figure. A listed row that comes into range fails here, so
that it is moved.
"""

import pytest

from tests.science.published import Check, checks, model_value

CHECKS = checks()

# row: the model's figure, in the row's unit, and what is wrong
KNOWN_MISSES = {
    27: (24.608, "little lead: the real law is less steep at small doses"),
    41: (27.007, "heavy stand oil in a thick film stays tacky longer"),
    54: (3.182, "one hand-mulled swatch of lapis"),
    55: (3.818, "one hand-mulled swatch of vermilion"),
    56: (1.273, "one hand-mulled swatch of minium"),
}


def named(check: Check) -> str:
    return f"{check.id}-{check.source}".replace(" ", "_")


@pytest.mark.parametrize("check", [c for c in CHECKS if c.id not in KNOWN_MISSES], ids=named)
def test_published_value_is_met(check: Check):
    figure = model_value(check)
    assert check.low <= figure <= check.high, f"{check.condition}: {figure:.3f} {check.unit} ({check.source})"


@pytest.mark.parametrize("check", [c for c in CHECKS if c.id in KNOWN_MISSES], ids=named)
def test_known_miss_still_misses_by_the_same_figure(check: Check):
    figure = model_value(check)
    assert not check.low <= figure <= check.high, f"row {check.id} is in range now: take it out of the known misses"
    assert figure == pytest.approx(KNOWN_MISSES[check.id][0], rel=1e-3), check.source


def test_enough_published_values_are_met():
    assert len(CHECKS) == 44
    assert len(CHECKS) - len(KNOWN_MISSES) >= 39
    assert set(KNOWN_MISSES) <= {c.id for c in CHECKS}


def test_every_row_has_a_range_and_a_source():
    for check in CHECKS:
        assert check.low < check.high
        assert check.source
        assert check.condition
