"""Mixes: by parts of what is on the shelf, kept as typed, and true to what was painted with them."""

from collections.abc import Callable
from typing import Any

import pytest
from pydantic import ValidationError

from server.services import mediums, mixes, paints, thinners
from server.services.errors import Conflict, Invalid, NotFound, Refused
from server.services.mediums import MediumCreate
from server.services.mixes import MixCreate, MixUpdate
from server.services.paints import PaintCreate
from server.services.recipes import MixBook
from server.store.tables import Mix
from tests.services.conftest import Bench


@pytest.fixture
def white(bench: Bench) -> str:
    with bench.unit() as work:
        command = PaintCreate.model_validate({"label": "Titanium", "pigments": [{"pigment": "PW6"}]})
        return f"paint:{paints.create(work.session, bench.actor, command).uid}"


@pytest.fixture
def oil(bench: Bench) -> str:
    with bench.unit() as work:
        parts = [{"material": "oil:linseed", "parts": 1}, {"material": "solvent:gum_turpentine", "parts": 1}]
        command = MediumCreate.model_validate({"label": "Half and half", "parts": parts})
        return f"medium:{mediums.create(work.session, bench.actor, command).uid}"


def command(*parts: tuple[str, float], **values: Any) -> MixCreate:
    rows = [{"item": item, "parts": amount} for item, amount in parts]
    return MixCreate.model_validate({"label": "Light grey", "parts": rows} | values)


def keep(bench: Bench, wanted: MixCreate) -> Mix:
    with bench.unit() as work:
        return mixes.create(work.session, bench.actor, wanted)


def stored(bench: Bench, mix: Mix) -> MixUpdate:
    with bench.db.read() as session:
        return mixes.public(session, mixes.get(session, bench.actor, mix.uid))


def test_a_mix_is_kept_as_typed(bench: Bench, white: str, oil: str) -> None:
    thinner = f"thinner:{bench.thinner.uid}"
    wanted = command(
        (white, 9),
        (oil, 1.5),
        (thinner, 0.25),
        driers=[{"metal": "Co", "percent_on_oil": 0.05}, {"metal": "Pb", "percent_on_oil": 0.3}],
        clove_drops_per_10_ml=1,
        swatch="#ABCDEF",
        notes="for the wall",
    )
    found = stored(bench, keep(bench, wanted))
    assert [(row.item, row.parts) for row in found.parts] == [(white, 9), (oil, 1.5), (thinner, 0.25)]
    assert [(row.metal, row.percent_on_oil) for row in found.driers] == [("Co", 0.05), ("Pb", 0.3)]
    assert (found.clove_drops_per_10_ml, found.swatch, found.notes, found.version) == (1, "#abcdef", "for the wall", 1)


