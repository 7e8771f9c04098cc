"""Copies that can be put back on either engine, a look over the whole database, and nothing half restored."""

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import delete, select, text, update
from sqlalchemy.exc import DataError
from sqlmodel import col

from server.services import history, panels, studios, upkeep
from server.services.access import Actor
from server.services.errors import Refused
from server.services.unit import unit
from server.store import copies
from server.store.copies import CopyFailed
from server.store.db import Database
from server.store.migrate import known_revisions, migrate
from server.store.tables import Change, Panel, Studio, Table
from server.store.transfer import last_ids
from tests.services.conftest import NOW, Bench

Content = dict[str, list[dict[str, object]]]


def content(url: str) -> Content:
    """Every row of every table, as Python values."""
    db = Database(url)
    try:
        with db.read() as session:
            return {
                table.name: [dict(row) for row in session.execute(select(table).order_by(table.c.id)).mappings()]
                for table in Table.metadata.sorted_tables
            }
    finally:
        db.close()


@pytest.fixture
def backup(demo_url: str, tmp_path: Path) -> Path:
    path = tmp_path / "backup.db"
    upkeep.back_up(demo_url, path, NOW)
    return path


def test_a_backup_is_put_back_on_either_engine(demo_url: str, backup: Path, empty_url: str) -> None:
    assert backup.stat().st_mode & 0o777 == 0o600
    rows = upkeep.restore(empty_url, backup)
    restored = content(empty_url)
    assert restored == content(demo_url)
    assert rows == sum(map(len, restored.values())) > 500
    assert upkeep.check(empty_url).faults == ()


def test_the_backup_of_either_engine_is_put_back(bench: Bench, database_url: str, tmp_path: Path) -> None:
    bench.painted(bench.panel(), days_ago=2)
    upkeep.back_up(database_url, tmp_path / "copy", NOW)
    other = f"sqlite:///{tmp_path / 'other.db'}"
    upkeep.restore(other, tmp_path / "copy")
    assert content(other) == content(database_url)


def test_a_restored_studio_goes_on_counting(backup: Path, empty_url: str, tmp_path: Path) -> None:
    """An id that was given once is not given again, also when its row is gone: the history names it."""
    with closing(sqlite3.connect(backup)) as raw, raw:
        raw.execute("UPDATE sqlite_sequence SET seq = 4711 WHERE name = 'panel'")
    upkeep.restore(empty_url, backup)
    db = Database(empty_url)
    with db.write() as session:
        assert last_ids(session.connection())["panel"] == 4711
        first = session.scalars(select(Panel)).first()
        assert first is not None
        copy = Panel(**first.model_dump(exclude={"id", "uid"}))
        session.add(copy)
        session.flush()
        assert copy.id == 4712
    db.close()


def test_a_backup_while_somebody_writes_is_one_moment(bench: Bench, database_url: str, tmp_path: Path) -> None:
    stop = threading.Event()
    written: list[int] = []

    def write() -> None:
        while not stop.is_set():
            bench.panel(title=f"Panel {len(written)}")
            written.append(1)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        while len(written) < 5:
            stop.wait(0.01)
        upkeep.back_up(database_url, tmp_path / "copy", NOW)
    finally:
        stop.set()
        writer.join()
    other = f"sqlite:///{tmp_path / 'other.db'}"
    upkeep.restore(other, tmp_path / "copy")
    assert len(content(other)["panel"]) >= 5
    assert upkeep.check(other).faults == ()  # no panel without its history, no history without its panel


def test_restoring_is_for_an_empty_install(bench: Bench, database_url: str, backup: Path) -> None:
    bench.panel()
    before = content(database_url)
    with pytest.raises(Refused, match="empty install"):
        upkeep.restore(database_url, backup)
    assert content(database_url) == before


