"""A plan goes by the usual year of the place where each panel dries, not by that of another."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from server.planning.schedule import planner
from server.planning.schedule.check import check
from server.planning.schedule.problem import Hours, Painter
from server.planning.schedule.solve import Budget
from server.services import board, rooms
from server.services.board.films import panel_layers
from server.services.board.plan_problem import Extra, Room, problem
from server.services.board.rows import load
from server.services.board.standing import standings
from server.services.panel_moves import MoveCreate, create
from server.store.tables import Place, PlaceMonth
from tests.services.conftest import NOW, Bench, add

PRAGUE = ZoneInfo("Europe/Prague")
WINTER = {12: 6.0, 1: 4.0, 2: 5.0}  # a place as warm as the other in November and cold after


@pytest.fixture
def cellar(bench: Bench) -> Place:
    with bench.db.write() as session:
        place = add(session, Place(studio_id=bench.actor.studio_id, name="Cellar", light="room"))
        for month, temperature_c in WINTER.items():
            damp = place.relative_humidity_pct
            row = PlaceMonth(
                place_id=place.id or 0, month=month, temperature_c=temperature_c, relative_humidity_pct=damp
            )
            add(session, row)
        return place


def layered(bench: Bench, title: str, place: Place) -> str:
    panel = bench.panel(title=title, place_uid=place.uid)
    for _ in range(4):
        bench.layer(panel, thickness_preset="loaded_brush")
    return panel.uid


def test_a_panel_in_the_cold_has_the_winter_of_its_own_place(bench: Bench, cellar: Place) -> None:
    warm, cold, carried = (
        layered(bench, "Warm", bench.place),
        layered(bench, "Cold", cellar),
        layered(bench, "Carried", bench.place),
    )
    with bench.unit() as work:  # where it is now counts, not where it began
        create(work.session, bench.actor, carried, MoveCreate(place_uid=cellar.uid))
    moment = board.moment_of(NOW + timedelta(minutes=10), PRAGUE)
    with bench.db.read() as session:
        rows = load(session, bench.actor)
        assert rows is not None
        years = {
            place.name: tuple(m.speed for m in place.months) for place in rooms.read(session, bench.actor, moment.on)
        }
    painter = Painter("Painter", (Hours(frozenset(range(1, 8)), 9 * 60, 17 * 60),))
    room = Room((painter,), None, None, 30, {}, frozenset())
    question = problem(standings(rows, panel_layers(rows, moment), moment), rows, moment, room, Extra())
    speeds = {panel.id: panel.speed.by_month for panel in question.panels if panel.speed is not None}
    assert speeds == {warm: years["Rack"], cold: years["Cellar"], carried: years["Cellar"]}
    assert years["Cellar"][0] < 0.4 * years["Cellar"][10]  # January against November
    plan, _ = planner.plan(question, budget=Budget(moves=200))
    assert check(question, plan) == []
    finish = {panel.id: panel.finish_on for panel in plan.panels}
    waits_d = {uid: (on - moment.on).days for uid, on in finish.items() if on is not None}
    assert waits_d[cold] > waits_d[warm] + 14
    assert waits_d[carried] == pytest.approx(waits_d[cold], abs=2)
