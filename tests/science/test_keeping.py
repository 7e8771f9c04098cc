"""How a mix keeps: the factors as the table says, the cap, and what gains little. Rule of thumb, no source."""

import pytest

from server.science.estimate import estimate
from server.science.keeping import KeptIn, keeps
from server.science.recipe import MixRecipe
from server.science.results import Stage
from tests.science import layers as make


def kept(mix: MixRecipe) -> dict[KeptIn, float]:
    stages = estimate(make.layer(50.0, mix), make.room()).stages
    return {each.kept_in: each.use_by_d / stages[Stage.SET_TO_TOUCH].p10_d for each in keeps(mix, stages)}


def test_cover_and_cold_stretch_the_open_time():
    folds = kept(make.mix(make.paint(1, "PB29")))
    assert list(folds) == list(KeptIn)
    assert folds[KeptIn.PALETTE] == pytest.approx(1)
    assert folds[KeptIn.COVERED] == pytest.approx(1.5)
    assert list(folds.values()) == sorted(folds.values())


def test_nothing_is_said_to_keep_longer_than_three_weeks():
    slow = make.mix(make.paint(1, "PBk9", oil="safflower"))
    stages = estimate(make.layer(500.0, slow), make.room(5.0)).stages
    assert max(each.use_by_d for each in keeps(slow, stages)) == 21


def test_a39_a_mix_with_alkyd_gains_little_in_the_freezer_and_is_likely_past_after_four_days():
    """Conservators' answer in a public forum, second-hand: paints with driers or alkyd gain little from cold."""
    mix = make.mix(make.paint(4, "PW6"), make.alkyd(1))
    stages = estimate(make.layer(50.0, mix), make.room()).stages
    freezer = keeps(mix, stages)[-1]
    assert freezer.kept_in is KeptIn.FREEZER
    assert freezer.gains_little
    assert freezer.is_likely_past(4.0)
    plain = make.mix(make.paint(4, "PW6"))
    plain_freezer = keeps(plain, estimate(make.layer(50.0, plain), make.room()).stages)[-1]
    assert not plain_freezer.gains_little
    assert not plain_freezer.is_likely_past(4.0)
