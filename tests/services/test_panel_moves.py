"""A panel goes from place to place: its layers dry where it was, those to come where it is."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from server.science.results import Stage
from server.services import board, history, panel_moves, places
from server.services.errors import Invalid, NotFound, Refused
from server.services.panel_moves import MoveCreate, MoveUpdate
from server.store.tables import Panel, PanelMove, Place
from tests.services.conftest import NOW, Bench

PRAGUE = ZoneInfo("Europe/Prague")


def place(bench: Bench, name: str, **values: object) -> Place:
    given = {"name": name, "light": "room", "temperature_c": 12, "relative_humidity_pct": 50} | values
    with bench.unit("Place") as work:
        return places.create(work.session, bench.actor, places.PlaceCreate(**given))


def move(bench: Bench, panel: Panel, to: Place, days_ago: float = 0.0) -> PanelMove:
    with bench.unit("Moved") as work:
        command = MoveCreate(place_uid=to.uid, moved_at=NOW - timedelta(days=days_ago))
        return panel_moves.create(work.session, bench.actor, panel.uid, command)


def names(bench: Bench, panel: Panel) -> list[str]:
    with bench.db.read() as session:
        return [stay.place.name for stay in panel_moves.stays(session, panel)]


def shown(bench: Bench, panel: Panel) -> board.PanelBoard:
    with bench.db.read() as session:
        return board.panel_page(session, bench.actor, panel.uid, NOW, PRAGUE)


def touch_on(bench: Bench, panel: Panel, layer: int = 0):
    return shown(bench, panel).layers[layer].stages[Stage.DRY_TO_TOUCH].central


def test_a_panel_goes_on_from_where_it_began(bench: Bench) -> None:
    cellar, panel = place(bench, "Cellar"), bench.panel()
    assert names(bench, panel) == ["Rack"]
    move(bench, panel, cellar, days_ago=2)
    assert names(bench, panel) == ["Rack", "Cellar"]
    assert shown(bench, panel).panel.place == "Cellar"
    move(bench, panel, bench.place, days_ago=5)
    assert names(bench, panel) == ["Rack", "Rack", "Cellar"]


def test_what_was_dry_before_a_move_stays_so_and_what_was_not_changes(bench: Bench) -> None:
    cellar = place(bench, "Cellar", temperature_c=8)
    early, late, never = (bench.panel(title=title) for title in ("Early", "Late", "Never"))
    for panel in (early, late, never):
        bench.painted(panel, 20)
        bench.layer(panel)
    before = touch_on(bench, never)
    move(bench, early, cellar, days_ago=19)
    move(bench, late, cellar, days_ago=1)
    assert touch_on(bench, early) > before
    assert touch_on(bench, late) == before
    to_come = [touch_on(bench, panel, 1) for panel in (early, late, never)]
    assert to_come[0] > to_come[2]
    assert to_come[1] > to_come[2]


def test_a_move_is_undone_corrected_and_taken_back(bench: Bench) -> None:
    cellar, panel = place(bench, "Cellar"), bench.panel()
    made = move(bench, panel, cellar, days_ago=2)
    with bench.unit("Corrected") as work:
        command = MoveUpdate(place_uid=cellar.uid, moved_at=NOW - timedelta(days=3), version=1)
        panel_moves.update(work.session, bench.actor, made.uid, command)
    with bench.db.read() as session:
        assert panel_moves.get(session, bench.actor, made.uid).moved_at == NOW - timedelta(days=3)
        entry = history.recent(session, bench.actor, 1)[0]
        assert entry.uid in {each.uid for each in history.of_panel(session, bench.actor, panel.uid)}
    with bench.unit("Undo") as work:
        history.undo(work.session, bench.actor, entry.uid)
    with bench.db.read() as session:
        assert panel_moves.get(session, bench.actor, made.uid).moved_at == NOW - timedelta(days=2)
    with bench.unit("Taken back") as work:
        panel_moves.archive(work.session, bench.actor, made.uid)
    assert names(bench, panel) == ["Rack"]
    with bench.unit("Back") as work:
        panel_moves.restore(work.session, bench.actor, made.uid)
    assert names(bench, panel) == ["Rack", "Cellar"]


def test_what_cannot_be_is_refused(bench: Bench, stranger: Bench) -> None:
    cellar, panel = place(bench, "Cellar"), bench.panel()
    move(bench, panel, cellar, days_ago=2)
    with pytest.raises(Refused, match="already"):
        move(bench, panel, cellar)
    with pytest.raises(Invalid, match="to come"):
        move(bench, panel, bench.place, days_ago=-1)
    with pytest.raises(Invalid, match="very minute"):
        move(bench, panel, bench.place, days_ago=2)
    with pytest.raises(Invalid):
        move(bench, panel, stranger.place)
    with pytest.raises(NotFound):
        move(stranger, panel, stranger.place)


def test_a_place_that_a_panel_was_moved_into_is_in_use(bench: Bench) -> None:
    cellar, panel = place(bench, "Cellar"), bench.panel()
    move(bench, panel, cellar)
    with pytest.raises(Refused, match="in this place"), bench.unit("Away") as work:
        places.archive(work.session, bench.actor, cellar.uid)
    with bench.unit("Away") as work:
        assert places.archive(work.session, bench.actor, bench.place.uid).archived_at is not None
    assert names(bench, panel) == ["Rack", "Cellar"]


def test_a_move_between_places_alike_changes_no_date(bench: Bench) -> None:
    twin = place(bench, "Twin", temperature_c=20)
    panel = bench.panel()
    bench.painted(panel, 6)
    before = shown(bench, panel).layers[0].stages
    move(bench, panel, twin, days_ago=3)
    assert shown(bench, panel).layers[0].stages == before


def test_a_move_long_before_anything_is_known_of_the_panel_is_refused(bench: Bench) -> None:
    """What is known: its being written down, the day of its ground, its layers. A year before that a bare panel may
    have stood anywhere; of one begun years ago all may be told."""
    cellar, new, grounded, painted = place(bench, "Cellar"), *(bench.panel(title=title) for title in "abc")
    with bench.unit("Ground") as work:
        work.session.get_one(Panel, grounded.id).ground_on = (NOW - timedelta(days=12_000)).date()
    bench.painted(painted, 2_000)
    for panel, known_d in ((new, 0), (grounded, 12_000), (painted, 2_000)):
        move(bench, panel, cellar, days_ago=known_d + 364)
        with pytest.raises(Invalid, match="more than a year earlier") as found:
            move(bench, panel, cellar, days_ago=known_d + 367)
        assert [error.field for error in found.value.errors] == ["moved_at"]
    made = move(bench, new, bench.place, days_ago=1)
    command = MoveUpdate(place_uid=cellar.uid, moved_at=NOW - timedelta(days=13_000), version=1)
    with pytest.raises(Invalid, match="more than a year earlier"), bench.unit("Corrected") as work:
        panel_moves.update(work.session, bench.actor, made.uid, command)
