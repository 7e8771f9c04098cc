"""Purging: nothing of the picture is left, everything else works as if it had never been."""

from datetime import timedelta
from io import BytesIO
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select
from sqlmodel import Session, col

from server.formats.ical import Entry
from server.services import (
    history,
    layers,
    learning_data,
    mixes,
    paints,
    panel_moves,
    panels,
    places,
    planning,
    planning_make,
    planning_plans,
    purging,
    purging_records,
    touch_tests,
    upkeep,
)
from server.services.access import Actor
from server.services.archive.pack import pack
from server.services.board.today import moment_of, today
from server.services.errors import Forbidden, Invalid, NotFound, Refused
from server.services.feed_publishing import publish
from server.services.images import OWNER_COLUMN, sql_table
from server.services.layer_commands import LayerMixPart
from server.services.planning_asked import PlanMake
from server.services.whereabouts import whereabouts
from server.store.db import Database
from server.store.tables import (
    Panel,
    Place,
    Quote,
    Reading,
    ReadingBatch,
    ReadingExtent,
    ShareLink,
    ShareLinkPanel,
    Table,
)
from tests.services.conftest import NOW, Bench

ZONE = ZoneInfo("Europe/Prague")
TITLE = "Quince and lead jug"


def everything(db: Database) -> str:
    """All that is stored, as text."""
    with db.read() as session:
        return "\n".join(
            repr(dict(row))
            for table in Table.metadata.sorted_tables
            for row in session.execute(select(table)).mappings()
        )


def press(bench: Bench, layer_uid: str, days_ago: float, stage: str) -> None:
    with bench.unit("Pressed") as work:
        command = touch_tests.TouchTestCreate(stage=stage, pressed_at=NOW - timedelta(days=days_ago))
        touch_tests.log(work.session, bench.actor, layer_uid, command, NOW)


def picture(bench: Bench, title: str = TITLE) -> Panel:
    """An archived picture with a story: painted, pressed, renamed, undone, planned."""
    panel = bench.panel(title=title)
    layer = bench.painted(panel, days_ago=30)
    press(bench, layer.uid, 25, "wet")
    press(bench, layer.uid, 10, "tacky")
    bench.layer(panel, kind="glaze")
    with bench.unit(f"Archived “{title}”") as work:
        panels.archive(work.session, bench.actor, panel.uid)
    return panel


def purge(bench: Bench, panel: Panel, title: str = TITLE, actor: Actor | None = None) -> str:
    with bench.unit("Purged a panel") as work:
        purging.purge(work.session, actor or bench.actor, panel.uid, title)
    return work.change_uid


def learned(bench: Bench) -> tuple[object, ...]:
    with bench.db.read() as session:
        found = learning_data.read(session, bench.actor.studio_id, whereabouts(session, bench.actor.studio_id))
    effects = () if found.learned is None else tuple(found.learned.effects())
    return (found.tests, found.layers, effects)


def test_nothing_of_it_is_left(bench: Bench, database_url: str) -> None:
    kept = bench.painted(bench.panel(title="Stays"), days_ago=20)
    press(bench, kept.uid, 15, "wet")
    before = learned(bench)
    panel = picture(bench)
    assert learned(bench) != before
    with bench.db.read() as session:
        goes = purging.look(session, bench.actor, panel.uid)
    assert (goes.layers, goes.tests) == (2, 2)
    assert goes.changes >= 7
    uid = purge(bench, panel)
    left = everything(bench.db)
    assert TITLE not in left
    assert panel.uid not in left
    assert upkeep.check(database_url).faults == ()
    assert learned(bench) == before
    with bench.db.read() as session:
        with pytest.raises(NotFound):
            panels.get(session, bench.actor, panel.uid)
        assert [each.title for each in panels.all_open(session, bench.actor)] == ["Stays"]
        (newest, *_) = history.recent(session, bench.actor)
        assert (newest.uid, newest.label, newest.actor, newest.action) == (uid, "Purged a panel", "painter", "")
        today(session, bench.actor, NOW, ZONE)
        made = BytesIO()
        pack(session, made, NOW)
    assert made.tell() > 1000
    with pytest.raises(Refused, match="gone for good"), bench.unit("Undid") as work:
        history.undo(work.session, bench.actor, uid)


