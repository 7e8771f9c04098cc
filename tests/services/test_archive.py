"""One archive with everything: the same content on either engine, both ways, and nothing taken from a bad one."""

import hashlib
import json
import shutil
import zipfile
from collections.abc import Callable
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, select
from sqlmodel import col

from server.services import upkeep
from server.services.archive import manifest as manifests
from server.services.archive.contents import HASH_OF_NOTHING, STAYS
from server.services.archive.manifest import PROGRAM_VERSION
from server.services.archive.pack import pack
from server.services.errors import Refused
from server.services.images import to_json
from server.store.db import Database
from server.store.db import database_url as parsed_url
from server.store.migrate import migrate
from server.store.tables import ChangeSet, Panel, Person, Studio, Table
from tests.services.conftest import Bench
from tests.services.test_upkeep import content
from tests.store.old_rows import OLD_ROWS, REVISIONS, insert_rows, reflected, rows_of

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=timezone.utc)


def exported(url: str, path: Path, studio_id: int | None = None) -> dict[str, Any]:
    """The archive's manifest."""
    db = Database(url)
    with path.open("wb") as opened, db.read() as session:
        pack(session, opened, NOW, studio_id, [("lists/note.csv", b"A note\r\n")])
    db.close()
    with zipfile.ZipFile(path) as archive:
        return dict(json.loads(archive.read("manifest.json")))


