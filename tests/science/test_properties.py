"""What must hold for any layer in any room."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from server.science.climate import effective_days
from server.science.estimate import estimate_many
from server.science.recipe import (
    Addition,
    AdditionKind,
    Ground,
    LayerRecipe,
    MixRecipe,
    Paint,
    PigmentShare,
    Room,
    RoomStep,
    RoomSteps,
)
from server.science.reference import oils, pigments
from server.science.results import Stage
from server.services.climates import Climate, room_in

HAIR = 1e-9
checked = settings(max_examples=60, deadline=None)

pigment_shares = st.builds(
    lambda row: PigmentShare(row.ci_name, row.variant or None),
    st.sampled_from([row for row in pigments() if row.ci_name != "NBr6"]),
)
oil_names = st.sampled_from([row.name for row in oils()])
paints = st.builds(lambda parts, oil, one: Paint(parts, oil, (one,)), st.floats(0.1, 50), oil_names, pigment_shares)
additions = st.one_of(
    st.builds(lambda parts, oil: Addition(AdditionKind.OIL, parts, oil=oil), st.floats(0.1, 10), oil_names),
    st.builds(lambda parts: Addition(AdditionKind.SOLVENT, parts), st.floats(0.1, 20)),
    st.builds(lambda parts: Addition(AdditionKind.ALKYD_MEDIUM, parts, non_volatile=0.5), st.floats(0.1, 10)),
    st.builds(lambda parts: Addition(AdditionKind.WAX, parts), st.floats(0.01, 1)),
    st.builds(lambda parts: Addition(AdditionKind.INERT, parts), st.floats(0.1, 5)),
    st.builds(
        lambda metal, pct: Addition(AdditionKind.DRIER, metal=metal, percent_on_oil=pct),
        st.sampled_from(["Pb", "Mn", "Co"]),
        st.floats(0.01, 0.5),
    ),
)
mixes = st.builds(
    lambda p, a: MixRecipe("any", 1.0, tuple(p), tuple(a)),
    st.lists(paints, min_size=1, max_size=5),
    st.lists(additions, max_size=3),
)
layers = st.builds(
    lambda um, ground, mix: LayerRecipe(um, ground, (mix,)), st.floats(2, 800), st.sampled_from(Ground), mixes
)
steps = st.lists(st.tuples(st.floats(0.1, 40), st.floats(5, 32), st.floats(20, 95)), min_size=1, max_size=8)


def room_of(given_steps: list[tuple[float, float, float]], light: float = 1.0) -> Room:
    from_d, built = 0.0, []
    for lasts, temperature, damp in given_steps:
        built.append(RoomStep(from_d, temperature, damp))
        from_d += lasts
    return Room(tuple(built), light)


rooms = st.builds(room_of, steps, st.sampled_from([0.25, 0.6, 1.0, 1.5, 3.0]))


def central(*pairs: tuple[LayerRecipe, Room]) -> list[list[float]]:
    return [[got.stages[stage].p50_d for stage in Stage] for got in estimate_many(pairs)]


def assert_not_later(quick: list[float], slow: list[float]) -> None:
    assert all(a <= b * (1 + HAIR) for a, b in zip(quick, slow, strict=True)), (quick, slow)


@checked
@given(layers, rooms, st.floats(0.1, 10))
def test_warmer_is_never_slower(layer: LayerRecipe, room: Room, degrees: float):
    warmer = replace(room, steps=tuple(replace(s, temperature_c=s.temperature_c + degrees) for s in room.steps))
    here, there = central((layer, room), (layer, warmer))
    assert_not_later(there, here)


@checked
@given(layers, rooms, st.floats(0.1, 30))
def test_damper_is_never_quicker(layer: LayerRecipe, room: Room, pct: float):
    damper = replace(
        room, steps=tuple(replace(s, relative_humidity_pct=s.relative_humidity_pct + pct) for s in room.steps)
    )
    here, there = central((layer, room), (layer, damper))
    assert_not_later(here, there)


@checked
@given(layers, rooms, st.floats(1.01, 4))
def test_brighter_is_never_slower(layer: LayerRecipe, room: Room, factor: float):
    here, there = central((layer, room), (layer, replace(room, light=room.light * factor)))
    assert_not_later(there, here)


@checked
@given(layers, rooms, st.floats(1.001, 5))
def test_thicker_is_never_faster(layer: LayerRecipe, room: Room, factor: float):
    here, there = central((layer, room), (replace(layer, wet_thickness_um=layer.wet_thickness_um * factor), room))
    assert_not_later(here, there)


@checked
@given(layers, rooms, st.floats(0.1, 0.9))
def test_splitting_a_step_changes_nothing(layer: LayerRecipe, room: Room, share: float):
    first = room.steps[0]
    until = room.steps[1].from_d if len(room.steps) > 1 else 10.0
    split = (first, replace(first, from_d=first.from_d + share * (until - first.from_d)), *room.steps[1:])
    for stage in Stage:
        one, other = (got.stages[stage] for got in estimate_many([(layer, room), (layer, replace(room, steps=split))]))
        for name in ("p05_d", "p10_d", "p50_d", "p90_d", "p95_d"):
            assert abs(getattr(other, name) / getattr(one, name) - 1) < 1e-6


@settings(max_examples=25, deadline=None)
@given(layers, st.floats(5, 32), st.floats(20, 95), st.integers(2, 60), st.sampled_from([1 / 24, 1.0, 30.4]))
def test_a_constant_series_is_the_closed_form(
    layer: LayerRecipe, warmth: float, damp: float, steps: int, step_d: float
):
    """As steps, and as columns with a hair's breadth of change so that they are not taken for one step."""
    whole = room_of([(1.0, warmth, damp)])
    times = np.arange(steps) * step_d
    series = replace(whole, steps=RoomSteps.of(times, [warmth] * steps, [damp] * steps))
    hair = replace(whole, steps=RoomSteps.of(times, warmth + 1e-9 * (np.arange(steps) % 2), [damp] * steps))
    closed, same, nearly = estimate_many([(layer, whole), (layer, series), (layer, hair)])
    for stage in Stage:
        assert same.stages[stage] == closed.stages[stage]
        assert abs(nearly.stages[stage].p50_d / closed.stages[stage].p50_d - 1) < 1e-6
        for name in ("p05_d", "p10_d", "p90_d", "p95_d"):
            assert abs(getattr(nearly.stages[stage], name) / getattr(closed.stages[stage], name) - 1) < 5e-3