def test_only_the_owner_only_what_is_archived_only_by_its_title(bench: Bench, stranger: Bench) -> None:
    panel = picture(bench)
    before = everything(bench.db)
    for role in ("painter", "assistant", "viewer"):
        with pytest.raises(Forbidden):
            purge(bench, panel, actor=Actor("somebody", bench.actor.studio_id, role))
    with pytest.raises(NotFound):
        purge(bench, panel, actor=stranger.actor)
    for typed in ("", "Quince", TITLE.upper()):
        with pytest.raises(Invalid, match=TITLE):
            purge(bench, panel, typed)
    assert everything(bench.db) == before
    with bench.unit("Brought back") as work:
        panels.restore(work.session, bench.actor, panel.uid)
    with pytest.raises(Refused, match="not archived"):
        purge(bench, panel)
    assert TITLE in everything(bench.db)


def test_other_pictures_and_their_history_stay(bench: Bench) -> None:
    other = bench.panel(title="Stays")
    bench.painted(other, days_ago=3)
    with bench.unit("Two at once") as work:
        command = bench.panel_command(title=TITLE)
        panel = panels.create(work.session, bench.actor, command)
        twin = panels.create(work.session, bench.actor, bench.panel_command(title="Its twin"))
        work.label = f"Took in “{TITLE}” and another"
        both = work.change_uid
    with bench.unit("Archived") as work:
        panels.archive(work.session, bench.actor, panel.uid)
    with bench.db.read() as session:
        before = history.of_panel(session, bench.actor, other.uid)
    purge(bench, panel)
    with bench.db.read() as session:
        assert history.of_panel(session, bench.actor, other.uid) == before
        assert history.label_of(session, bench.actor, both) == "Took in “a purged panel” and another"
    with bench.unit("Undid") as work:
        history.undo(work.session, bench.actor, both)
    with bench.db.read() as session:
        assert panels.get(session, bench.actor, twin.uid).archived_at is not None


def plan_of(session: Session, bench: Bench) -> dict[str, Any]:
    asked = planning_make.read(session, bench.actor, PlanMake(), NOW, ZONE)
    return planning_make.work_out(asked)


def test_plans_lose_the_title_and_still_stand(bench: Bench, database_url: str) -> None:
    panel = bench.panel(title=TITLE)
    bench.layer(panel, kind="glaze")
    with bench.unit("Hours") as work:
        hours = planning.WorkTimeCreate(painter="Painter", weekdays="12345", start="09:00", end="12:30")
        planning.create(work.session, bench.actor, hours)
    with bench.db.read() as session:
        content = plan_of(session, bench)
    with bench.unit("Planned") as work:
        plan = planning_plans.propose(work.session, bench.actor, content)
        planning_plans.accept(work.session, bench.actor, plan.uid)
    assert content["sittings"]
    with bench.unit("Archived") as work:
        panels.archive(work.session, bench.actor, panel.uid)
    purge(bench, panel)
    assert TITLE not in everything(bench.db)
    assert upkeep.check(database_url).faults == ()
    with bench.db.read() as session:
        found = planning_plans.in_use(session, bench.actor)
        assert found is not None
        assert found.content_json is not None
        assert len(found.content_json["sittings"]) == len(content["sittings"])
        today(session, bench.actor, NOW, ZONE)
        plan_of(session, bench)


def test_quotes_that_name_it_lose_the_title(bench: Bench) -> None:
    panel = bench.panel(title=TITLE)
    told = {"uid": panel.uid, "title": TITLE}
    content = {"asked": {"title": "Herons"}, "endangered": [{**told, "before": 0.9, "after": 0.5}], "slipping": [told]}
    with bench.unit("Worked out a date") as work:
        quote = Quote(studio_id=bench.actor.studio_id, title="Herons", content_json=content)
        work.session.add(quote)
    with bench.unit("Archived") as work:
        panels.archive(work.session, bench.actor, panel.uid)
    purge(bench, panel)
    assert TITLE not in everything(bench.db)
    with bench.db.read() as session:
        found = session.get_one(Quote, quote.id)
        assert found.content_json is not None and found.title == "Herons"
        assert [one["after"] for one in found.content_json["endangered"]] == [0.5]


def test_ids_are_not_used_again(bench: Bench) -> None:
    panel = picture(bench)
    purge(bench, panel)
    assert (bench.panel().id or 0) > (panel.id or 0)
    with bench.db.read() as session:
        assert session.scalars(select(Panel).where(col(Panel.id) == panel.id)).first() is None


def test_a_link_that_shows_it_is_revoked_first(bench: Bench) -> None:
    panel = picture(bench)
    with bench.unit("Shared") as work:
        link = ShareLink(studio_id=bench.actor.studio_id, label="Buyer", kind="page", scope="panels")
        work.session.add(link)
        work.session.flush()
        work.session.add(ShareLinkPanel(share_link_id=link.id or 0, panel_id=panel.id or 0))
    with pytest.raises(Refused, match="Revoke the link first"):
        purge(bench, panel)
    with bench.unit("Revoked") as work:
        work.session.get_one(ShareLink, link.id).archived_at = NOW
    purge(bench, panel)
    assert TITLE not in everything(bench.db)