def test_an_install_that_was_only_started_is_empty(database_url: str, demo_url: str, backup: Path) -> None:
    db = Database(database_url)
    studios.ensure_studio(db)
    db.close()
    upkeep.restore(database_url, backup)
    assert content(database_url) == content(demo_url)


@pytest.mark.parametrize("harm", ["text", "cut", "flipped", "empty", "foreign", "orphan", "newer"])
def test_what_is_no_whole_backup_is_refused(empty_url: str, backup: Path, harm: str) -> None:
    data = backup.read_bytes()
    if harm == "text":
        backup.write_text("Dear diary")
    elif harm == "empty":
        backup.write_bytes(b"")
    elif harm == "cut":
        backup.write_bytes(data[: len(data) // 2])
    elif harm == "flipped":
        backup.write_bytes(data[:20_480] + bytes(4096) + data[24_576:])
    with closing(sqlite3.connect(backup if harm in {"foreign", "orphan", "newer"} else ":memory:")) as raw, raw:
        if harm == "foreign":
            raw.execute("DROP TABLE alembic_version")
        elif harm == "orphan":
            raw.execute("DELETE FROM place")
        elif harm == "newer":
            raw.execute("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(Refused) as refused:
        upkeep.restore(empty_url, backup)
    assert "Traceback" not in refused.value.message
    db = Database(empty_url)
    migrate(empty_url)
    with db.read() as session:
        assert session.scalars(select(Studio)).all() == []
    db.close()


def test_a_backup_of_an_earlier_version_is_brought_up_to_date(empty_url: str, tmp_path: Path) -> None:
    old = tmp_path / "old.db"
    migrate(f"sqlite:///{old}", "0001")
    with closing(sqlite3.connect(old)) as raw, raw:
        raw.execute(
            "INSERT INTO studio (uid, version, created_at, updated_at, name, time_zone, confidence_pct, drops_per_ml,"
            " is_invented) VALUES ('s', 1, '2026-01-01', '2026-01-01', 'Old yard', 'UTC', 90, 20, 0)"
        )
    upkeep.back_up(f"sqlite:///{old}", tmp_path / "copy.db", NOW)
    upkeep.restore(empty_url, tmp_path / "copy.db")
    assert [row["name"] for row in content(empty_url)["studio"]] == ["Old yard"]


def test_a_backup_never_writes_over_a_file(demo_url: str, backup: Path) -> None:
    before = backup.read_bytes()
    with pytest.raises(CopyFailed, match="Name a new file"):
        upkeep.back_up(demo_url, backup, NOW)
    assert backup.read_bytes() == before
    with pytest.raises(CopyFailed):
        upkeep.back_up(demo_url, backup.parent / "no folder" / "copy.db", NOW)


def test_a_copy_is_kept_before_a_migration(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, told = tmp_path / "studio.db", list[str]()
    revisions = known_revisions()
    monkeypatch.setattr(copies, "KEPT_BEFORE_MIGRATIONS", 2)
    migrate(f"sqlite:///{path}", revisions[0], told.append)
    assert told == []  # nothing was there to be kept
    for revision in revisions[1:5]:
        migrate(f"sqlite:///{path}", revision, told.append)
        migrate(f"sqlite:///{path}", revision, told.append)  # nothing to do, nothing to keep
    kept = sorted(tmp_path.glob("studio.before-*.db"))
    assert len(told) == 4
    assert [path.stem.rpartition("-")[2] for path in kept] == revisions[2:4]
    assert str(kept[-1]) in told[-1]
    with closing(sqlite3.connect(kept[-1])) as raw:
        assert raw.execute("SELECT version_num FROM alembic_version").fetchone() == (revisions[3],)


def test_without_a_copy_nothing_is_migrated(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    url = f"sqlite:///{tmp_path / 'studio.db'}"
    first, second = known_revisions()[:2]
    migrate(url, first)

    def full(*_: object) -> None:
        raise CopyFailed("No room.")

    monkeypatch.setattr(copies, "copy_sqlite", full)
    with pytest.raises(CopyFailed, match="No room"):
        migrate(url, second)
    monkeypatch.undo()
    assert migrate(url, first) == first


# What a check finds, one harm after the other.


@pytest.fixture
def harmed(bench: Bench, database_url: str) -> tuple[Database, Panel]:
    panel = bench.panel()
    bench.painted(panel, days_ago=3)
    assert upkeep.check(database_url).faults == ()
    return bench.db, panel


def test_a_row_changed_behind_the_history_is_found(harmed: tuple[Database, Panel], database_url: str) -> None:
    db, panel = harmed
    with db.engine.begin() as connection:
        connection.execute(update(Panel).where(col(Panel.id) == panel.id).values(title="Three pears"))
    (fault,) = upkeep.check(database_url).faults
    assert f"panel {panel.id} is not as the history left it" in fault


def test_a_row_that_went_without_a_word_is_found(harmed: tuple[Database, Panel], database_url: str) -> None:
    db, _ = harmed
    with db.engine.begin() as connection:
        for name in ("layer_mix", "layer"):
            connection.execute(delete(Table.metadata.tables[name]))
    faults = upkeep.check(database_url).faults
    assert len(faults) == 2
    assert all("is gone, and the history does not tell how" in fault for fault in faults)


def test_a_gap_in_the_history_is_found(harmed: tuple[Database, Panel], database_url: str) -> None:
    db, panel = harmed
    actor = Actor("painter", panel.studio_id)
    uids = []
    for title in ("Three pears", "Four pears"):
        with unit(db, actor, label="Renamed", now=NOW) as work:
            found = work.session.get_one(Panel, panel.id)
            found.title = title
            uids.append(work.change_uid)
    with unit(db, actor, label="Undid", now=NOW) as work:
        history.undo(work.session, actor, uids[-1])
    with unit(db, actor, label="Archived", now=NOW) as work:
        panels.archive(work.session, actor, panel.uid)
    assert upkeep.check(database_url).faults == ()
    with db.engine.begin() as connection:
        first = select(col(Change.id)).where(col(Change.table_name) == "panel").order_by(col(Change.id)).offset(1)
        connection.execute(delete(Change).where(col(Change.id) == first.limit(1).scalar_subquery()))
    (fault,) = upkeep.check(database_url).faults
    assert f"history of panel {panel.id} has a gap" in fault


def test_rows_that_point_nowhere_are_found(harmed: tuple[Database, Panel], database_url: str) -> None:
    db, _ = harmed
    # Foreign keys are the engines' own guard; somebody got past it.
    off = "PRAGMA foreign_keys = OFF" if db.is_sqlite else "SET session_replication_role = replica"
    raw = db.engine.raw_connection()
    cursor = raw.cursor()
    cursor.execute(off)
    cursor.execute("INSERT INTO layer_mix (layer_id, position, mix_id, region, area_share) VALUES (4711, 0, 1, '', 1)")
    raw.commit()
    raw.detach()
    raw.close()
    faults = upkeep.check(database_url).faults
    assert any(f.startswith("layer_mix: 1 rows name a layer that is not there (layer_id)") for f in faults)


def test_a_date_that_is_none_is_found(harmed: tuple[Database, Panel], database_url: str) -> None:
    db, _ = harmed
    change = text("UPDATE panel SET due_on = 'soon'")
    if not db.is_sqlite:  # takes no such value in the first place
        with pytest.raises(DataError), db.engine.begin() as connection:
            connection.execute(change)
        return
    with db.engine.begin() as connection:
        connection.execute(change)
    assert any(fault.startswith("panel: a row cannot be read") for fault in upkeep.check(database_url).faults)


def test_an_old_database_is_told_apart_from_a_broken_one(empty_url: str) -> None:
    migrate(empty_url, "0001")
    (fault,) = upkeep.check(empty_url).faults
    assert "revision 0001" in fault
