"""From records to recipes and back.

Expected volumes are arithmetic on the definition "per cent of the wet volume"; days between instants are checked
against the calendar, daylight-saving changes included.
"""

from datetime import datetime, timedelta, timezone
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.science.composition import compose
from server.science.recipe import (
    Addition,
    AdditionKind,
    Ground,
    LayerRecipe,
    MixRecipe,
    Paint,
    PigmentShare,
)
from server.services.climates import ROOM_MONTHS, climate_of, room_in
from server.services.recipes import MixBook, ground_of, layer_content, layer_from_json, layer_recipe, layer_to_json
from server.store.tables import (
    Layer,
    LayerMix,
    Medium,
    MediumPart,
    Mix,
    MixPart,
    Place,
    PlaceMonth,
)
from tests.services.conftest import add

LISBON = ZoneInfo("Europe/Lisbon")
NEW_YORK = ZoneInfo("America/New_York")


def layer(**values: Any) -> Layer:
    given: dict[str, Any] = {"kind": "glaze", "wet_thickness_um": 40.0, "solvent_pct": 0.0}
    return Layer(**(given | values))


def region(mix_id: int | None, share: float = 1.0, name: str = "") -> LayerMix:
    return LayerMix(layer_id=0, position=0, mix_id=mix_id or 0, area_share=share, region=name)


# The book


def test_a_medium_comes_apart_into_its_parts(bench):
    """Two parts of a medium of one oil and three spirits are half a part of oil and one and a half of spirits."""
    with bench.db.write() as session:
        medium = add(session, Medium(studio_id=bench.actor.studio_id, label="Lean"))
        assert medium.id is not None
        add(session, MediumPart(medium_id=medium.id, position=0, kind="oil", oil="linseed", parts=1.0))
        solvent = "gum_turpentine"
        add(session, MediumPart(medium_id=medium.id, position=1, kind="solvent", solvent=solvent, parts=3.0))
        mix = add(session, Mix(studio_id=bench.actor.studio_id, label="Lean white"))
        assert mix.id is not None
        parts: tuple[dict[str, Any], ...] = (
            {"kind": "medium", "medium_id": medium.id, "parts": 2.0},
            {"kind": "drier", "metal": "Co", "percent_on_oil": 0.02},
            {"kind": "clove_oil", "drops_per_10_ml": 1.0},
            {"kind": "thinner", "thinner_id": bench.thinner.id, "parts": 0.5},
        )
        for number, values in enumerate(parts):
            add(session, MixPart(mix_id=mix.id, position=number, **values))
        book = MixBook.load(session, bench.actor.studio_id)
    found = book.mixes[mix.id].recipe
    assert found == MixRecipe(
        "Lean white",
        1.0,
        (),
        (
            Addition(AdditionKind.OIL, 0.5, oil="linseed"),
            Addition(AdditionKind.SOLVENT, 1.5, solvent="gum_turpentine"),
            Addition(AdditionKind.DRIER, metal="Co", percent_on_oil=0.02),
            Addition(AdditionKind.CLOVE_OIL, drops_per_10_ml=1.0),
            Addition(AdditionKind.SOLVENT, 0.5, solvent="odourless_mineral_spirits"),
        ),
    )


def test_the_book_holds_one_studio_with_seven_queries(bench, stranger, count_queries):
    with bench.db.read() as session:
        count_queries()
        book = MixBook.load(session, bench.actor.studio_id)
        assert count_queries() <= 8  # the transaction's own BEGIN included
    assert set(book.mixes) == {bench.white.id, bench.black.id}


