"""The painter's own swab in the gate of a final varnish: scenario A33, and what comes before its time."""

from dataclasses import replace

import pytest

from server.science.soundness import Action, Severity, SwabTest, check
from tests.soundness.builders import ask, found, layer, severity, there

STOP, CAUTION, NOTE = Severity.STOP, Severity.CAUTION, Severity.NOTE


def test_a33_a_swab_after_the_wait_decides():
    """Common practice: colour on the swab means wait; a clean one leaves only a note."""
    last = there(layer(um=60.0), 185.0)
    asked = ask([last], None, Action.FINAL_VARNISH)
    untested = found(check(asked), "R35")
    assert untested is not None and untested.severity is CAUTION
    dirty = found(check(replace(asked, swab=SwabTest(clean=False, age_d=185.0))), "R35")
    assert dirty is not None and dirty.severity is STOP
    assert dirty.remedy is not None and dirty.remedy.not_before_d == pytest.approx(215.0)
    assert "swab took colour" in dirty.reason
    clean = found(check(replace(asked, swab=SwabTest(clean=True, age_d=185.0))), "R35")
    assert clean is not None and clean.severity is NOTE


def test_a_swab_before_the_wait_is_over_does_not_count():
    early = ask([there(layer(um=60.0), 185.0)], None, Action.FINAL_VARNISH, swab=SwabTest(clean=True, age_d=100.0))
    finding = found(check(early), "R35")
    assert finding is not None and finding.severity is CAUTION
    still = ask([there(layer(um=60.0), 150.0)], None, Action.FINAL_VARNISH, swab=SwabTest(clean=True, age_d=150.0))
    assert severity(still, "R35") is STOP
