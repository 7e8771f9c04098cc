"""Layers: planned, painted, corrected, moved, put back; the stack always makes sense."""

from collections.abc import Callable
from typing import Any

import pytest
from pydantic import ValidationError

from server.services import layers, panels, touch_tests
from server.services.errors import Conflict, Invalid, NotFound, Refused
from server.services.touch_tests import TouchTestCreate
from tests.services.conftest import NOW, Bench
from tests.services.layer_acts import DAY, act, as_update, change, order, paint, regions


def test_a_planned_layer_is_kept_as_typed(bench: Bench) -> None:
    mixes = [
        {"mix_uid": bench.white.uid, "area_pct": 70, "region": "sky"},
        {"mix_uid": bench.black.uid, "area_pct": 30},
    ]
    layer = bench.layer(
        bench.panel(), mixes=mixes, thinner_uid=bench.thinner.uid, solvent_pct=20, sitting_min=90, kind="block-in"
    )
    assert (layer.kind, layer.position, layer.thickness_preset, layer.wet_thickness_um) == (
        *("block-in", 0),
        *("thin_opaque", 30.0),
    )
    assert (layer.thinner_id, layer.solvent_pct, layer.sitting_min) == (bench.thinner.id, 20, 90)
    assert (layer.painted_at, layer.recipe_json, layer.forecast_json) == (None, None, None)
    assert regions(bench, layer) == [(bench.white.id, 0.7, "sky"), (bench.black.id, 0.3, "")]


def test_a_number_overrules_the_preset(bench: Bench) -> None:
    layer = bench.layer(bench.panel(), wet_thickness_um=45)
    assert (layer.thickness_preset, layer.wet_thickness_um) == (None, 45)
    layer = change(bench, layer, thickness_preset="impasto", wet_thickness_um=None)
    assert (layer.thickness_preset, layer.wet_thickness_um) == ("impasto", 500)
    layer = change(bench, layer, wet_thickness_um=500)  # says the same as the preset
    assert (layer.thickness_preset, layer.wet_thickness_um) == ("impasto", 500)


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"kind": ""}, "kind"),
        ({"kind": "x" * 33}, "kind"),
        ({"kind": "under\x07painting"}, "kind"),
        ({"material": "butter"}, "material"),
        ({"thickness_preset": None}, "wet_thickness_um"),
        ({"thickness_preset": "huge"}, "thickness_preset"),
        ({"wet_thickness_um": 0}, "wet_thickness_um"),
        ({"wet_thickness_um": -30}, "wet_thickness_um"),
        ({"wet_thickness_um": 5_000_000}, "wet_thickness_um"),  # a film of 5 m
        ({"wet_thickness_um": "nan"}, "wet_thickness_um"),
        ({"solvent_pct": 100}, "solvent_pct"),
        ({"solvent_pct": -1}, "solvent_pct"),
        ({"sitting_min": 0}, "sitting_min"),
        ({"sitting_min": 1.5}, "sitting_min"),
        ({"texture": "rough"}, "texture"),
        ({"surface": "satin"}, "surface"),
        ({"painted_at": "2026-11-02T10:00:00"}, "painted_at"),  # no zone
        ({"painted_at": "0001-01-01T00:00:00Z"}, "painted_at"),
        ({"notes": "x" * 4001}, "notes"),
        ({"mixes": [{"mix_uid": "a", "area_pct": 60}, {"mix_uid": "b", "area_pct": 40.6}]}, "mixes"),
        ({"mixes": [{"mix_uid": "a", "area_pct": 60}, {"mix_uid": "b"}]}, "mixes"),
        ({"mixes": [{"mix_uid": "a", "area_pct": 0}, {"mix_uid": "b", "area_pct": 100}]}, "mixes"),
        ({"mixes": [{"mix_uid": "a", "area_pct": -5}]}, "mixes"),
        ({"mixes": [{"mix_uid": "a", "area_pct": 4}] * 25}, "mixes"),
        ({"position": 3}, "position"),
    ],
)
def test_what_makes_no_sense_is_refused_at_its_field(bench: Bench, values: dict[str, Any], field: str) -> None:
    with pytest.raises(ValidationError) as caught:
        bench.layer_command(**values)
    assert {error["loc"][0] for error in caught.value.errors()} == {field}


