"""Touch tests worth asking about: what is doubtful about them, and that none is ever dropped."""

from datetime import datetime, timedelta, timezone
from typing import Any

import numpy as np
import pytest

from server.science.learning import Ask, Evidence, Felt, Offsets, learn
from server.science.learning.surprise import felt_chances, this_or_more_extreme
from server.services import touch_tests
from server.services.touch_doubts import Doubt
from server.services.touch_tests import TouchTestCreate, TouchTestUpdate
from server.store.tables import Layer
from tests.services.board_studio import trade_fact
from tests.services.conftest import NOW, Bench
from tests.services.test_touch_tests import log

DAY = timedelta(days=1)


def asked(bench: Bench, layer: Layer, stage: str, at: datetime | None = None) -> Doubt | None:
    with bench.db.read() as session:
        command = TouchTestCreate.model_validate({"stage": stage, "pressed_at": at})
        return touch_tests.doubt_about(session, bench.actor, layer.uid, command, NOW)


def test_the_chances_of_the_four_words_are_those_of_draws():
    """Against a plain simulation of the model: layer times, stages and readings drawn one by one."""
    layer = Evidence(4.0, (("studio", 1.0), ("pigment:PW6", 1.0)), offsets=Offsets(-0.6, 0.6))
    learned = learn((), Ask())
    found, noise = learned.predict(layer), learned.settings.sigma_o
    rng = np.random.default_rng(5)
    moment = np.log(4.0) + rng.normal(0, np.sqrt(0.30**2 + 0.35**2 + 0.25**2), 200_000)
    read = np.log(3.0) - moment + rng.normal(0, noise, len(moment))
    drawn = np.bincount(np.searchsorted([-0.6, 0.0, 0.6], read, side="right"), minlength=4) / len(moment)
    assert felt_chances(found, noise, 3.0) == pytest.approx(drawn, abs=0.01)


def test_an_extreme_word_is_the_rarer_side():
    chances = np.array([0.005, 0.1, 0.5, 0.395])
    assert this_or_more_extreme(chances, Felt.WET) == pytest.approx(0.005)
    assert this_or_more_extreme(chances, Felt.TACKY) == pytest.approx(0.105)
    assert this_or_more_extreme(chances, Felt.FIRM) == pytest.approx(0.395)


def test_a_likely_word_is_not_asked_about(bench: Bench):
    _, layer = trade_fact(bench)
    for stage in ("wet", "tacky", "touch_dry"):
        assert asked(bench, layer, stage) is None


def test_a_word_that_hardly_fits_is_asked_about_and_kept_all_the_same(bench: Bench):
    _, layer = trade_fact(bench, NOW - timedelta(hours=3))
    doubt = asked(bench, layer, "firm")
    assert doubt is not None and doubt.kind == "unusual"
    test = log(bench, layer, stage="firm")
    assert (test.stage, test.doubt, test.is_sure) == ("firm", "unusual", False)
    with bench.unit("Confirmed") as work:
        test = touch_tests.confirm(work.session, bench.actor, test.uid)
    assert test.is_sure
    assert log(bench, layer, stage="firm", is_sure=True).is_sure


def test_paint_that_went_back_names_the_other_test(bench: Bench):
    _, layer = trade_fact(bench, NOW - 6 * DAY)
    sooner = log(bench, layer, stage="touch_dry", pressed_at=NOW - DAY)
    assert sooner.doubt == ""
    doubt = asked(bench, layer, "tacky")
    assert doubt is not None and (doubt.kind, doubt.other_uid, doubt.other_stage) == ("softer", sooner.uid, "touch_dry")
    # Two readings of one round are two readings.
    assert asked(bench, layer, "tacky", NOW - DAY + timedelta(minutes=30)) is None
    # And from the other side: a test of an earlier moment, entered late.
    log(bench, layer, stage="tacky", pressed_at=NOW - 2 * DAY)
    late = asked(bench, layer, "touch_dry", NOW - 3 * DAY)
    assert late is not None and late.other_stage == "tacky"


def test_day_and_month_turned_round_are_offered_the_other_way(bench: Bench):
    """Pressed on 6 May, typed as 5 June: a month later it would hardly be tacky still."""
    _, layer = trade_fact(bench, datetime(2026, 5, 3, 9, tzinfo=timezone.utc))
    typed = datetime(2026, 6, 5, 10, tzinfo=timezone.utc)
    doubt = asked(bench, layer, "tacky", typed)
    assert doubt is not None and doubt.kind == "date"
    assert doubt.instead is not None and doubt.instead.date().isoformat() == "2026-05-06"
    assert asked(bench, layer, "firm", typed) is None


def test_a_correction_is_asked_about_without_the_test_it_corrects(bench: Bench):
    _, layer = trade_fact(bench)
    test = log(bench, layer, stage="touch_dry")
    values: dict[str, Any] = {"stage": "tacky", "version": test.version}
    with bench.db.read() as session:
        command = TouchTestUpdate.model_validate(values)
        assert touch_tests.doubt_about_change(session, bench.actor, test.uid, command, NOW) is None


def test_a_press_that_the_model_was_sure_of_is_believed_after_its_presses(bench: Bench):
    """A layer already found wet on day six is no longer thought to be touch-dry on day four."""
    _, layer = trade_fact(bench, NOW - 8 * DAY)
    log(bench, layer, stage="wet", pressed_at=NOW - 2 * DAY)
    assert asked(bench, layer, "tacky") is None