def test_a_medium_comes_apart_in_the_recipe(bench: Bench, white: str, oil: str) -> None:
    mix = keep(bench, command((white, 8), (oil, 2)))
    with bench.db.read() as session:
        recipe = MixBook.load(session, bench.actor.studio_id).mixes[mix.id or 0].recipe
    assert recipe is not None
    assert [(paint.parts, paint.oil) for paint in recipe.paints] == [(8, "linseed")]
    assert [(part.kind.value, part.parts) for part in recipe.additions] == [("oil", 1), ("solvent", 1)]


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"parts": []}, "at least 1 item"),
        ({"parts": [{"item": "paint:abc", "parts": 0}]}, "greater than 0"),
        ({"parts": [{"item": "paint:abc", "parts": -2}]}, "greater than 0"),
        ({"parts": [{"item": "paint:abc", "parts": 1e6}]}, "less than or equal"),
        ({"parts": [{"item": "brush:abc", "parts": 1}]}, "one of the list"),
        ({"parts": [{"item": "", "parts": 1}]}, "something from the shelf"),
        ({"parts": [{"item": "paint:../../x", "parts": 1}]}, "one of the list"),
        ({"driers": [{"metal": "Fe", "percent_on_oil": 1}]}, "Input should be"),
        ({"driers": [{"metal": "Co", "percent_on_oil": 0}]}, "greater than 0"),
        ({"driers": [{"metal": "Co", "percent_on_oil": 50}]}, "less than or equal"),
        ({"driers": [{"metal": "Co", "percent_on_oil": 1}] * 2}, "given twice"),
        ({"clove_drops_per_10_ml": -1}, "greater than 0"),
        ({"swatch": "red"}, "pattern"),
        ({"label": ""}, "at least 1 character"),
        ({"label": "a\x07"}, "cannot be shown"),
    ],
)
def test_a_mix_that_cannot_be_is_refused(values: dict[str, Any], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        MixCreate.model_validate({"label": "x", "parts": [{"item": "paint:abc", "parts": 1}]} | values)


def test_what_is_not_on_the_shelf_is_said_at_its_line(bench: Bench, stranger: Bench, white: str) -> None:
    with pytest.raises(Invalid) as caught:
        keep(bench, command((white, 1), ("paint:nowhere", 1), (f"thinner:{stranger.thinner.uid}", 1)))
    assert [error.field for error in caught.value.errors] == ["parts.1.item", "parts.2.item"]
    assert "no longer on the shelf" in caught.value.errors[0].message


def test_the_same_tube_twice_is_said_at_the_second_line(bench: Bench, white: str) -> None:
    with pytest.raises(Invalid) as caught:
        keep(bench, command((white, 1), (white, 2)))
    assert [error.field for error in caught.value.errors] == ["parts.1.item"]


def test_an_archived_tube_stays_in_a_mix_and_comes_into_no_other(bench: Bench, white: str, oil: str) -> None:
    mix = keep(bench, command((white, 1)))
    with bench.unit() as work:
        paints.archive(work.session, bench.actor, white.partition(":")[2])
    with bench.unit() as work:
        wanted = stored(bench, mix).model_copy(update={"label": "Renamed"})
        assert mixes.update(work.session, bench.actor, mix.uid, wanted).label == "Renamed"
    with pytest.raises(Invalid):
        keep(bench, command((white, 1), (oil, 1)))


def test_the_second_of_two_tabs_is_told_and_loses_nothing(bench: Bench, white: str, oil: str) -> None:
    mix = keep(bench, command((white, 1)))
    before = stored(bench, mix)
    with bench.unit() as work:
        theirs = before.model_copy(update={"parts": command((white, 1), (oil, 1)).parts})
        mixes.update(work.session, bench.actor, mix.uid, theirs)
    mine = before.model_copy(update={"notes": "mine"})
    with bench.unit() as work, pytest.raises(Conflict) as caught:
        mixes.update(work.session, bench.actor, mix.uid, mine)
    assert caught.value.fields == ("parts", "notes")
    assert caught.value.current["version"] == 2


def test_a_mix_is_archived_and_comes_back(bench: Bench, white: str) -> None:
    mix = keep(bench, command((white, 1)))
    with bench.unit() as work:
        mixes.archive(work.session, bench.actor, mix.uid)
    with bench.db.read() as session:
        assert [row.uid for row in mixes.all_archived(session, bench.actor)] == [mix.uid]
    with bench.unit() as work, pytest.raises(Refused):
        mixes.update(work.session, bench.actor, mix.uid, stored(bench, mix))
    with bench.unit() as work:
        mixes.restore(work.session, bench.actor, mix.uid)
    with bench.db.read() as session:
        assert mix.uid in {row.uid for row in mixes.all_open(session, bench.actor)}


def test_a_stranger_finds_no_mix(bench: Bench, stranger: Bench, white: str) -> None:
    mix = keep(bench, command((white, 1)))
    with stranger.db.read() as session, pytest.raises(NotFound):
        mixes.get(session, stranger.actor, mix.uid)
    with stranger.unit() as work, pytest.raises(NotFound):
        mixes.archive(work.session, stranger.actor, mix.uid)


def test_mixes_are_described_in_as_many_queries_however_many_there_are(
    bench: Bench, white: str, oil: str, count_queries: Callable[[], int]
) -> None:
    def taken(records: list[Mix]) -> int:
        count_queries()
        with bench.db.read() as session:
            mixes.described(session, records)
        return count_queries()

    made = [keep(bench, command((white, 9), (oil, number), label=f"Mix {number}")) for number in range(1, 6)]
    assert taken(made) == taken(made[:1])
    with bench.db.read() as session:
        parts = mixes.described(session, made)[made[2].id or 0]
    assert [(part.amount, part.label) for part in parts] == [("9", "Titanium"), ("3", "Half and half")]


def test_driers_and_clove_oil_are_described_with_their_amounts(bench: Bench, white: str) -> None:
    driers = [{"metal": "Co", "percent_on_oil": 0.05}]
    mix = keep(bench, command((white, 1), driers=driers, clove_drops_per_10_ml=2))
    with bench.db.read() as session:
        parts = mixes.described(session, [mix])[mix.id or 0]
        labels = mixes.labels_of(session, mixes.parts_of(session, mix))
    assert [(part.amount, part.label) for part in parts[1:]] == [
        ("0.05 % on the oil", "cobalt drier"),
        ("2 drops to 10 ml", "clove oil"),
    ]
    assert labels == ["Titanium", "cobalt drier, 0.05 % metal on the oil", "clove oil, 2 drops to 10 ml"]


def test_the_thinners_of_the_bench_are_listed(bench: Bench) -> None:
    with bench.db.read() as session:
        assert [row.label for row in thinners.all_open(session, bench.actor)] == ["Spirits"]