@settings(max_examples=25, deadline=None)
@given(
    layers,
    st.lists(st.tuples(st.floats(5, 30), st.floats(30, 90)), min_size=12, max_size=12),
    st.integers(0, 10 * 365 * 24 * 60),
    st.sampled_from(["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu"]),
)
def test_how_the_hour_is_written_alters_nothing(
    layer: LayerRecipe, months: list[tuple[float, float]], minutes: int, zone: str
):
    """The moment of painting as one zone's clock shows it or as another's: the room, and so every date, is the same."""
    studio = ZoneInfo("Europe/Berlin")
    here = Climate(1.0, False, True, 20.0, 50.0, tuple((i + 1, t, rh) for i, (t, rh) in enumerate(months)))
    at = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
    one, other = (room_in(here, moment, studio) for moment in (at, at.astimezone(ZoneInfo(zone))))
    assert one == other
    assert central((layer, one)) == central((layer, other))


@checked
@given(rooms, st.lists(st.floats(0, 200), min_size=3, max_size=3))
def test_effective_days_add_up_and_never_run_back(room: Room, moments: list[float]):
    first, second, third = sorted(moments)
    parts = effective_days(room, first, second) + effective_days(room, second, third)
    assert abs(effective_days(room, first, third) - parts) < 1e-9
    assert effective_days(room, first, second) >= 0


@checked
@given(layers, rooms)
def test_stages_and_percentiles_are_in_order(layer: LayerRecipe, room: Room):
    """Two stages may pass another as the model is written: films thicker than the varnish's cap are dry through after
    it, and oils beyond linseed's drying index are dry through before a thin film may be painted on."""
    (got,) = estimate_many([(layer, room)])
    for stage in got.stages.values():
        assert 0 < stage.p05_d < stage.p10_d < stage.p50_d < stage.p90_d < stage.p95_d < float("inf")
    set_to_touch, touch, recoat, through, varnish = (stage.p50_d for stage in got.stages.values())
    assert set_to_touch < touch < recoat
    assert touch < through
    if got.drying_index <= 125:
        assert recoat <= through * (1 + HAIR)
    if got.regions[0].composition.film_thickness_um <= 200:
        assert through < varnish


@checked
@given(layers)
def test_composition_is_within_its_bounds(layer: LayerRecipe):
    (got,) = estimate_many([(layer, room_of([(1.0, 21.0, 50.0)]))])
    for region in got.regions:
        it = region.composition
        assert 0 < it.binder_volume_fraction < 1
        assert abs(it.binder_volume_fraction + it.pigment_volume_concentration - 1) < HAIR
        assert 0 < it.critical_pvc <= 1
        assert 0 <= it.solvent_share < 1
        assert 0.7 < it.density_g_cm3 < 9
        assert 0 < it.film_thickness_um <= layer.wet_thickness_um * (1 + HAIR)
        assert abs(it.oil_mass_share + it.pigment_mass_share + it.solvent_mass_share - 1) < HAIR


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(layers, rooms), min_size=2, max_size=6))
def test_neighbours_in_a_batch_do_not_matter(pairs: list[tuple[LayerRecipe, Room]]):
    together = estimate_many(pairs)
    for pair, got in zip(pairs, together, strict=True):
        (alone,) = estimate_many([pair])
        for stage in Stage:
            assert abs(alone.stages[stage].p95_d / got.stages[stage].p95_d - 1) < 1e-9