def test_calendars_cancel_it_without_its_words(bench: Bench) -> None:
    layer = bench.layer(bench.panel(title=TITLE), kind="glaze")
    now = moment_of(NOW, ZONE)
    with bench.db.read() as session:
        panel = session.scalars(select(Panel).where(col(Panel.title) == TITLE)).one()
    on = NOW.date() + timedelta(days=9)
    entry = Entry("event", f"{layer.uid}-ready", panel.uid, TITLE, TITLE, on, on + timedelta(days=1), "TENTATIVE")
    publish(bench.db, bench.actor, [entry], now)
    assert TITLE in everything(bench.db)
    with bench.unit("Archived") as work:
        panels.archive(work.session, bench.actor, panel.uid)
    purge(bench, panel)
    assert TITLE not in everything(bench.db)
    ((told, _),) = publish(bench.db, bench.actor, [], now).entries
    assert (told.uid, told.summary, told.status) == (entry.uid, "A purged panel", "CANCELLED")


def test_every_table_that_names_a_picture_is_decided() -> None:
    """A new one is a part of the picture, or belongs to a record that must be closed first; else purging is refused."""
    of_picture = {"panel", *(name for name, _ in purging.PARTS)}
    for table in Table.metadata.sorted_tables:
        for column in table.columns:
            if any(key.column.table.name in of_picture for key in column.foreign_keys):
                is_part = (table.name, column.name) in purging.PARTS
                is_owned = OWNER_COLUMN.get(table.name, column.name) != column.name
                assert is_part or is_owned, f"Say in purging.PARTS what becomes of {table.name}.{column.name}"


# Other records


def mix_of(bench: Bench, paint_uid: str, label: str = "Bone and lead") -> str:
    with bench.unit("Kept a mix") as work:
        parts = [{"item": f"paint:{paint_uid}", "parts": 3}]
        return mixes.create(
            work.session, bench.actor, mixes.MixCreate.model_validate({"label": label, "parts": parts})
        ).uid


def tube(bench: Bench, label: str = "Grandmother's white") -> str:
    with bench.unit(f"Put “{label}” on the shelf") as work:
        command = paints.PaintCreate.model_validate({"label": label, "pigments": [{"pigment": "PW6"}]})
        return paints.create(work.session, bench.actor, command).uid


def put_away(bench: Bench, service: Any, uid: str) -> None:
    with bench.unit("Archived") as work:
        service.archive(work.session, bench.actor, uid)


def purge_record(bench: Bench, kind: str, uid: str, name: str, actor: Actor | None = None) -> str:
    with bench.unit("Purged something") as work:
        purging_records.purge(work.session, actor or bench.actor, (kind, uid), name)
    return work.change_uid


def hangs(bench: Bench, kind: str, uid: str) -> tuple[str, ...]:
    with bench.db.read() as session:
        return purging_records.look(session, bench.actor, kind, uid).hangs


def test_a_tube_goes_with_its_history_once_no_mix_is_made_with_it(bench: Bench, database_url: str) -> None:
    uid = tube(bench)
    mix_uid = mix_of(bench, uid)
    with pytest.raises(Refused, match="not archived"):
        purge_record(bench, "paints", uid, "Grandmother's white")
    put_away(bench, paints, uid)
    put_away(bench, mixes, mix_uid)  # an archived mix still says what it was made of
    assert hangs(bench, "paints", uid) == ("The mix “Bone and lead” is made with it.",)
    with pytest.raises(Refused, match="Bone and lead"):
        purge_record(bench, "paints", uid, "Grandmother's white")
    purge_record(bench, "mixes", mix_uid, "Bone and lead")
    done = purge_record(bench, "paints", uid, "Grandmother's white")
    left = everything(bench.db)
    assert "Grandmother's white" not in left and "Bone and lead" not in left and uid not in left
    assert upkeep.check(database_url).faults == ()
    with bench.db.read() as session:
        (newest, *_) = history.recent(session, bench.actor)
        assert (newest.uid, newest.actor, newest.rows) == (done, "painter", ())
        today(session, bench.actor, NOW, ZONE)
        pack(session, BytesIO(), NOW)
    with pytest.raises(Refused, match="gone for good"), bench.unit("Undid") as work:
        history.undo(work.session, bench.actor, done)


