"""From when a picture may be varnished, framed, wrapped and sent.

Six months: Parkhurst 1898 and Peale's notes; a year for thick or rich films: common practice, no source; in proportion
between 100 and 300 um: our choice. Thirty days between dry-through and wrapping: common practice, no source.
"""

from dataclasses import replace

import pytest

from server.planning.finish import first_day
from server.science.results import FilmState, Stage
from server.science.soundness import DEFAULT, Action, SwabTest, check
from tests.soundness.builders import ask, layer, mix, oil, there, times


def first(action: Action, *stack, **fields):
    return first_day(ask(stack, None, action, **fields))


@pytest.mark.parametrize(
    ("wet_um", "days"), [(20.0, 180.0), (100.0, 180.0), (200.0, 272.5), (300.0, 365.0), (2000.0, 365.0)]
)
def test_the_custom_by_thickness(wet_um, days):
    quick = times(1.0, 2.0)
    found = first(Action.FINAL_VARNISH, there(layer(um=wet_um), 10.0, quick))
    assert found is not None
    assert (found.low_d, found.central_d, found.high_d) == pytest.approx((days, days, days))


def test_a_rich_film_waits_a_year_however_thin():
    rich = layer(mix(oil(4.0)), um=10.0)  # ten parts of paint and four of oil: richness 1.4
    found = first(Action.FINAL_VARNISH, there(rich, 10.0, times(1.0, 2.0)))
    assert found is not None and found.low_d == 365.0


def test_the_model_s_date_counts_where_it_is_later_than_the_custom():
    slow = times(20.0, 60.0)  # final varnish at its centre: 60 + 4 x 60 = 300 d
    found = first(Action.FINAL_VARNISH, there(layer(um=50.0), 10.0, slow))
    assert found is not None
    stage = slow[Stage.FINAL_VARNISH]
    assert (found.central_d, found.high_d) == (stage.p50_d, stage.p90_d)
    assert found.low_d == max(180.0, stage.p10_d)


def test_never_varnished_before_it_is_dry_through():
    """A very thick film: its varnish stage leaves out what lies deeper than 200 um, its dry-through does not."""
    deep = times(14.0, 900.0) | {Stage.FINAL_VARNISH: times(14.0, 100.0)[Stage.FINAL_VARNISH]}
    found = first(Action.FINAL_VARNISH, there(layer(um=600.0), 10.0, deep))
    assert found is not None
    through = deep[Stage.DRY_THROUGH]
    assert (found.low_d, found.central_d, found.high_d) == (through.p10_d, through.p50_d, through.p90_d)


def test_an_older_film_below_counts_from_its_own_painting():
    below = there(layer(um=300.0), 110.0, times(10.0, 200.0))
    found = first(Action.STACK, below, there(age_d=10.0, stages=times(1.0, 2.0)))
    assert found is not None and found.central_d == pytest.approx(200.0 - 100.0)


@pytest.mark.parametrize(
    ("action", "wait_d"),
    [
        (Action.FRAME, 4.0 + 14.0),
        (Action.SHIP, 4.0),
        (Action.STACK, 12.0),
        (Action.FRAME_GLAZED, 12.0),
        (Action.WRAP, 12.0 + 30.0),
        (Action.TEMPORARY_VARNISH, 14.0),
    ],
)
def test_handling(action, wait_d):
    found = first(action, there(age_d=1.0, stages=times(4.0, 12.0)))
    assert found is not None and found.central_d == pytest.approx(wait_d)


def test_oil_as_the_last_thing_has_no_day_and_bare_ground_neither():
    assert first(Action.OIL_OUT, there(age_d=400.0)) is None
    assert first(Action.FINAL_VARNISH) is None


def test_found_firm_it_may_be_wrapped_thirty_days_on():
    firm = there(age_d=12.0, stages=times(4.0, 60.0), observed=FilmState.FIRM, observed_age_d=10.0)
    found = first(Action.WRAP, firm)
    assert found is not None and found.high_d == pytest.approx(40.0)


def test_a_swab_that_took_colour_asks_for_another_month():
    """Thirty days to the next swab: our choice, no source."""
    last = there(layer(um=60.0), 185.0)
    found = first(Action.FINAL_VARNISH, last, swab=SwabTest(clean=False, age_d=185.0))
    assert found is not None and found.low_d == pytest.approx(215.0)


def test_a_studio_s_own_limits_count():
    last = there(layer(um=50.0), 10.0, times(1.0, 2.0))
    limits = DEFAULT.edited({"varnish_thin_d": 90.0})
    found = first_day(ask([last], None, Action.FINAL_VARNISH), limits)
    assert found is not None and found.low_d == 90.0


@pytest.mark.parametrize("action", [action for action in Action if action not in {Action.SHIP, Action.OIL_OUT}])
def test_from_the_last_of_its_days_no_rule_stops_it(action):
    """The range and the gate are one: past the p90 day the gate stands open, but for the test."""
    last = there(layer(um=60.0), 1.0, times(5.0, 40.0))
    found = first_day(ask([last], None, action))
    if found is None:
        return
    opened = check(ask([replace(last, age_d=found.high_d)], None, action))
    assert all(finding.severity.value != "stop" for finding in opened.findings)
