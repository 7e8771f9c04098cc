"""The studio: made once with a place, its settings changed by one person at a time."""

from typing import Any

import pytest
from pydantic import ValidationError

from server.services import places, studios
from server.services.access import Actor
from server.services.errors import Conflict, NotFound
from server.services.studios import StudioUpdate
from server.services.unit import unit
from server.store.db import Database
from tests.services.conftest import Bench

SETTINGS = {
    "name": "By the river",
    "time_zone": "Europe/Lisbon",
    "confidence_pct": 80,
    "drops_per_ml": 22,
    "version": 1,
}


def test_there_is_no_studio_before_the_first_start(database: Database) -> None:
    with database.read() as session, pytest.raises(NotFound):
        studios.the_studio(session)


def test_the_first_start_makes_a_studio_with_a_place_once(database: Database) -> None:
    first = studios.ensure_studio(database, "Europe/Prague")
    again = studios.ensure_studio(database, "America/Lima")
    assert first.uid == again.uid
    assert again.time_zone == "Europe/Prague"
    with database.read() as session:
        actor = Actor("painter", first.id or 0)
        assert studios.the_studio(session).uid == first.uid
        assert [place.name for place in places.all_open(session, actor)] == [studios.FIRST_PLACE]


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"name": ""}, "at least 1 character"),
        ({"time_zone": "Mars/Olympus"}, "Choose one of the list"),
        ({"time_zone": "../../etc/passwd"}, "Choose one of the list"),
        ({"confidence_pct": 49}, "greater than or equal"),
        ({"confidence_pct": 100}, "less than or equal"),
        ({"drops_per_ml": 0}, "greater than or equal"),
        ({"drops_per_ml": 5000}, "less than or equal"),
        ({"drops_per_ml": 20.5}, "integer"),
        ({"share_wait_d": -0.5}, "greater than or equal"),
        ({"share_wait_d": 60.5}, "less than or equal"),
        ({"share_wait_d": float("nan")}, "finite"),
    ],
)
def test_settings_that_cannot_be_are_refused(values: dict[str, Any], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        StudioUpdate.model_validate(SETTINGS | values)


def test_settings_are_kept_and_the_second_tab_is_told(bench: Bench) -> None:
    with bench.unit() as work:
        changed = studios.update(work.session, bench.actor, StudioUpdate.model_validate(SETTINGS))
    assert (changed.name, changed.time_zone, changed.version) == ("By the river", "Europe/Lisbon", 2)
    late = StudioUpdate.model_validate(SETTINGS | {"name": "Mine"})
    with bench.unit() as work, pytest.raises(Conflict) as caught:
        studios.update(work.session, bench.actor, late)
    assert caught.value.fields == ("name",)
    with bench.unit() as work:
        assert studios.update(work.session, bench.actor, late.model_copy(update={"version": 2})).version == 3


def test_a_studio_s_panels_wait_a_week_to_share_a_mix_until_it_says_otherwise(bench: Bench) -> None:
    with bench.unit() as work:
        assert studios.get(work.session, bench.actor).share_wait_d == 7.0
        told = StudioUpdate.model_validate(SETTINGS | {"share_wait_d": 12.5})
        assert studios.update(work.session, bench.actor, told).share_wait_d == 12.5
    with bench.unit() as work:
        studios.set_zone(work.session, bench.actor, "Europe/Prague")
    with bench.db.read() as session:
        assert studios.get(session, bench.actor).share_wait_d == 12.5


def test_settings_of_another_studio_stay(bench: Bench, stranger: Bench) -> None:
    with bench.unit() as work:
        studios.update(work.session, bench.actor, StudioUpdate.model_validate(SETTINGS))
    with stranger.db.read() as session:
        assert studios.get(session, stranger.actor).name != "By the river"


def test_somebody_without_a_studio_finds_none(database: Database) -> None:
    with database.read() as session, pytest.raises(NotFound):
        studios.get(session, Actor("nobody", 999))


def test_every_zone_to_choose_is_one_that_is_taken() -> None:
    names = studios.zone_names()
    assert {"UTC", "Europe/Prague", "America/Argentina/Buenos_Aires"} <= set(names)
    assert all(studios.known_zone(name) == name for name in names)


def test_a_change_of_settings_is_in_the_history(bench: Bench) -> None:
    with unit(bench.db, bench.actor, label="Changed the studio's settings") as work:
        studios.update(work.session, bench.actor, StudioUpdate.model_validate(SETTINGS))
    from server.services import history

    with bench.db.read() as session:
        assert history.recent(session, bench.actor)[0].label == "Changed the studio's settings"
