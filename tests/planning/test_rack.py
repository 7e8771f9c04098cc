"""The rack, against the counted case: 12 wet panels and 8 places wait for 4 (derived)."""

import pytest

from server.planning.rack import to_come_free


@pytest.mark.parametrize(("wet", "places", "free"), [(12, 8, 4), (8, 8, 1), (7, 8, 0), (0, 1, 0)])
def test_a37_a_full_rack_takes_nothing_new(wet: int, places: int, free: int):
    assert to_come_free(wet, places) == free
