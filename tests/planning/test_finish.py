"""The rest before varnish. Six months: Parkhurst 1898 and Peale's notes; a year for thick films: common practice, no
source; in proportion between: our choice."""

import pytest

from server.planning.finish import varnish_rest_d
from server.science.soundness import DEFAULT


@pytest.mark.parametrize(
    ("film_um", "richest", "days"),
    [(20.0, 1.0, 180.0), (100.0, 1.3, 180.0), (200.0, 1.0, 272.5), (300.0, 1.0, 365.0), (2000.0, 1.0, 365.0)],
)
def test_rest_by_thickness(film_um, richest, days):
    assert varnish_rest_d(film_um, richest) == pytest.approx(days)


def test_a_rich_film_rests_a_year_however_thin():
    assert varnish_rest_d(10.0, 1.31) == 365.0


def test_a_studio_s_own_limits_count():
    limits = DEFAULT.edited({"varnish_thin_d": 90.0, "varnish_rich": 1.5, "varnish_thin_um": 300.0})
    assert varnish_rest_d(300.0, 1.4, limits) == 90.0  # thin ends where thick begins
    assert varnish_rest_d(301.0, 1.4, limits) == 365.0
    limits = DEFAULT.edited({"varnish_thin_d": 90.0, "varnish_rich": 1.5})
    assert varnish_rest_d(50.0, 1.4, limits) == 90.0
