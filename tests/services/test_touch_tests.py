"""Touch tests: logged with one tap, corrected, taken back."""

from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pydantic import ValidationError

from server.science.results import FilmState
from server.services import board, layers, panels, touch_tests
from server.services.errors import Conflict, Invalid, NotFound, Refused
from server.services.touch_tests import TouchTestCreate, TouchTestUpdate
from server.store.tables import Layer, Panel, TouchTest
from tests.services.conftest import NOW, Bench

DAY = timedelta(days=1)


def log(bench: Bench, layer: Layer, **values: Any) -> TouchTest:
    command = TouchTestCreate(**({"stage": "tacky"} | values))
    with bench.unit("Touch test") as work:
        return touch_tests.log(work.session, bench.actor, layer.uid, command, now=NOW)


def change(bench: Bench, test: TouchTest, **values: Any) -> TouchTest:
    command = TouchTestUpdate(**({"stage": test.stage, "version": test.version} | values))
    with bench.unit("Corrected") as work:
        return touch_tests.update(work.session, bench.actor, test.uid, command, now=NOW)


def counted(bench: Bench, layer: Layer) -> list[str]:
    with bench.db.read() as session:
        return [test.stage for test in touch_tests.of_layer(session, bench.actor, layer.uid)]


def test_one_tap_is_now(bench: Bench) -> None:
    layer = bench.painted(bench.panel(), 3)
    test = log(bench, layer)
    assert (test.stage, test.pressed_at, test.place_on_panel, test.note) == ("tacky", NOW, "", "")


def test_a_test_is_kept_as_typed_and_in_order_of_time(bench: Bench) -> None:
    layer = bench.painted(bench.panel(), 3)
    log(bench, layer, stage="touch_dry", place_on_panel="lower left", note="a little\npull")
    test = log(bench, layer, stage="wet", pressed_at=NOW - 2 * DAY)
    assert test.pressed_at == NOW - 2 * DAY
    assert counted(bench, layer) == ["wet", "touch_dry"]


def test_a_test_is_corrected(bench: Bench) -> None:
    test = log(bench, bench.painted(bench.panel(), 3), note="x", pressed_at=NOW - DAY)
    after = change(bench, test, stage="firm", note="y")
    assert (after.stage, after.note, after.pressed_at, after.version) == ("firm", "y", NOW - DAY, 2)


def test_the_second_of_two_tabs_is_told(bench: Bench) -> None:
    test = log(bench, bench.painted(bench.panel(), 3))
    change(bench, test, stage="firm")
    stale = TouchTestUpdate(stage="wet", version=1)
    with pytest.raises(Conflict) as caught, bench.unit() as work:
        touch_tests.update(work.session, bench.actor, test.uid, stale, now=NOW)
    assert caught.value.fields == ("stage",)
    assert caught.value.current["stage"] == "firm"


def test_a_mistaken_test_is_taken_back_and_counts_again(bench: Bench) -> None:
    layer = bench.painted(bench.panel(), 3)
    test = log(bench, layer)
    with bench.unit() as work:
        touch_tests.archive(work.session, bench.actor, test.uid)
    assert counted(bench, layer) == []
    with bench.db.read() as session:
        assert [found.uid for found in touch_tests.all_archived(session, bench.actor)] == [test.uid]
        assert touch_tests.all_open(session, bench.actor) == []
    with pytest.raises(Refused, match="archived"):
        change(bench, test, version=2)
    with bench.unit() as work:
        touch_tests.restore(work.session, bench.actor, test.uid)
    assert counted(bench, layer) == ["tacky"]


def test_a_test_that_no_longer_fits_stays_taken_back(bench: Bench) -> None:
    layer = bench.painted(bench.panel(), 3)
    test = log(bench, layer)
    with bench.unit() as work:
        touch_tests.archive(work.session, bench.actor, test.uid)
        layers.unpaint(work.session, bench.actor, layer.uid)
    with pytest.raises(Refused, match="no longer fits"), bench.unit() as work:
        touch_tests.restore(work.session, bench.actor, test.uid)


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (NOW + timedelta(minutes=3), "to come"),
        (NOW - 4 * DAY, "painted on 22 November 2026 at 10:00"),  # Prague is UTC+1
    ],
)
def test_a_time_that_cannot_be_is_refused_at_its_field(bench: Bench, at: datetime, words: str) -> None:
    layer = bench.painted(bench.panel(), 3)
    test = log(bench, layer)
    for attempt in (lambda: log(bench, layer, pressed_at=at), lambda: change(bench, test, pressed_at=at)):
        with pytest.raises(Invalid) as caught:
            attempt()
        assert [error.field for error in caught.value.errors] == ["pressed_at"]
        assert words in caught.value.errors[0].message
    assert counted(bench, layer) == ["tacky"]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("stage", "damp"),
        ("stage", ""),
        ("pressed_at", "2026-11-02T10:00:00"),
        ("place_on_panel", "x" * 121),
        ("place_on_panel", "left\nright"),
        ("note", "x" * 1001),
        ("note", "\x00"),
    ],
)
def test_what_makes_no_sense_is_refused_at_its_field(field: str, value: str) -> None:
    with pytest.raises(ValidationError) as caught:
        TouchTestCreate(**({"stage": "wet"} | {field: value}))
    assert [error["loc"][0] for error in caught.value.errors()] == [field]