@pytest.mark.parametrize(("pct", "share"), [(0.0, 0.0), (25.0, 0.25), (50.0, 0.5), (80.0, 0.8)])
def test_extra_solvent_is_a_share_of_the_wet_volume_in_every_region(bench, pct, share):
    with bench.db.read() as session:
        book = MixBook.load(session, bench.actor.studio_id)
    regions = [region(bench.white.id, 0.7, "sky"), region(bench.black.id, 0.3)]
    recipe = layer_recipe(layer(solvent_pct=pct, thinner_id=bench.thinner.id), regions, book, Ground.ACRYLIC)
    assert recipe is not None
    assert [(mix.name, mix.area_share) for mix in recipe.mixes] == [("sky", 0.7), ("Black", 0.3)]
    for mix in recipe.mixes:
        assert compose(mix, 40.0, Ground.ACRYLIC).solvent_share == pytest.approx(share)


def test_a_layer_without_mixes_has_no_recipe(bench):
    with bench.db.read() as session:
        book = MixBook.load(session, bench.actor.studio_id)
    assert layer_recipe(layer(), [], book, Ground.OIL) is None
    assert layer_recipe(layer(), [region(999_999)], book, Ground.OIL) is None


def test_contents_are_equal_exactly_when_recipes_are(bench):
    with bench.db.read() as session:
        book = MixBook.load(session, bench.actor.studio_id)
    cases = [
        (layer(), [region(bench.white.id)], Ground.PAINT),
        (layer(solvent_pct=10.0), [region(bench.white.id)], Ground.PAINT),
        (layer(wet_thickness_um=41.0), [region(bench.white.id)], Ground.PAINT),
        (layer(), [region(bench.black.id)], Ground.PAINT),
        (layer(), [region(bench.white.id, 0.5)], Ground.PAINT),
        (layer(), [region(bench.white.id, name="sky")], Ground.PAINT),
        (layer(), [region(bench.white.id)], Ground.OIL),
    ]
    contents = [layer_content(*case[:2], book, case[2]) for case in cases]
    recipes = [layer_recipe(*case[:2], book, case[2]) for case in cases]
    assert len(set(contents)) == len(set(recipes)) == len(cases)
    again = layer_content(layer(), [region(bench.white.id)], book, Ground.PAINT)
    assert again == contents[0]


@pytest.mark.parametrize(
    ("position", "kind", "surface", "ground"),
    [
        (0, "acrylic", "matte", Ground.ACRYLIC),
        (0, "acrylic", "absorbent", Ground.ACRYLIC),
        (0, "acrylic", "sealed", Ground.SEALED),
        (0, "oil", "gloss", Ground.SEALED),
        (0, "oil", "matte", Ground.OIL),
        (0, "glue_chalk", "absorbent", Ground.GLUE_CHALK),
        (0, "none", "matte", Ground.SEALED),
        (1, "none", "matte", Ground.PAINT),
        (5, "acrylic", "sealed", Ground.PAINT),
    ],
)
def test_what_a_layer_lies_on(position, kind, surface, ground):
    assert ground_of(position, kind, surface) is ground


# Freezing

shares = st.floats(0.01, 1.0)
parts = st.floats(0.01, 50.0)
paints = st.builds(
    Paint,
    parts,
    st.sampled_from(["linseed", "walnut"]),
    st.lists(st.builds(PigmentShare, st.just("PBr7"), st.just("raw umber"), shares), min_size=1, max_size=3).map(tuple),
    st.none() | st.floats(5, 90),
    st.none(),
    st.none() | st.floats(1, 8),
)
additions = st.one_of(
    st.builds(Addition, st.just(AdditionKind.OIL), parts, st.just("linseed")),
    st.builds(Addition, st.just(AdditionKind.SOLVENT), parts, solvent=st.just("gum_turpentine")),
    st.builds(Addition, st.just(AdditionKind.ALKYD_MEDIUM), parts, non_volatile=st.none() | shares),
    st.builds(Addition, st.just(AdditionKind.DRIER), metal=st.just("Pb"), percent_on_oil=shares),
)
mixes = st.builds(
    MixRecipe,
    st.text(max_size=20),
    shares,
    st.lists(paints, max_size=3).map(tuple),
    st.lists(additions, max_size=4).map(tuple),
)


