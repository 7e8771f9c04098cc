"""Tests of finished pictures re-fit the model too: a swab that takes colour tells of slow paint.

Basis: common practice, no source (scenario A33: varnish asked on day 185, the swab shows colour: not ready, and the
studio's factor is moved); how widely a swab is read is a choice of ours.
"""

from datetime import timedelta

import pytest

from server.science.learning import Felt
from server.services import finish_tests
from server.services.finish_tests import FinishTestCreate
from server.store.tables import FinishTest, Panel
from tests.services.conftest import NOW, Bench
from tests.services.test_learning import book_days, read, slow_layers, touch_days

OLD_D = 185.0


@pytest.fixture
def old(bench: Bench) -> Panel:
    """A picture of one layer, 185 days old, and a fresh one beside it."""
    panel = bench.panel(title="Old")
    bench.painted(panel, OLD_D)
    bench.painted(bench.panel(title="Fresh"), 0.5)
    return panel


def log(bench: Bench, panel: Panel, method: str, result: str, days_ago: float = 0.0) -> FinishTest:
    with bench.unit("Tested") as work:
        command = FinishTestCreate(method=method, result=result, tested_at=NOW - timedelta(days=days_ago))
        return finish_tests.log(work.session, bench.actor, panel.uid, command, NOW)


def test_a33_a_swab_with_colour_moves_the_studio_and_taking_it_back_moves_it_back(bench, old):
    before = touch_days(bench, "Fresh")
    swab = log(bench, old, "swab", "colour")
    after = touch_days(bench, "Fresh")
    assert all(late > early for late, early in zip(after, before, strict=True))
    # One swab is weak evidence: it moves the date, it does not overthrow it.
    assert 1.05 * before[1] < after[1] < 1.5 * before[1]
    found = read(bench)
    assert found.learned is not None and found.tests == 1
    assert {effect.name: effect for effect in found.learned.effects()}["studio"].mean > 0
    with bench.unit("Mistaken") as work:
        finish_tests.archive(work.session, bench.actor, swab.uid)
    assert touch_days(bench, "Fresh") == before


def test_a_dull_spot_counts_as_colour_does_and_a_clean_swab_at_its_time_says_next_to_nothing(bench, old):
    before = touch_days(bench, "Fresh")
    log(bench, old, "swab", "clean")
    assert touch_days(bench, "Fresh") == before  # never found soft: it could have been dry for months
    log(bench, old, "swab", "dull", days_ago=1)
    assert touch_days(bench, "Fresh")[1] > before[1]


def test_a_dent_under_the_nail_teaches_as_a_finger_does(bench):
    panel = bench.panel(title="Dented")
    bench.painted(panel, 20)
    bench.painted(bench.panel(title="Fresh"), 0.5)
    before = touch_days(bench, "Fresh")[1]
    log(bench, panel, "nail", "dent")
    assert touch_days(bench, "Fresh")[1] > 1.1 * before
    [evidence] = read(bench).evidence
    [press] = evidence.presses
    assert (press.felt, press.blur) == (Felt.TOUCH_DRY, 0.0)


def test_many_touch_tests_hold_the_studio_against_one_swab(bench, old):
    slow_layers(bench)
    before = touch_days(bench, "Fresh")[1]
    log(bench, old, "swab", "colour")
    assert before < touch_days(bench, "Fresh")[1] < 1.15 * before


def test_a_swab_within_the_fixed_days_of_a_varnish_says_nothing_of_drying(bench):
    young = bench.panel(title="Young")
    layer = bench.painted(young, 40)
    bench.painted(bench.panel(title="Fresh"), 0.5)
    assert book_days(bench, layer) < 40
    before = touch_days(bench, "Fresh")
    log(bench, young, "swab", "colour")
    assert touch_days(bench, "Fresh") == before


def test_a_mark_under_the_thumb_speaks_of_the_layer_that_was_on_top_then(bench):
    panel = bench.panel(title="Two layers")
    bench.painted(panel, 60)
    log(bench, panel, "thumb", "mark", days_ago=20)
    top = bench.painted(panel, 10)
    found = read(bench)
    assert [uid for uid, _ in found.units] != [top.uid] and found.layers == 1