def test_only_a_painted_layer_is_tested(bench: Bench) -> None:
    panel = bench.panel()
    painted, planned = bench.painted(panel, 1), bench.layer(panel)
    with pytest.raises(Refused, match="not painted yet"):
        log(bench, planned)
    with bench.unit() as work:
        layers.archive(work.session, bench.actor, painted.uid)
    with pytest.raises(Refused, match="archived"):
        log(bench, painted)


def test_another_studio_sees_nothing(bench: Bench, stranger: Bench) -> None:
    layer = bench.painted(bench.panel(), 1)
    test = log(bench, layer)
    with pytest.raises(NotFound):
        log(stranger, layer)
    with pytest.raises(NotFound):
        change(stranger, test, stage="firm")
    for verb in (touch_tests.archive, touch_tests.restore, touch_tests.get):
        with pytest.raises(NotFound), stranger.unit() as work:
            verb(work.session, stranger.actor, test.uid)
    with stranger.db.read() as session:
        assert touch_tests.all_open(session, stranger.actor) == []
        with pytest.raises(NotFound):
            touch_tests.of_layer(session, stranger.actor, layer.uid)


def two_regions(bench: Bench) -> Layer:
    """White on one half and bone black, which dries far later, on the other; eight days old."""
    mixes = [
        {"mix_uid": bench.white.uid, "area_pct": 50, "region": "light"},
        {"mix_uid": bench.black.uid, "area_pct": 50, "region": "dark"},
    ]
    return bench.painted(bench.panel(), 8.0, mixes=mixes)


def top_state(bench: Bench, layer: Layer) -> FilmState:
    with bench.db.read() as session:
        panel = session.get_one(Panel, layer.panel_id)
        found = board.one_panel(session, bench.actor, panel.uid, board.moment_of(NOW, ZoneInfo("Europe/Prague")))
    assert found is not None and found.top is not None
    return found.top.state


@pytest.mark.parametrize(
    ("region", "state"), [("", "touch_dry"), ("dark", "touch_dry"), ("light", "tacky")], ids=["any", "slow", "quick"]
)
def test_a_quick_region_that_is_dry_says_nothing_of_the_slow_one(bench: Bench, region: str, state: str) -> None:
    """Bone black holds the layer up (multiplier 2.2 against 1.0 for titanium white in the pigment table)."""
    layer = two_regions(bench)
    log(bench, layer, stage="touch_dry", region=region)
    assert top_state(bench, layer) is FilmState(state)


def test_a_quick_region_that_is_still_tacky_holds_the_layer_up(bench: Bench) -> None:
    layer = two_regions(bench)
    log(bench, layer, stage="tacky", region="light")
    assert top_state(bench, layer) is FilmState.TACKY


def test_a_region_is_one_of_the_layer_s(bench: Bench) -> None:
    with pytest.raises(Invalid, match="no mix of that name"):
        log(bench, two_regions(bench), stage="tacky", region="sky")
    with pytest.raises(Invalid, match="no mix of that name"):
        log(bench, bench.painted(bench.panel(), 3.0), stage="tacky", region="light")


def test_a_layer_of_an_archived_panel_takes_no_test_and_none_of_its_tests_changes(bench: Bench) -> None:
    panel = bench.panel()
    layer = bench.painted(panel, 3)
    kept, mistaken = log(bench, layer), log(bench, layer, stage="wet", pressed_at=NOW - DAY)
    with bench.unit("Mistaken") as work:
        touch_tests.archive(work.session, bench.actor, mistaken.uid)
    with bench.unit("Put away") as work:
        panels.archive(work.session, bench.actor, panel.uid)
    for act in (touch_tests.archive, touch_tests.confirm, touch_tests.restore):
        uid = mistaken.uid if act is touch_tests.restore else kept.uid
        with pytest.raises(Refused, match="This panel is archived"), bench.unit("Changed") as work:
            act(work.session, bench.actor, uid)
    with pytest.raises(Refused, match="This panel is archived"):
        log(bench, layer, stage="firm")
    with pytest.raises(Refused, match="This panel is archived"):
        change(bench, kept, stage="firm")
    assert counted(bench, layer) == ["tacky"]
