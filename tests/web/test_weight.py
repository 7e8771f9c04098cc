"""Pages stay light: a studio of fifty panels, six layers each, on every way of looking at it.

The limits are ours: a page that a phone in the studio reads at once over a slow line.
"""

import gzip
from collections.abc import Iterator

import pytest

from bench.pages import Pages, pages

PANELS = 50
LIMIT = 150_000
VIEWS = ("season", "month", "week", "agenda")


@pytest.fixture(scope="module")
def large() -> Iterator[Pages]:
    with pages(PANELS) as opened:
        yield opened


@pytest.mark.parametrize("path", ["/", "/panels", *(f"/calendar?view={view}" for view in VIEWS)])
def test_fifty_panels_are_a_light_page(large: Pages, path: str):
    page = large.get(path)
    assert all(f"Panel {number}<".encode() in page or b"agenda" in path.encode() for number in range(PANELS))
    assert len(page) < LIMIT


def test_today_is_light_as_it_is_sent(large: Pages):
    assert len(gzip.compress(large.get("/"), 6)) < 25_000


def test_a_year_is_hardly_heavier(large: Pages):
    """Thirteen months show most films there are."""
    assert len(large.get("/calendar?view=year")) < 1.1 * LIMIT