def test_what_names_a_record_is_told(bench: Bench) -> None:
    panel = bench.panel(title="Two pears")
    bench.painted(panel, 3)
    put_away(bench, mixes, bench.white.uid)
    assert hangs(bench, "mixes", bench.white.uid) == ("A layer of “Two pears” is painted with it.",)
    with bench.unit("Another place") as work:
        other = places.create(
            work.session,
            bench.actor,
            places.PlaceCreate(name="Loft", light="room", temperature_c=18, relative_humidity_pct=60),
        )
        moved = panel_moves.MoveCreate(place_uid=other.uid)
        panel_moves.create(work.session, bench.actor, panel.uid, moved)
    with bench.unit("Archived") as work:
        work.session.get_one(Place, bench.place.id).archived_at = NOW
    told = hangs(bench, "places", bench.place.uid)
    assert "“Two pears” began there." in told


def test_a_place_goes_with_what_was_read_in_it(bench: Bench, database_url: str) -> None:
    with bench.unit("Another place") as work:
        other = places.create(
            work.session,
            bench.actor,
            places.PlaceCreate(name="Loft over the mill", light="room", temperature_c=18, relative_humidity_pct=60),
        )
    with bench.db.write() as session:
        batch = ReadingBatch(studio_id=bench.actor.studio_id, place_id=other.id or 0, source="file", name="Logger")
        session.add(batch)
        session.flush()
        extent = ReadingExtent(batch_id=batch.id or 0, first_at=NOW, last_at=NOW, readings=1)
        session.add_all(
            [extent, Reading(batch_id=batch.id or 0, at=NOW, temperature_c=18.0, relative_humidity_pct=55.0)]
        )
    put_away(bench, places, other.uid)
    with bench.db.read() as session:
        assert purging_records.look(session, bench.actor, "places", other.uid).readings == 1
    purge_record(bench, "places", other.uid, "Loft over the mill")
    left = everything(bench.db)
    assert "Loft over the mill" not in left and "Logger" not in left
    assert upkeep.check(database_url).faults == ()


def test_a_record_is_purged_by_its_owner_and_its_name_alone(bench: Bench, stranger: Bench) -> None:
    uid = tube(bench)
    put_away(bench, paints, uid)
    before = everything(bench.db)
    for role in ("painter", "assistant", "viewer"):
        with pytest.raises(Forbidden):
            purge_record(bench, "paints", uid, "Grandmother's white", Actor("somebody", bench.actor.studio_id, role))
    with pytest.raises(NotFound):
        purge_record(bench, "paints", uid, "Grandmother's white", stranger.actor)
    for kind in ("mixes", "panels", "studio", "no-such-kind"):
        with pytest.raises(NotFound):
            purge_record(bench, kind, uid, "Grandmother's white")
    with pytest.raises(Invalid, match="Grandmother's white"):
        purge_record(bench, "paints", uid, "white")
    assert everything(bench.db) == before


def test_nothing_is_undone_back_to_what_was_purged(bench: Bench, database_url: str) -> None:
    """A layer was planned with a mix, then with another. The first mix goes; the change cannot be undone any more."""
    panel = bench.panel()
    paint_uid = tube(bench)
    first = mix_of(bench, paint_uid, "First idea")
    layer = bench.layer(panel, mixes=[{"mix_uid": first}])
    with bench.unit("Changed a layer") as work:
        stored = layers.public(work.session, layers.get(work.session, bench.actor, layer.uid))
        command = stored.model_copy(update={"mixes": (LayerMixPart(mix_uid=bench.white.uid),)})
        layers.update(work.session, bench.actor, layer.uid, command)
    changed = work.change_uid
    put_away(bench, mixes, first)
    purge_record(bench, "mixes", first, "First idea")
    with pytest.raises(Refused, match="purged"), bench.unit("Undid") as undone:
        history.undo(undone.session, bench.actor, changed)
    assert upkeep.check(database_url).faults == ()


def test_every_part_of_a_record_is_known() -> None:
    """What names a record is its part, or is told in a sentence of its own."""
    for kind in purging_records.KINDS.values():
        parts = {(table, column) for table, column, _ in kind.parts}
        wanted = {sql_table(kind.table).name, *(table for table, _, _ in kind.parts)}
        for table in Table.metadata.sorted_tables:
            for column in table.columns:
                if any(key.column.table.name in wanted for key in column.foreign_keys):
                    is_part = (table.name, column.name) in parts or table.name in {name for name, _ in parts}
                    assert is_part or table.name in purging_records.TOLD, (table.name, column.name)