@pytest.fixture(scope="session")
def one_archive(demo_url: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("archive") / "archive.zip"
    exported(demo_url, path)
    return path


@pytest.fixture
def archive(one_archive: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(one_archive, tmp_path / "archive.zip"))


def test_the_same_content_is_the_same_bytes_on_either_engine(demo_url: str, empty_url: str, tmp_path: Path) -> None:
    """SQLite, then this engine, then SQLite again: every file of all three archives is the same, byte for byte."""
    first = exported(demo_url, tmp_path / "first.zip")
    upkeep.restore(empty_url, tmp_path / "first.zip")
    second = exported(empty_url, tmp_path / "second.zip")
    back = f"sqlite:///{tmp_path / 'back.db'}"
    upkeep.restore(back, tmp_path / "second.zip")
    third = exported(back, tmp_path / "third.zip")
    assert first == second == third
    assert content(demo_url) == content(empty_url) == content(back)
    assert upkeep.check(empty_url).faults == ()
    assert sum(told["rows"] for told in first["tables"].values()) > 500
    assert first["program_version"] == PROGRAM_VERSION
    assert first["schema_revision"] == REVISIONS[-1]


def test_rows_of_every_table_there_is_go_there_and_back(empty_url: str, tmp_path: Path) -> None:
    """The demo leaves some tables empty; here each has a row with every column filled."""
    full = f"sqlite:///{tmp_path / 'full.db'}"
    migrate(full)
    engine = create_engine(parsed_url(full))
    with engine.begin() as connection:
        insert_rows(connection, REVISIONS[-1])
    engine.dispose()
    first = exported(full, tmp_path / "first.zip")
    upkeep.restore(empty_url, tmp_path / "first.zip")
    second = exported(empty_url, tmp_path / "second.zip")
    back = f"sqlite:///{tmp_path / 'back.db'}"
    upkeep.restore(back, tmp_path / "second.zip")
    assert first == second == exported(back, tmp_path / "third.zip")
    assert [name for name, told in first["tables"].items() if not told["rows"]] == []
    assert set(first["tables"]) | set(first["left_out"]) | STAYS == set(Table.metadata.tables)


def test_the_version_is_the_programs() -> None:
    project = (Path(__file__).parents[2] / "pyproject.toml").read_text()
    assert f'version = "{PROGRAM_VERSION}"' in project


def test_sums_are_of_the_files_as_any_program_reads_them(archive: Path) -> None:
    with zipfile.ZipFile(archive) as opened:
        told = json.loads(opened.read("manifest.json"))["files"]
        assert set(opened.namelist()) == set(told) | {"manifest.json"}
        for name, part in told.items():
            data = opened.read(name)
            assert (len(data), hashlib.sha256(data).hexdigest()) == (part["bytes"], part["sha256"])
        panel = json.loads(opened.read("tables/panel.jsonl").splitlines()[0])
    assert list(panel) == [column.name for column in Table.metadata.tables["panel"].columns]


def test_one_studio_takes_its_own_and_nothing_else(bench: Bench, stranger: Bench, tmp_path: Path) -> None:
    bench.painted(bench.panel(title="Ours"), days_ago=3)
    stranger.painted(stranger.panel(title="Theirs"), days_ago=3)
    url = bench.db.url.render_as_string(hide_password=False)
    told = exported(url, tmp_path / "ours.zip", bench.actor.studio_id)
    assert told["holds"] == "studio"
    assert "person" in told["left_out"]
    with zipfile.ZipFile(tmp_path / "ours.zip") as opened:
        everything = b"".join(opened.read(name) for name in opened.namelist())
    assert b"Ours" in everything
    assert b"Theirs" not in everything
    other = f"sqlite:///{tmp_path / 'other.db'}"
    upkeep.restore(other, tmp_path / "ours.zip")
    restored = content(other)
    assert [row["title"] for row in restored["panel"]] == ["Ours"]
    assert len(restored["mix_part"]) == 2
    assert {row["studio_id"] for row in restored["change_set"]} == {bench.actor.studio_id}
    assert upkeep.check(other).faults == ()


def test_passwords_and_sign_ins_stay(empty_url: str, tmp_path: Path) -> None:
    migrate(empty_url)
    engine = create_engine(parsed_url(empty_url))
    with engine.begin() as connection:
        insert_rows(connection, REVISIONS[-1])
    engine.dispose()
    exported(empty_url, tmp_path / "all.zip")
    person = OLD_ROWS[REVISIONS[-1]]["person"][0]
    with zipfile.ZipFile(tmp_path / "all.zip") as opened:
        everything = b"".join(opened.read(name) for name in opened.namelist())
        assert not [name for name in opened.namelist() if "sign_in" in name or "invitation" in name]
    for secret in (person["password_hash"], person["code_seed"], "a" * 64, "c" * 64, "d" * 64):
        assert secret.encode() not in everything
    other = f"sqlite:///{tmp_path / 'other.db'}"
    upkeep.restore(other, tmp_path / "all.zip")
    db = Database(other)
    with db.read() as session:
        found = session.scalars(select(Person)).one()
        assert (found.email, found.password_hash, found.code_seed) == (person["email"], HASH_OF_NOTHING, None)
    db.close()


def written_at(url: str, revision: str, path: Path) -> None:
    """An archive as the program of an earlier revision would have written it."""
    engine = create_engine(parsed_url(url))
    files: dict[str, bytes] = {}
    tables: dict[str, dict[str, int]] = {}
    with engine.connect() as connection:
        for table in reflected(connection).sorted_tables:
            if table.name == "alembic_version":
                continue
            rows = OLD_ROWS[revision][table.name]
            lines = [json.dumps({k: to_json(v) for k, v in row.items()}).encode() + b"\n" for row in rows]
            files[f"tables/{table.name}.jsonl"] = b"".join(lines)
            tables[table.name] = {"rows": len(rows), "last_id": 7}
    engine.dispose()
    told = {
        "format": "umberday-archive",
        "format_version": 1,
        "program_version": "0.0.1",
        "schema_revision": revision,
        "made_at": NOW.isoformat(),
        "holds": "install",
        "tables": tables,
        "left_out": [],
        "files": {k: {"bytes": len(v), "sha256": hashlib.sha256(v).hexdigest()} for k, v in files.items()},
    }
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
        archive.writestr("manifest.json", json.dumps(told))


@pytest.mark.parametrize("revision", REVISIONS)
def test_an_archive_of_every_earlier_version_is_brought_up_to_date(
    empty_url: str, revision: str, tmp_path: Path
) -> None:
    old = f"sqlite:///{tmp_path / 'old.db'}"
    migrate(old, revision)
    written_at(old, revision, tmp_path / "old.zip")
    upkeep.restore(empty_url, tmp_path / "old.zip")
    engine = create_engine(parsed_url(empty_url))
    with engine.connect() as connection:
        for table, rows in OLD_ROWS[revision].items():
            assert rows_of(connection, table, rows) == rows
    engine.dispose()


# What is done to an archive, and what is said of it.

Harm = Callable[[dict[str, bytes], dict[str, Any]], None]


def _change_a_row(files: dict[str, bytes], _: dict[str, Any]) -> None:
    files["tables/panel.jsonl"] = files["tables/panel.jsonl"].replace(b"pear", b"Pear")
    first = files["tables/panel.jsonl"]
    files["tables/panel.jsonl"] = first.replace(b'"version":1', b'"version":2', 1)


def _resummed(name: str, change: Callable[[bytes], bytes]) -> Harm:
    def harm(files: dict[str, bytes], told: dict[str, Any]) -> None:
        files[name] = change(files[name])
        told["files"][name] = {"bytes": len(files[name]), "sha256": hashlib.sha256(files[name]).hexdigest()}

    return harm


def _told(**values: Any) -> Harm:
    return lambda _, told: told.update(values)


def _drop_a_file(files: dict[str, bytes], _: dict[str, Any]) -> None:
    del files["tables/panel.jsonl"]


def _rename(files: dict[str, bytes], told: dict[str, Any]) -> None:
    files["../../outside.txt"] = files.pop("lists/note.csv")
    told["files"]["../../outside.txt"] = told["files"].pop("lists/note.csv")


def _fewer_rows(_: dict[str, bytes], told: dict[str, Any]) -> None:
    told["tables"]["panel"]["rows"] -= 1


def _forget_a_table(files: dict[str, bytes], told: dict[str, Any]) -> None:
    for part in ("tables", "files"):
        told[part].pop("change" if part == "tables" else "tables/change.jsonl")
    del files["tables/change.jsonl"]


def _unknown_table(files: dict[str, bytes], told: dict[str, Any]) -> None:
    told["tables"]["elsewhere"] = {"rows": 0, "last_id": 0}
    files["tables/elsewhere.jsonl"] = b""
    told["files"]["tables/elsewhere.jsonl"] = {"bytes": 0, "sha256": hashlib.sha256(b"").hexdigest()}


HARMS: dict[str, tuple[Harm, str]] = {
    "changed row": (_change_a_row, "panel.jsonl in this archive was changed or damaged"),
    "changed note": (lambda files, _: files.update({"lists/note.csv": b"B note\r\n"}), "note.csv .* was changed"),
    "missing": (_drop_a_file, "missing from this archive: tables/panel"),
    "extra": (lambda files, _: files.update({"tables/x.jsonl": b"{}"}), "does not name: tables/x.jsonl"),
    "no manifest": (lambda files, told: told.clear(), "no list of contents"),
    "other format": (_told(format="another"), "no archive of Umberday"),
    "newer format": (_told(format_version=2), "newer version"),
    "newer schema": (_told(schema_revision="9999"), "newer version"),
    "path traversal": (_rename, "a name that leads out of it"),
    "fewer rows": (_fewer_rows, "panel in this archive has another number of rows"),
    "forgotten table": (_forget_a_table, "not those of its version: change"),
    "unknown table": (_unknown_table, "not those of its version: elsewhere"),
    "no json": (_resummed("tables/panel.jsonl", lambda data: b"{" + data), "Line 1 of panel in this archive"),
    "other column": (
        _resummed("tables/panel.jsonl", lambda data: data.replace(b'"title"', b'"titles"', 1)),
        "Line 1 of panel .* columns are not the table's",
    ),
    "no date": (
        _resummed("tables/panel.jsonl", lambda data: data.replace(b'"created_at":"2', b'"created_at":"x', 1)),
        "Line 1 of panel in this archive cannot be read",
    ),
    "text for a number": (
        _resummed("tables/panel.jsonl", lambda data: data.replace(b'"version":', b'"version":"1","v":', 1)),
        "Line 1 of panel in this archive cannot be read",
    ),
    "row twice": (
        _resummed("tables/panel.jsonl", lambda data: data + data.splitlines(keepends=True)[-1]),
        "does not fit its table",
    ),
    "orphans": (
        lambda files, told: (
            _resummed("tables/place.jsonl", lambda _: b"")(files, told),
            told["tables"]["place"].update(rows=0),
        )[0],
        "does not hold together",
    ),
}


@pytest.mark.parametrize("name", HARMS)
def test_a_bad_archive_is_refused_and_nothing_half_restored(archive: Path, tmp_path: Path, name: str) -> None:
    harm, words = HARMS[name]
    with zipfile.ZipFile(archive) as opened:
        files = {each: opened.read(each) for each in opened.namelist()}
    told = json.loads(files.pop("manifest.json"))
    harm(files, told)
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(bad, "w", zipfile.ZIP_DEFLATED) as made:
        for each, data in files.items():
            made.writestr(each, data)
        if told:
            made.writestr("manifest.json", json.dumps(told))
    refuses(bad, tmp_path, words)


def refuses(bad: Path, tmp_path: Path, words: str) -> None:
    target = tmp_path / "target" / "studio.db"
    with pytest.raises(Refused, match=words):
        upkeep.restore(f"sqlite:///{target}", bad)
    assert not target.exists()  # the install was not even touched
    assert not (tmp_path.parent / "outside.txt").exists()


def test_a_bomb_is_refused_before_it_is_unpacked(archive: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(archive) as opened:
        files = {each: opened.read(each) for each in opened.namelist()}
    told = json.loads(files.pop("manifest.json"))
    zeros = b"0" * 1_000_000
    files["lists/note.csv"] = zeros * 400
    told["files"]["lists/note.csv"] = {
        "bytes": len(files["lists/note.csv"]),
        "sha256": hashlib.sha256(files["lists/note.csv"]).hexdigest(),
    }
    bomb = tmp_path / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as made:
        for each, data in files.items():
            made.writestr(each, data)
        made.writestr("manifest.json", json.dumps(told))
    assert bomb.stat().st_size < 2_000_000
    refuses(bomb, tmp_path, "far more than it holds")


def test_a_bomb_that_tells_another_length_is_stopped(archive: Path, tmp_path: Path) -> None:
    """The lengths in the zip's own directory are written by whoever made it."""
    with zipfile.ZipFile(archive) as opened:
        files = {each: opened.read(each) for each in opened.namelist()}
    files["lists/note.csv"] = b"0" * 1_000_000
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(bad, "w", zipfile.ZIP_DEFLATED) as made:
        for each, data in files.items():
            made.writestr(each, data)
    refuses(bad, tmp_path, "another length")


@pytest.mark.parametrize("harm", ["cut", "text", "twice", "flipped"])
def test_what_is_no_whole_zip_is_refused(archive: Path, tmp_path: Path, harm: str) -> None:
    data = archive.read_bytes()
    bad = tmp_path / "bad.zip"
    bad.write_bytes({"cut": data[:-500], "text": b"Dear diary", "flipped": data}.get(harm, data))
    words = "This archive is damaged"
    if harm == "twice":
        with zipfile.ZipFile(bad, "a") as opened, pytest.warns(UserWarning, match="Duplicate"):
            opened.writestr("tables/panel.jsonl", b"")
        words = "two files of the same name"
    if harm == "flipped":
        middle = len(data) // 2
        bad.write_bytes(data[:middle] + bytes([data[middle] ^ 255]) + data[middle + 1 :])
        words = "damaged|changed|cannot be read"
    refuses(bad, tmp_path, words)


def test_the_manifest_is_bounded(archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("server.services.archive.unpack.MAX_MANIFEST_BYTES", 100)
    refuses(archive, tmp_path, "too long")
    assert manifests.MAX_MANIFEST_BYTES > 1_000_000


def test_an_archive_is_for_an_empty_install(bench: Bench, database_url: str, archive: Path) -> None:
    bench.panel()
    before = content(database_url)
    with pytest.raises(Refused, match="empty install"):
        upkeep.restore(database_url, archive)
    assert content(database_url) == before
    with bench.db.read() as session:
        assert session.scalars(select(col(Panel.title))).all() == ["Two pears"]
        assert session.scalars(select(ChangeSet)).all()
        assert session.scalars(select(Studio)).all()
