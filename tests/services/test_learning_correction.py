"""Promises that were off by more than chance: new ones are put right, those that were made stay."""

from dataclasses import replace
from math import log

import numpy as np
import pytest
from sqlalchemy import select

from bench.learning_studios import make
from server.science.learning import STANDARD
from server.science.learning.scoring import FEWEST, Promise
from server.science.results import LayerEstimate
from server.services import learning_data, learning_report
from server.services.climates import room_in
from server.services.forecasts import FORECASTS, Question
from server.services.learning import Asked, applied
from server.services.learning_correction import (
    Correction,
    correction_of,
    percent_later,
    raw_promise,
    told_promise,
)
from server.services.recipes import layer_from_json
from server.store.tables import Layer
from server.web import learning_words
from tests.services.conftest import Bench
from tests.services.test_learning import PRAGUE, WHERE, read, slow_layers


def promises(late: float, width: float, count: int = 60) -> list[Promise]:
    """Promises of sd .35 that are ``late`` sds too early and ``width`` of the sd they should tell."""
    studio, rng = make(7, count), np.random.default_rng(7)
    return [
        Promise(float(moment + rng.normal(0, 0.35) - late * 0.35), 0.35 * width, layer)
        for moment, layer in zip(studio.log_dry, studio.layers, strict=True)
    ]


def test_honest_promises_are_left_alone_and_too_few_say_nothing():
    assert correction_of(promises(0.0, 1.0), STANDARD) is None
    assert correction_of(promises(2.0, 1.0, FEWEST - 1), STANDARD) is None


def test_early_promises_are_put_later_and_narrow_ones_wider():
    early = correction_of(promises(1.0, 1.0), STANDARD)
    assert early is not None and early.delta == pytest.approx(1.0, abs=0.35)
    assert percent_later(early) == pytest.approx(100 * (np.exp(0.35) - 1), abs=15)
    narrow = correction_of(promises(0.0, 0.5), STANDARD)
    assert narrow is not None and narrow.kappa > 1.3
    assert narrow.of(1.0, 0.2) == pytest.approx((1.0 + 0.2 * narrow.delta, 0.2 * narrow.kappa))


def test_a_correction_is_never_corrected_again():
    kept = told_promise(1.0, 0.2, Correction(0.5, 1.2, 0.1, 40))
    assert kept == {"log_mean": 1.1, "log_sd": 0.24, "raw_log_mean": 1.0, "raw_log_sd": 0.2}
    about = {"book_touch_dry_d": 3.0, "offsets": {"tacky": -0.5, "firm": 0.5}}
    assert raw_promise({**kept, **about}, ()).log_mean == 1.0
    assert raw_promise({**told_promise(1.0, 0.2, None), **about}, ()).log_sd == 0.2


def test_only_films_that_were_never_pressed_are_corrected(bench: Bench):
    layer = slow_layers(bench)[0]
    studio = replace(read(bench), correction=Correction(1.0, 1.25, 0.3, 40))
    with bench.db.read() as session:
        stored = session.scalars(select(Layer).where(Layer.uid == layer.uid)).one()  # type: ignore[arg-type]
        assert stored.recipe_json is not None and stored.painted_at is not None
        pair = layer_from_json(stored.recipe_json), room_in(WHERE.climate, stored.painted_at, PRAGUE)
    [book] = FORECASTS.ask([Question(pair, lambda: pair)])
    assert isinstance(book, LayerEstimate)
    plain, right = (replace(studio, correction=found) for found in (None, studio.correction))
    told = [each.of(WHERE).promised(book, *pair) for each in (plain, right)]
    assert told[1]["log_mean"] == pytest.approx(told[0]["log_mean"] + told[0]["log_sd"], abs=1e-5)
    assert told[1]["raw_log_mean"] == told[0]["log_mean"]
    moved = applied(
        [Asked(each.of(WHERE), book, ("a layer", number), lambda: pair) for number, each in enumerate((plain, right))]
    )
    before, after = (found.regions[0].stages for found in moved)
    shift = [log(after[stage].p50_d / before[stage].p50_d) for stage in before if stage.value == "dry_to_touch"]
    assert shift[0] == pytest.approx(told[0]["log_sd"], rel=0.15)


def test_what_was_promised_is_read_back_with_its_layer(bench: Bench):
    slow_layers(bench)
    with bench.db.read() as session:
        rows = session.execute(learning_data.tested_layers(bench.actor.studio_id, ())).all()
        assert all('"log_mean"' in row.promise_text for row in rows)
        report = learning_report.report(session, bench.actor, PRAGUE)
    # Four layers that were promised by the book alone correct nothing.
    assert report.correction is None and learning_words.correction_words(report) == ""
    off = replace(report, correction=Correction(0.3, 1.3, 0.06, 40))
    assert learning_words.correction_words(off) == (
        "Your dates have run 6 % early and your ranges were too narrow; the dates of new layers are corrected for it. "
        "What was promised stays."
    )