def test_shares_within_half_a_per_cent_are_taken(bench: Bench) -> None:
    mixes = [{"mix_uid": bench.white.uid, "area_pct": 33.3}] * 3
    assert len(regions(bench, bench.layer(bench.panel(), mixes=mixes))) == 3


def test_a_layer_may_cover_a_part_of_the_panel(bench: Bench) -> None:
    mixes = [{"mix_uid": bench.white.uid, "area_pct": 10, "region": "lights"}]
    assert regions(bench, bench.layer(bench.panel(), mixes=mixes)) == [(bench.white.id, 0.1, "lights")]


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"mixes": [{"mix_uid": "nothing"}]}, "mixes.0.mix_uid"),
        ({"thinner_uid": "nothing"}, "thinner_uid"),
    ],
)
def test_what_is_not_on_the_shelf_is_refused_at_its_field(bench: Bench, values: dict[str, Any], field: str) -> None:
    panel = bench.panel()
    with pytest.raises(Invalid) as caught:
        bench.layer(panel, **values)
    assert [error.field for error in caught.value.errors] == [field]
    assert order(bench, panel) == []  # nothing half made


def test_a_mix_or_thinner_of_another_studio_is_not_there(bench: Bench, stranger: Bench) -> None:
    panel = bench.panel()
    with pytest.raises(Invalid):
        bench.layer(panel, mixes=[{"mix_uid": stranger.white.uid}])
    with pytest.raises(Invalid):
        bench.layer(panel, thinner_uid=stranger.thinner.uid)
    layer = bench.layer(panel)
    with pytest.raises(NotFound):
        stranger.layer(panel)
    for verb in (layers.archive, layers.restore, layers.unpaint):
        with pytest.raises(NotFound):
            act(stranger, verb, layer)
    with stranger.db.read() as session:
        assert layers.all_open(session, stranger.actor) == []
        with pytest.raises(NotFound):
            layers.all_open(session, stranger.actor, panel.uid)


def test_an_archived_mix_stays_where_it_is_used_and_goes_nowhere_new(bench: Bench) -> None:
    panel = bench.panel()
    layer = bench.layer(panel)
    with bench.unit() as work:
        work.session.get_one(type(bench.white), bench.white.id).archived_at = NOW
    with pytest.raises(Invalid, match="archived"):
        bench.layer(panel)
    assert change(bench, layer, kind="ground tone").kind == "ground tone"


def test_the_second_of_two_tabs_is_told(bench: Bench) -> None:
    layer = bench.layer(bench.panel())
    mine = as_update(bench, layer, mixes=[{"mix_uid": bench.black.uid, "area_pct": 100}])
    change(bench, layer, mixes=[{"mix_uid": bench.white.uid, "area_pct": 100, "region": "left"}])
    with pytest.raises(Conflict) as caught, bench.unit() as work:
        layers.update(work.session, bench.actor, layer.uid, mine)
    assert caught.value.fields == ("mixes",)
    assert caught.value.current["mixes"][0]["region"] == "left"
    assert caught.value.current["version"] == 2  # only the mixes changed, and it grew all the same


def test_new_layers_come_on_top_and_planned_ones_move(bench: Bench) -> None:
    panel = bench.panel()
    made = [bench.layer(panel, kind=kind) for kind in ("a", "b", "c")]
    assert order(bench, panel) == ["a", "b", "c"]
    act(bench, layers.move, made[0], "up")
    assert order(bench, panel) == ["b", "a", "c"]
    act(bench, layers.move, made[2], "down")
    assert order(bench, panel) == ["b", "c", "a"]
    with pytest.raises(Refused, match="topmost"):
        act(bench, layers.move, made[0], "up")
    with pytest.raises(Refused, match="lowest"):
        act(bench, layers.move, made[1], "down")


def test_a_planned_layer_cannot_go_beneath_a_painted_one(bench: Bench) -> None:
    panel = bench.panel()
    painted, planned = bench.painted(panel, 3), bench.layer(panel)
    with pytest.raises(Refused, match="painted"):
        act(bench, layers.move, planned, "down")
    with pytest.raises(Refused, match="stays where it is"):
        act(bench, layers.move, painted, "up")


