"""Places: their light and climate kept as typed, month by month, and what they do to drying."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from pydantic import ValidationError

from server.science.recipe import Room, RoomStep
from server.science.room_profile import HeatingOff
from server.services import places, rooms
from server.services.errors import Conflict, NotFound, Refused
from server.services.places import PlaceCreate, PlaceUpdate
from server.services.whereabouts import whereabouts
from server.store.tables import Place
from tests.services.conftest import Bench

ON = date(2026, 11, 25)


CELLAR = {"name": "Cellar", "temperature_c": 20, "relative_humidity_pct": 50}


def add(bench: Bench, **values: Any) -> Place:
    with bench.unit() as work:
        return places.create(work.session, bench.actor, PlaceCreate.model_validate(CELLAR | values))


def stored(bench: Bench, place: Place) -> PlaceUpdate:
    with bench.db.read() as session:
        return places.public(session, places.get(session, bench.actor, place.uid))


def month(number: int, temperature_c: float | None = 10.0, humidity_pct: float | None = 70.0) -> dict[str, Any]:
    return {"month": number, "temperature_c": temperature_c, "relative_humidity_pct": humidity_pct}


def test_a_place_is_kept_as_typed(bench: Bench) -> None:
    rows = [month(12, -2.5, 81), month(1), month(3, None, None)]
    made = add(bench, light="dim", measured=True, temperature_c=15.5, relative_humidity_pct=62, months=rows)
    found = stored(bench, made)
    assert (found.name, found.light, found.measured) == ("Cellar", "dim", True)
    assert (found.temperature_c, found.relative_humidity_pct) == (15.5, 62)
    assert [(row.month, row.temperature_c, row.relative_humidity_pct) for row in found.months] == [
        (1, 10, 70),
        (12, -2.5, 81),
    ]


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"temperature_c": None}, "valid number"),
        ({"name": ""}, "at least 1 character"),
        ({"name": "a\x00"}, "cannot be shown"),
        ({"light": "moonlight"}, "Input should be"),
        ({"light": "number"}, "Write the number"),
        ({"light": "number", "light_factor": 0}, "greater than 0"),
        ({"light": "number", "light_factor": 500}, "less than or equal"),
        ({"temperature_c": 300}, "less than or equal"),
        ({"temperature_c": float("inf")}, "finite"),
        ({"relative_humidity_pct": -1}, "greater than or equal"),
        ({"relative_humidity_pct": 101}, "less than or equal"),
        ({"months": [month(13)]}, "less than or equal"),
        ({"months": [month(1, 10, None)]}, "both its temperature and its humidity"),
        ({"months": [month(1, None, 70)]}, "both its temperature and its humidity"),
        ({"months": [month(1), month(1, 12)]}, "given twice"),
        ({"months": [month(n % 12 + 1) for n in range(13)]}, "at most 12 items"),
    ],
)
def test_a_place_that_cannot_be_is_refused(values: dict[str, Any], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        PlaceCreate.model_validate(CELLAR | values)


def test_a_number_for_the_light_counts_only_where_it_is_asked_for() -> None:
    assert PlaceCreate.model_validate(CELLAR | {"light": "room", "light_factor": 2}).light_factor is None
    assert PlaceCreate.model_validate(CELLAR | {"light": "number", "light_factor": 2}).light_factor == 2


def test_a_month_that_changes_is_a_change_of_the_place(bench: Bench) -> None:
    made = add(bench, months=[month(1)])
    before = stored(bench, made)
    warmer = PlaceCreate.model_validate(CELLAR | {"months": [month(1, 11)]}).months
    for _ in range(2):
        with bench.unit() as work:
            after = places.update(work.session, bench.actor, made.uid, before.model_copy(update={"months": warmer}))
        assert after.version == 2
    with bench.unit() as work, pytest.raises(Conflict) as caught:
        places.update(work.session, bench.actor, made.uid, before.model_copy(update={"name": "Mine"}))
    assert caught.value.fields == ("name", "months")


def test_a_place_with_a_panel_in_it_stays(bench: Bench) -> None:
    bench.panel()
    with bench.unit() as work, pytest.raises(Refused, match="Two pears"):
        places.archive(work.session, bench.actor, bench.place.uid)


def test_the_only_place_stays(bench: Bench) -> None:
    with bench.unit() as work, pytest.raises(Refused, match="only place"):
        places.archive(work.session, bench.actor, bench.place.uid)


def test_an_empty_place_is_archived_and_comes_back(bench: Bench) -> None:
    made = add(bench)
    for _ in range(2):
        with bench.unit() as work:
            places.archive(work.session, bench.actor, made.uid)
    with bench.db.read() as session:
        assert [row.uid for row in places.all_archived(session, bench.actor)] == [made.uid]
        assert [found.uid for found in rooms.read(session, bench.actor, ON, archived=True)] == [made.uid]
    with bench.unit() as work, pytest.raises(Refused, match="Bring it back first"):
        places.update(work.session, bench.actor, made.uid, stored(bench, made))
    with bench.unit() as work:
        places.restore(work.session, bench.actor, made.uid)
    with bench.db.read() as session:
        assert made.uid in {row.uid for row in places.all_open(session, bench.actor)}


def test_a_stranger_finds_no_place(bench: Bench, stranger: Bench) -> None:
    made = add(bench)
    with stranger.db.read() as session:
        assert made.uid not in {found.uid for found in rooms.read(session, stranger.actor, ON)}
        with pytest.raises(NotFound):
            places.get(session, stranger.actor, made.uid)
    with stranger.unit() as work, pytest.raises(NotFound):
        places.update(work.session, stranger.actor, made.uid, stored(bench, made))


def room(temperature_c: float, humidity_pct: float = 50.0, light: float = 1.0) -> Room:
    return Room((RoomStep(0.0, temperature_c, humidity_pct),), light, light_is_number=True, measured=True)


def test_the_reference_room_dries_at_the_reference_speed() -> None:
    assert rooms.speeds([rooms.REFERENCE_ROOM]) == [1.0]


def test_warmer_brighter_and_drier_is_faster() -> None:
    cold, usual, warm, dark, damp = rooms.speeds([room(12), room(21), room(28), room(21, 50, 0.25), room(21, 85)])
    assert cold < usual < warm
    assert dark < usual
    assert damp < usual


def test_the_speed_is_the_ratio_of_the_worked_times() -> None:
    # Titanium in linseed, 50 um, at 12 C: touch 14.337 d against 5.809 d at the reference, from the model's own
    # worked table. Dry-to-recoat is 1.5 touch + a quarter of the front; the front of 50 um takes 50^2/400 = 6.25 d at
    # the reference and exp(35000/8.314 x (1/285.15 - 1/294.15)) times that at 12 C (arithmetic).
    from math import exp

    slower = exp(35000 / 8.314 * (1 / 285.15 - 1 / 294.15))
    expected = (1.5 * 5.809 + 0.25 * 6.25) / (1.5 * 14.337 + 0.25 * 6.25 * slower)
    assert rooms.speeds([room(12)])[0] == pytest.approx(expected, rel=0.01)


def test_a_place_tells_its_year_and_this_month(bench: Bench) -> None:
    made = add(bench, temperature_c=21, relative_humidity_pct=50, months=[month(11, 12, 50)])
    bench.panel(place_uid=made.uid)
    with bench.db.read() as session:
        found = next(place for place in rooms.read(session, bench.actor, ON) if place.uid == made.uid)
    assert [own.month for own in found.months if own.is_own] == [11]
    assert found.this_month is found.months[10]
    assert found.this_month.temperature_c == 12
    assert found.months[0].speed == pytest.approx(1.0)
    assert found.this_month.speed < 0.5
    assert found.panels == 1


def test_the_rooms_are_read_in_as_many_queries_however_many_there_are(
    bench: Bench, count_queries: Callable[[], int]
) -> None:
    def taken() -> int:
        count_queries()
        with bench.db.read() as session:
            rooms.read(session, bench.actor, ON)
        return count_queries()

    few = taken()
    for number in range(4):
        add(bench, name=f"Place {number}", months=[month(1)])
    assert taken() == few


def test_nights_are_the_months_own_or_the_usual_ones_where_the_month_is_usual(bench: Bench) -> None:
    own_night = {"night_temperature_c": 8, "night_relative_humidity_pct": 80}
    place = add(
        bench,
        night_temperature_c=12,
        night_relative_humidity_pct=70,
        months=[month(1), month(2) | own_night],
        hours=[{"weekdays": "67", "start": "20:00", "end": "07:30", "temperature_c": 10}],
    )
    with bench.db.read() as session:
        climate = whereabouts(session, bench.actor.studio_id).places[place.id or 0].climate
    assert climate.nights == ((2, 8, 80), *((n, 12, 70) for n in range(3, 13)))
    assert climate.off == (HeatingOff(10.0, "67", 1200, 450),)
