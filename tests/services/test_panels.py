"""Panels: kept as typed, changed, archived, and never seen from another studio."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from pydantic import ValidationError

from server.services import panels
from server.services.errors import Conflict, Invalid, NotFound, Refused
from server.services.panels import PanelCreate, PanelUpdate
from server.store.tables import Panel
from tests.services.conftest import NOW, Bench


def as_update(bench: Bench, panel: Panel, **values: Any) -> PanelUpdate:
    with bench.db.read() as session:
        return panels.public(session, panels.get(session, bench.actor, panel.uid)).model_copy(update=values)


def change(bench: Bench, panel: Panel, command: PanelUpdate) -> Panel:
    with bench.unit("Changed a panel") as work:
        return panels.update(work.session, bench.actor, panel.uid, command)


def test_a_panel_is_kept_as_typed(bench: Bench) -> None:
    made = bench.panel(
        title="  Žluté hrušky – №2  ",
        width_cm=20.04,
        ground_kind="oil",
        ground_pigment="pw1",
        ground_on=date(2026, 3, 1),
        due_on=date(2027, 1, 31),
        due_for="an exhibition",
        notes="first line\r\nsecond line",
    )
    with bench.db.read() as session:
        found = panels.get(session, bench.actor, made.uid)
    assert found.title == "Žluté hrušky – №2"
    assert (found.width_mm, found.height_mm) == (200.4, 500)
    assert found.ground_pigment == "PW1"
    assert (found.ground_on, found.due_on, found.due_for) == (date(2026, 3, 1), date(2027, 1, 31), "an exhibition")
    assert found.notes == "first line\nsecond line"
    assert (found.version, found.created_at, found.updated_at) == (1, NOW, NOW)


def test_an_edit_that_changes_nothing_leaves_the_version(bench: Bench) -> None:
    panel = bench.panel()
    assert change(bench, panel, as_update(bench, panel)).version == 1


def test_an_edit_changes_what_it_names(bench: Bench) -> None:
    panel = bench.panel()
    after = change(bench, panel, as_update(bench, panel, title="Three pears", width_cm=41.5))
    assert (after.title, after.width_mm, after.height_mm, after.version) == ("Three pears", 415, 500, 2)


def test_the_second_of_two_tabs_is_told_and_loses_nothing(bench: Bench) -> None:
    panel = bench.panel()
    mine = as_update(bench, panel, title="Mine", notes="typed for an hour")
    change(bench, panel, as_update(bench, panel, title="Theirs"))
    with pytest.raises(Conflict) as caught:
        change(bench, panel, mine)
    assert caught.value.fields == ("title", "notes")
    assert caught.value.current["title"] == "Theirs"
    assert caught.value.current["version"] == 2
    with bench.db.read() as session:
        assert panels.get(session, bench.actor, panel.uid).title == "Theirs"
    again = change(bench, panel, mine.model_copy(update={"version": caught.value.current["version"]}))
    assert (again.title, again.notes, again.version) == ("Mine", "typed for an hour", 3)


def test_the_same_edit_from_two_tabs_is_no_conflict(bench: Bench) -> None:
    panel = bench.panel()
    same = as_update(bench, panel, title="The same")
    assert change(bench, panel, same).version == 2
    assert change(bench, panel, same).version == 2


def test_archiving_hides_and_restoring_shows(bench: Bench) -> None:
    panel = bench.panel()
    for _ in range(2):
        with bench.unit() as work:
            panels.archive(work.session, bench.actor, panel.uid)
    with bench.db.read() as session:
        assert panels.all_open(session, bench.actor) == []
        [archived] = panels.all_archived(session, bench.actor)
        assert archived.archived_at == NOW
        assert archived.version == 2
    with pytest.raises(Refused, match="archived"):
        change(bench, panel, as_update(bench, panel, title="No"))
    with bench.unit() as work:
        panels.restore(work.session, bench.actor, panel.uid)
    with bench.db.read() as session:
        assert [found.uid for found in panels.all_open(session, bench.actor)] == [panel.uid]


def test_another_studio_sees_nothing(bench: Bench, stranger: Bench) -> None:
    panel = bench.panel()
    command = as_update(bench, panel, title="Mine now")
    with stranger.db.read() as session:
        assert panels.all_open(session, stranger.actor) == []
        with pytest.raises(NotFound):
            panels.get(session, stranger.actor, panel.uid)
    for act in (panels.archive, panels.restore):
        with pytest.raises(NotFound), stranger.unit() as work:
            act(work.session, stranger.actor, panel.uid)
    with pytest.raises(NotFound), stranger.unit() as work:
        panels.update(work.session, stranger.actor, panel.uid, command)
    with pytest.raises(Invalid) as caught:
        stranger.panel(place_uid=bench.place.uid)
    assert caught.value.errors[0].field == "place_uid"


@pytest.mark.parametrize("uid", ["", "none", "'; DROP TABLE panel", "x" * 5000, "\u202e", "\x00", "\ud800"])
def test_an_unknown_uid_is_not_found(bench: Bench, uid: str) -> None:
    with bench.db.read() as session, pytest.raises(NotFound):
        panels.get(session, bench.actor, uid)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("title", ""),
        ("title", "   "),
        ("title", "x" * 201),
        ("title", "two\nlines"),
        ("title", "a\x00b"),
        ("title", "right\u202eleft"),
        ("title", "half a pair \ud800"),
        ("width_cm", 0),
        ("width_cm", -4),
        ("width_cm", 0.04),
        ("height_cm", 1000.1),
        ("height_cm", "nan"),
        ("height_cm", "inf"),
        ("height_cm", "wide"),
        ("support", "cloud"),
        ("ground_kind", "paint"),
        ("ground_surface", ""),
        ("ground_on", date(1, 1, 1)),
        ("due_on", date(9999, 12, 31)),
        ("due_on", "tomorrow"),
        ("due_for", "x" * 201),
        ("notes", "x" * 8001),
        ("notes", "\x1b[31m"),
        ("place_uid", "../etc"),
        ("colour", "red"),
    ],
)
def test_what_makes_no_sense_is_refused_at_its_field(bench: Bench, field: str, value: object) -> None:
    with pytest.raises(ValidationError) as caught:
        bench.panel_command(**{field: value})
    assert [error["loc"][0] for error in caught.value.errors()] == [field]


@pytest.mark.parametrize(
    ("values", "field", "words"),
    [
        ({"ground_kind": "oil", "ground_pigment": "PX99"}, "ground_pigment", "not in the table"),
        ({"ground_kind": "acrylic", "ground_pigment": "PW6"}, "ground_pigment", "Only an oil ground"),
        ({"ground_on": (NOW + timedelta(days=2)).date()}, "ground_on", "to come"),
        ({"finished_on": (NOW + timedelta(days=2)).date()}, "finished_on", "to come"),
        ({"place_uid": "nowhere"}, "place_uid", "Choose one of the list"),
    ],
)
def test_what_only_the_studio_knows_is_refused_at_its_field(
    bench: Bench, values: dict[str, Any], field: str, words: str
) -> None:
    with pytest.raises(Invalid) as caught:
        bench.panel(**values)
    assert [error.field for error in caught.value.errors] == [field]
    assert words in caught.value.errors[0].message


def test_an_archived_place_takes_no_new_panel_but_keeps_its_own(bench: Bench) -> None:
    panel = bench.panel()
    with bench.unit() as work:
        work.session.get_one(type(bench.place), bench.place.id).archived_at = NOW
    with pytest.raises(Invalid, match="archived"):
        bench.panel()
    assert change(bench, panel, as_update(bench, panel, title="Still here")).title == "Still here"


def test_a_ground_lies_below_the_first_layer(bench: Bench) -> None:
    panel = bench.panel()
    bench.painted(panel, 5)  # 20 November
    with pytest.raises(Invalid, match="painted on 20 November 2026") as caught:
        change(bench, panel, as_update(bench, panel, ground_on=date(2026, 11, 21)))
    assert caught.value.errors[0].field == "ground_on"
    assert change(bench, panel, as_update(bench, panel, ground_on=date(2026, 11, 20))).version == 2


def test_the_last_layer_lies_above_the_ground_and_the_first_one(bench: Bench) -> None:
    """Told at its field where one of the days is changed; a record that holds otherwise can still be changed."""
    panel = bench.panel(ground_on=date(2026, 11, 10))
    bench.painted(panel, 5)  # 20 November
    for day, words in ((date(1990, 1, 1), "painted on 20 November 2026"), (date(2026, 11, 19), "20 November 2026")):
        with pytest.raises(Invalid, match=words) as caught:
            change(bench, panel, as_update(bench, panel, finished_on=day))
        assert [error.field for error in caught.value.errors] == ["finished_on"]
    assert change(bench, panel, as_update(bench, panel, finished_on=date(2026, 11, 20))).version == 2
    with pytest.raises(Invalid, match="ground was laid on 10 November 2026"):
        bench.panel(ground_on=date(2026, 11, 10), finished_on=date(2026, 11, 9))
    old = bench.panel(ground_on=date(2019, 5, 2), finished_on=date(2019, 6, 1))
    with pytest.raises(Invalid, match="ground was laid on 2 July 2019"):
        change(bench, old, as_update(bench, old, ground_on=date(2019, 7, 2)))
    with bench.unit() as work:
        work.session.get_one(Panel, old.id).ground_on = date(2020, 1, 1)
    assert change(bench, old, as_update(bench, old, title="Older")).title == "Older"


def test_panels_are_read_with_one_query_however_many(bench: Bench, count_queries: Callable[[], int]) -> None:
    taken = []
    for wanted in (1, 20):
        with bench.unit() as work:
            for number in range(wanted):
                panels.create(work.session, bench.actor, bench.panel_command(title=f"Panel {number}"))
        count_queries()
        with bench.db.read() as session:
            panels.all_open(session, bench.actor)
        taken.append(count_queries())
    assert taken[0] == taken[1]


def test_the_edit_form_starts_from_what_the_command_would_leave(bench: Bench) -> None:
    panel = bench.panel(width_cm=33.3)
    command = as_update(bench, panel)
    assert PanelUpdate(**command.model_dump()) == command
    assert set(PanelCreate.model_fields) <= set(command.model_dump())