def test_a_layer_logged_as_painted_goes_below_the_planned_ones(bench: Bench) -> None:
    panel = bench.panel()
    bench.painted(panel, 9, kind="first")
    bench.layer(panel, kind="plan a")
    bench.layer(panel, kind="plan b")
    bench.painted(panel, 2, kind="second", override_reason="Only at the dry edge")
    assert order(bench, panel) == ["first", "second", "plan a", "plan b"]


def test_a_painted_layer_goes_back_to_planned_from_the_top(bench: Bench) -> None:
    panel = bench.panel()
    lower, upper = bench.painted(panel, 9), bench.painted(panel, 5)
    with pytest.raises(Refused, match="on top of it"):
        act(bench, layers.unpaint, lower)
    with bench.unit() as work:
        test = touch_tests.log(work.session, bench.actor, upper.uid, TouchTestCreate(stage="wet"))
    with pytest.raises(Refused, match="touch tests"):
        act(bench, layers.unpaint, upper)
    with bench.unit() as work:
        touch_tests.archive(work.session, bench.actor, test.uid)
    again = act(bench, layers.unpaint, upper)
    assert (again.painted_at, again.recipe_json, again.forecast_json) == (None, None, None)
    assert act(bench, layers.unpaint, upper).version == again.version  # twice is the same as once


def test_an_archived_planned_layer_comes_back_on_top(bench: Bench) -> None:
    panel = bench.panel()
    first, _ = bench.layer(panel, kind="a"), bench.layer(panel, kind="b")
    act(bench, layers.archive, first)
    assert order(bench, panel) == ["b"]
    bench.layer(panel, kind="c")
    act(bench, layers.restore, first)
    assert order(bench, panel) == ["b", "c", "a"]
    assert act(bench, layers.restore, first).version == 3  # twice is the same as once


def test_an_archived_painted_layer_comes_back_to_its_place_or_not_at_all(bench: Bench) -> None:
    panel = bench.panel()
    lower, upper = bench.painted(panel, 9, kind="a"), bench.painted(panel, 5, kind="b")
    act(bench, layers.archive, lower)
    assert order(bench, panel) == ["b"]
    act(bench, layers.restore, lower)
    assert order(bench, panel) == ["a", "b"]
    act(bench, layers.archive, lower)
    change(bench, upper, painted_at=NOW - 12 * DAY)
    with pytest.raises(Refused, match="older"):
        act(bench, layers.restore, lower)
    assert order(bench, panel) == ["b"]


def test_an_archived_layer_or_panel_is_left_alone(bench: Bench) -> None:
    panel = bench.panel()
    layer, other = bench.layer(panel), bench.layer(panel)
    act(bench, layers.archive, layer)
    with pytest.raises(Refused, match="archived"):
        change(bench, layer, kind="no")
    with bench.unit() as work:
        panels.archive(work.session, bench.actor, panel.uid)
    for attempt in (lambda: change(bench, other, kind="no"), lambda: paint(bench, other), lambda: bench.layer(panel)):
        with pytest.raises(Refused, match="archived"):
            attempt()
    with bench.db.read() as session:
        assert layers.all_open(session, bench.actor) == []
        assert [found.uid for found in layers.all_archived(session, bench.actor)] == [layer.uid]


def test_layers_are_read_with_one_query_however_many(bench: Bench, count_queries: Callable[[], int]) -> None:
    taken = []
    for wanted in (1, 5):
        for _ in range(wanted):
            panel = bench.panel()
            bench.layer(panel)
            bench.layer(panel)
        count_queries()
        with bench.db.read() as session:
            found = layers.all_open(session, bench.actor)
        taken.append(count_queries())
    assert len(found) == 12
    assert taken[0] == taken[1]


def test_the_edit_form_starts_from_what_the_command_would_leave(bench: Bench) -> None:
    mixes = [{"mix_uid": bench.white.uid, "area_pct": 33.3}, {"mix_uid": bench.black.uid, "area_pct": 66.7}]
    layer = bench.layer(bench.panel(), mixes=mixes, thinner_uid=bench.thinner.uid)
    command = as_update(bench, layer)
    assert [mix.area_pct for mix in command.mixes] == [33.3, 66.7]
    assert change(bench, layer).version == 1
