"""Backup, restore and check as a person at a keyboard meets them."""

import zipfile
from pathlib import Path

from server.store.db import Database
from server.store.migrate import known_revisions, migrate
from server.web import serve
from server.web.settings import Settings
from tests.commands.test_launcher import run
from tests.services.conftest import make_bench


def test_backup_restore_and_check(tmp_path: Path):
    url = f"sqlite:///{tmp_path / 'studio.db'}"
    migrate(url)
    db = Database(url)
    make_bench(db).panel()
    db.close()
    copy = tmp_path / "copy.db"
    made = run("backup", str(copy), DATABASE_URL=url)
    assert made.returncode == 0
    assert f"{copy.stat().st_size:,} bytes" in made.stdout
    again = run("backup", str(copy), DATABASE_URL=url)
    assert again.returncode == 1
    assert "Name a new file" in again.stderr

    other = f"sqlite:///{tmp_path / 'other' / 'studio.db'}"
    restored = run("restore", str(copy), DATABASE_URL=other)
    assert restored.returncode == 0
    assert "Restored" in restored.stdout
    looked = run("check", DATABASE_URL=other)
    assert looked.returncode == 0
    assert known_revisions()[-1] in looked.stdout
    refused = run("restore", str(copy), DATABASE_URL=other)
    assert refused.returncode == 1
    assert "empty install" in refused.stderr
    for answer in (again, refused):
        assert "Traceback" not in answer.stderr


def test_what_is_not_there_is_told(tmp_path: Path):
    nowhere = {"XDG_DATA_HOME": str(tmp_path)}
    assert "no database" in run("check", "--demo", **nowhere).stderr
    assert "no database" in run("backup", str(tmp_path / "copy.db"), **nowhere).stderr
    assert "no file" in run("restore", str(tmp_path / "copy.db"), **nowhere).stderr


def test_a_start_says_where_the_older_database_is_kept(tmp_path: Path, capfd):
    url = f"sqlite:///{tmp_path / 'studio.db'}"
    migrate(url, known_revisions()[0])
    assert serve.bring_up_to_date(Settings(url))
    (kept,) = tmp_path.glob("studio.before-*.db")
    assert str(kept) in capfd.readouterr().err


def test_an_export_is_restored(tmp_path: Path):
    url = f"sqlite:///{tmp_path / 'studio.db'}"
    migrate(url)
    db = Database(url)
    make_bench(db).panel(title="=1+1")
    db.close()
    path = tmp_path / "all.zip"
    made = run("export", str(path), DATABASE_URL=url)
    assert made.returncode == 0, made.stderr
    with zipfile.ZipFile(path) as archive:
        assert b"\r\n'=1+1," in archive.read("studio-1/lists/panels.csv")
        assert "studio-1/panels/0001-1-1/section.svg" in archive.namelist()
    restored = run("restore", str(path), DATABASE_URL=f"sqlite:///{tmp_path / 'other.db'}")
    assert restored.returncode == 0, restored.stderr
    assert "Traceback" not in run("restore", str(path), DATABASE_URL=url).stderr