@given(st.builds(LayerRecipe, st.floats(1, 3000), st.sampled_from(Ground), st.lists(mixes, max_size=3).map(tuple)))
def test_freezing_and_thawing_changes_nothing(recipe):
    assert layer_from_json(layer_to_json(recipe)) == recipe


# The room


def place(**values: Any) -> Place:
    given: dict[str, Any] = {"name": "Rack", "light": "room", "temperature_c": 20.0, "relative_humidity_pct": 50.0}
    return Place(**(given | values))


def month(number: int, temperature_c: float) -> PlaceMonth:
    return PlaceMonth(place_id=1, month=number, temperature_c=temperature_c, relative_humidity_pct=50.0)


def test_without_months_the_room_is_one_step():
    room = room_in(climate_of(place(), []), datetime(2026, 11, 25, 9, tzinfo=timezone.utc), LISBON)
    assert len(room.steps) == 1
    assert (room.steps[0].from_d, room.steps[0].temperature_c) == (0.0, 20.0)
    assert not room.measured


def test_light_by_name_and_by_number():
    at = datetime(2026, 11, 25, 9, tzinfo=timezone.utc)
    dim = room_in(climate_of(place(light="dim"), []), at, LISBON)
    assert (dim.light, dim.light_is_number) == (0.6, False)  # drying prior: dim 0.6
    given_light = room_in(climate_of(place(light="number", light_factor=1.3, measured=True), []), at, LISBON)
    assert (given_light.light, given_light.light_is_number, given_light.measured) == (1.3, True, True)


@pytest.mark.parametrize("zone", [LISBON, NEW_YORK, ZoneInfo("Australia/Lord_Howe"), ZoneInfo("UTC")])
def test_months_begin_at_the_studios_midnight(zone):
    """Every step begins at 00:00 of the first of its month, also across daylight-saving changes."""
    painted_at = datetime(2026, 3, 20, 15, 30, tzinfo=zone)
    months = [month(number, 10.0 + number) for number in range(1, 13)]
    steps = room_in(climate_of(place(), months), painted_at, zone).steps
    assert len(steps) == ROOM_MONTHS + 1
    assert steps[0].temperature_c == 13.0
    for step in steps[1:]:
        begins = (painted_at.astimezone(timezone.utc) + timedelta(days=step.from_d)).astimezone(zone)
        begins = begins.replace(microsecond=0)
        assert (begins.day, begins.hour, begins.minute) == (1, 0, 0)
        assert step.temperature_c == 10.0 + begins.month


def test_the_month_is_the_studios_not_that_of_utc():
    """Half past four in the morning of 1 December in UTC is still November in New York."""
    at = datetime(2026, 12, 1, 4, 30, tzinfo=timezone.utc)
    climate = climate_of(place(), [month(11, 11.0), month(12, 12.0)])
    assert room_in(climate, at, NEW_YORK).steps[0].temperature_c == 11.0
    assert room_in(climate, at, LISBON).steps[0].temperature_c == 12.0


def test_months_alike_become_one_step_and_the_rest_of_the_year_is_the_usual():
    climate = climate_of(place(temperature_c=20.0), [month(12, 16.0), month(1, 16.0), month(2, 16.0)])
    steps = room_in(climate, datetime(2026, 11, 25, tzinfo=LISBON), LISBON).steps
    assert [step.temperature_c for step in steps[:4]] == [20.0, 16.0, 20.0, 16.0]
    assert steps[1].from_d == pytest.approx(6.0)
    assert steps[2].from_d == pytest.approx(6 + 31 + 31 + 28)
    assert steps[-1].from_d > 3 * 365 - 31


def test_climates_of_the_same_figures_are_the_same_key():
    one, other = (climate_of(place(), [month(1, 15.0)]) for _ in range(2))
    assert one == other
    assert hash(one) == hash(other)
    assert one != climate_of(place(), [month(1, 16.0)])
