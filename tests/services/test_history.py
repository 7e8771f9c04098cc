"""The history: readable, and every step of it can be taken back and done again."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import Session, select

from server.services import history, layers, panels, places, reverting, touch_tests
from server.services.errors import NotFound, Refused
from server.services.history import HistoryEntry
from server.services.images import FOLLOWED, Image, image_of
from server.services.touch_tests import TouchTestCreate
from server.store.tables import Change, ChangeSet, Layer, LayerMix, Panel, TouchTest
from tests.services.conftest import NOW, Bench
from tests.services.layer_acts import DAY, act, as_update, change, order, paint, regions


def recent(bench: Bench, **options: Any) -> list[HistoryEntry]:
    with bench.db.read() as session:
        return history.recent(session, bench.actor, **options)


def undo(bench: Bench, uid: str, key: str | None = None) -> ChangeSet:
    with bench.unit("Undo", key=key, now=NOW + timedelta(minutes=1)) as work:
        return history.undo(work.session, bench.actor, uid)


def last(bench: Bench) -> str:
    return recent(bench)[0].uid


def rename(bench: Bench, panel: Panel, title: str) -> Panel:
    with bench.unit(f"Renamed to {title}") as work:
        command = panels.public(work.session, panels.get(work.session, bench.actor, panel.uid))
        return panels.update(work.session, bench.actor, panel.uid, command.model_copy(update={"title": title}))


def title(bench: Bench, panel: Panel) -> str:
    with bench.db.read() as session:
        return panels.get(session, bench.actor, panel.uid).title


def log(bench: Bench, layer: Layer) -> TouchTest:
    with bench.unit("Touch test") as work:
        return touch_tests.log(work.session, bench.actor, layer.uid, TouchTestCreate(stage="wet"))


def everything(session: Session) -> dict[str, list[Image]]:
    """All rows, without what grows with every change."""
    rows = {}
    for name, kind in FOLLOWED.items():
        images = [image_of(row) for row in session.exec(select(kind))]
        rows[name] = [{k: v for k, v in i.items() if k not in {"version", "updated_at"}} for i in images]
        rows[name].sort(key=lambda image: image["id"])
    return rows


def state(bench: Bench) -> dict[str, list[Image]]:
    with bench.db.read() as session:
        return everything(session)


def test_entries_are_newest_first_with_words_and_time(bench: Bench) -> None:
    panel = bench.panel()
    rename(bench, panel, "Three pears")
    newest, oldest = recent(bench)
    assert (newest.label, newest.actor, newest.at, newest.action) == ("Renamed to Three pears", "painter", NOW, "undo")
    assert oldest.label == "Added a panel"
    assert [entry.uid for entry in recent(bench, limit=1)] == [newest.uid]
    assert [entry.uid for entry in recent(bench, before_uid=newest.uid)] == [oldest.uid]


def test_a_record_shows_what_changed_in_it(bench: Bench) -> None:
    layer = bench.layer(bench.panel())
    change(bench, layer, kind="ground tone", mixes=[{"mix_uid": bench.black.uid, "area_pct": 100}])
    with bench.db.read() as session:
        changed, added = history.of_record(session, bench.actor, "layer", layer.uid)
    assert {(row.table, row.what) for row in added.rows} == {("layer", "added"), ("layer_mix", "added")}
    by_table = {(row.table, row.what): row for row in changed.rows}
    assert set(by_table) == {("layer", "changed"), ("layer_mix", "added"), ("layer_mix", "removed")}
    [field] = by_table["layer", "changed"].fields
    assert (field.name, field.before, field.after) == ("kind", "underpainting", "ground tone")


def test_a_panel_shows_its_layers_and_tests_as_well(bench: Bench) -> None:
    panel = bench.panel()
    log(bench, bench.painted(panel, 2))
    bench.painted(bench.panel(), 2)  # of another panel
    with bench.db.read() as session:
        labels = [entry.label for entry in history.of_panel(session, bench.actor, panel.uid)]
        assert len(history.of_record(session, bench.actor, "panel", panel.uid)) == 1
    assert labels == ["Touch test", "Added a layer", "Added a panel"]


def test_another_studio_sees_and_undoes_nothing(bench: Bench, stranger: Bench) -> None:
    panel = bench.panel()
    uid = last(bench)
    assert recent(stranger) == []
    with pytest.raises(NotFound):
        undo(stranger, uid)
    with stranger.db.read() as session:
        for table in ("panel", "studio", "layer_mix", "change", "nothing"):
            with pytest.raises(NotFound):
                history.of_record(session, stranger.actor, table, panel.uid)
        with pytest.raises(NotFound):
            history.of_panel(session, stranger.actor, panel.uid)


@pytest.mark.parametrize("uid", ["nothing", "", "\x00", "\ud800", "x" * 5000])
def test_an_unknown_change_set_is_not_found(bench: Bench, uid: str) -> None:
    with pytest.raises(NotFound):
        undo(bench, uid)
    with bench.db.read() as session:
        assert history.entry(session, bench.actor, uid) is None
        assert history.label_of(session, bench.actor, uid) is None
        with pytest.raises(NotFound):
            history.of_record(session, bench.actor, "panel", uid)


def test_an_edit_is_undone_and_done_again(bench: Bench) -> None:
    panel = bench.panel()
    rename(bench, panel, "Three pears")
    uid = last(bench)
    undone = undo(bench, uid)
    assert title(bench, panel) == "Two pears"
    assert undone.uid == uid
    entry = recent(bench)[0]
    assert (entry.label, entry.action) == ("Undid: Renamed to Three pears", "")
    assert recent(bench)[1].action == "redo"
    undo(bench, last(bench))  # the undo of the undo
    assert title(bench, panel) == "Three pears"
    assert recent(bench)[0].label == "Redid: Renamed to Three pears"
    assert [e.action for e in recent(bench)] == ["", "", "undo", "undo"]


def test_what_can_no_longer_be_done_again_is_told_so(bench: Bench) -> None:
    panel = bench.panel()
    rename(bench, panel, "Three pears")
    uid = last(bench)
    undo(bench, uid)
    rename(bench, panel, "Four pears")
    with pytest.raises(Refused, match="can no longer be done again: the panel was changed since"), bench.unit() as work:
        history.redo(work.session, bench.actor, uid)
    rename(bench, panel, "Five pears")
    uid = last(bench)
    rename(bench, panel, "Six pears")
    with pytest.raises(Refused, match="can no longer be undone"):
        undo(bench, uid)


def test_undoing_twice_is_the_same_as_once(bench: Bench) -> None:
    panel = bench.panel()
    rename(bench, panel, "Three pears")
    uid = last(bench)
    undo(bench, uid)
    first = recent(bench)
    assert undo(bench, uid).uid == uid
    assert undo(bench, uid, key="key-1").uid == uid
    assert title(bench, panel) == "Two pears"
    assert recent(bench) == first


def test_each_link_of_a_chain_stands_for_its_state(bench: Bench) -> None:
    panel = bench.panel()
    rename(bench, panel, "new")
    edit = last(bench)
    undo(bench, edit)
    first_undo = last(bench)
    undo(bench, first_undo)
    first_redo = last(bench)
    undo(bench, first_undo)  # its redo is done already
    assert title(bench, panel) == "new"
    undo(bench, first_redo)
    assert title(bench, panel) == "Two pears"
    undo(bench, first_redo)  # undone already
    undo(bench, edit)
    assert title(bench, panel) == "Two pears"
    undo(bench, last(bench))
    assert title(bench, panel) == "new"


def test_steps_are_undone_one_after_the_other(bench: Bench) -> None:
    panel = bench.panel()
    uids = []
    for word in ("one", "two", "three"):
        rename(bench, panel, word)
        uids.append(last(bench))
    seen = []
    for uid in reversed(uids):
        undo(bench, uid)
        seen.append(title(bench, panel))
    assert seen == ["two", "one", "Two pears"]


def test_what_changed_since_is_not_overwritten(bench: Bench) -> None:
    panel = bench.panel()
    rename(bench, panel, "one")
    uid = last(bench)
    rename(bench, panel, "two")
    before = state(bench)
    with pytest.raises(Refused, match="the panel was changed since"):
        undo(bench, uid)
    assert state(bench) == before
    assert recent(bench)[1].action == "undo"


def test_an_added_record_is_archived_by_undo(bench: Bench) -> None:
    panel = bench.panel()
    undo(bench, last(bench))
    with bench.db.read() as session:
        assert panels.all_open(session, bench.actor) == []
        assert [found.uid for found in panels.all_archived(session, bench.actor)] == [panel.uid]
    undo(bench, recent(bench)[1].uid if recent(bench)[0].action else last(bench))
    with bench.db.read() as session:
        assert [found.uid for found in panels.all_open(session, bench.actor)] == [panel.uid]


def test_a_record_that_others_rest_on_is_not_undone(bench: Bench) -> None:
    panel = bench.panel()
    added_panel = last(bench)
    layer = bench.painted(panel, 1)
    added_layer = last(bench)
    log(bench, layer)
    with pytest.raises(Refused, match="A layer needs the panel by now"):
        undo(bench, added_panel)
    with pytest.raises(Refused, match="A touch test needs the layer by now"):
        undo(bench, added_layer)
    undo(bench, last(bench))
    undo(bench, added_layer)
    undo(bench, added_panel)
    with bench.db.read() as session:
        assert panels.all_open(session, bench.actor) == []


def test_replaced_rows_come_back_as_they_were(bench: Bench) -> None:
    mixes = [
        {"mix_uid": bench.white.uid, "area_pct": 70, "region": "sky"},
        {"mix_uid": bench.black.uid, "area_pct": 30},
    ]
    layer = bench.layer(bench.panel(), mixes=mixes)
    before = state(bench)
    after = change(bench, layer, mixes=[{"mix_uid": bench.black.uid, "area_pct": 100}])
    stale = as_update(bench, layer)
    undo(bench, last(bench))
    assert state(bench) == before
    with bench.db.read() as session:
        assert layers.get(session, bench.actor, layer.uid).version > after.version
    assert stale.version == after.version  # an open form from before the undo is told
    undo(bench, last(bench))
    assert regions(bench, layer) == [(bench.black.id, 1.0, "")]


def test_rows_with_a_unique_value_come_and_go(bench: Bench) -> None:
    """A place has one row for a month: the old one must leave before the new one comes, in every direction."""

    def set_january(temperature_c: float) -> None:
        with bench.unit(f"January {temperature_c}") as work:
            place = places.get(work.session, bench.actor, bench.place.uid)
            month = {"month": 1, "temperature_c": temperature_c, "relative_humidity_pct": 40}
            stored = places.public(work.session, place).model_dump() | {"months": [month]}
            command = places.PlaceUpdate(**stored)
            places.update(work.session, bench.actor, place.uid, command)

    states = [state(bench)]
    for temperature_c in (15, 17):
        set_january(temperature_c)
        states.append(state(bench))
    first, second = (entry.uid for entry in reversed(recent(bench)))
    for uid, wanted in ((second, 1), (first, 0)):
        undo(bench, uid)
        assert state(bench) == states[wanted]
    for uid, wanted in ((first, 1), (second, 2)):
        with bench.unit("Redo") as work:
            history.redo(work.session, bench.actor, uid)
        assert state(bench) == states[wanted]


def test_a_painted_layer_is_unpainted_by_undo_and_painted_again(bench: Bench) -> None:
    panel = bench.panel()
    layer = bench.layer(panel)
    before = state(bench)
    painted = paint(bench, layer, mixes=[{"mix_uid": bench.black.uid}])
    after = state(bench)
    undo(bench, last(bench))
    assert state(bench) == before
    undo(bench, last(bench))
    assert state(bench) == after
    with bench.db.read() as session:
        found = layers.get(session, bench.actor, layer.uid)
    assert (found.recipe_json, found.forecast_json) == (painted.recipe_json, painted.forecast_json)


def test_an_undo_that_would_upset_the_stack_is_refused(bench: Bench) -> None:
    panel = bench.panel()
    lower = paint(bench, bench.layer(panel, kind="lower"), painted_at=NOW - 3 * DAY)
    painting = last(bench)
    upper = bench.painted(panel, 1, kind="upper", override_reason="Only at the dry edge")
    with pytest.raises(Refused, match="would lie on “lower”, which is only planned"):
        undo(bench, painting)
    with bench.unit() as work:
        layers.archive(work.session, bench.actor, upper.uid)
    log(bench, lower)
    with pytest.raises(Refused, match="touch test"):
        undo(bench, painting)


def test_moving_archiving_and_restoring_are_undone(bench: Bench) -> None:
    panel = bench.panel()
    first, _ = bench.layer(panel, kind="a"), bench.layer(panel, kind="b")
    act(bench, layers.move, first, "up")
    undo(bench, last(bench))
    assert order(bench, panel) == ["a", "b"]
    act(bench, layers.archive, first)
    undo(bench, last(bench))
    assert order(bench, panel) == ["a", "b"]
    act(bench, layers.archive, first)
    act(bench, layers.restore, first)
    undo(bench, last(bench))
    assert order(bench, panel) == ["b"]


def test_an_undo_needs_a_unit_of_work(bench: Bench) -> None:
    bench.panel()
    uid = last(bench)
    with pytest.raises(RuntimeError, match="unit of work"), bench.db.write() as session:
        history.undo(session, bench.actor, uid)


def test_a_repeated_undo_with_the_same_key_leads_to_the_same_place(bench: Bench) -> None:
    panel = bench.panel()
    rename(bench, panel, "one")
    uid = last(bench)
    for _ in range(2):
        with bench.unit("Undo", key="key-1") as work:
            if not work.repeated:
                history.undo(work.session, bench.actor, uid)
                work.location = "/history"
        assert work.location == "/history"
    assert title(bench, panel) == "Two pears"


def test_the_history_never_loses_a_row(bench: Bench) -> None:
    panel = bench.panel()
    rename(bench, panel, "one")
    with bench.db.read() as session:
        before = list(session.exec(select(Change.id)))
    undo(bench, last(bench))
    with bench.db.read() as session:
        assert set(before) < set(session.exec(select(Change.id)))


def test_the_history_is_read_with_as_many_queries_however_long(bench: Bench, count_queries: Callable[[], int]) -> None:
    panel = bench.panel()
    taken = []
    for number in range(12):
        rename(bench, panel, f"title {number}")
        count_queries()
        recent(bench)
        with bench.db.read() as session:
            history.of_record(session, bench.actor, "panel", panel.uid)
            history.of_panel(session, bench.actor, panel.uid)
        taken.append(count_queries())
    assert len(set(taken)) == 1


def test_rows_of_a_layer_belong_to_no_other(bench: Bench) -> None:
    panel = bench.panel()
    one, other = bench.layer(panel), bench.layer(panel)
    change(bench, one, mixes=[])
    undo(bench, last(bench))
    with bench.db.read() as session:
        owners = [row.layer_id for row in session.exec(select(LayerMix))]
    assert set(owners) == {one.id, other.id}
    assert len(owners) == 2


def test_every_row_that_can_be_undone_has_a_word_for_a_refusal() -> None:
    assert set(reverting.WORDS) == set(FOLLOWED)
