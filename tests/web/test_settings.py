"""Where files lie, and that nobody else is let in."""

from pathlib import Path

import pytest

from server.services import studios
from server.store.db import Database
from server.store.migrate import migrate
from server.store.tables import Person
from server.web import serve
from server.web.serve import seal_seeds
from server.web.settings import (
    DEMO_FILE,
    NotAllowed,
    check_host,
    data_dir,
    default_url,
    has_display,
    local_zone,
    public_address,
    search_processes,
    secret_file,
)


def test_files_lie_in_the_users_data_directory():
    # XDG Base Directory Specification: $XDG_DATA_HOME, else ~/.local/share; a relative value is to be ignored.
    assert data_dir({"XDG_DATA_HOME": "/somewhere"}) == Path("/somewhere/umberday")
    assert data_dir({}) == Path.home() / ".local/share/umberday"
    assert data_dir({"XDG_DATA_HOME": "relative"}) == Path.home() / ".local/share/umberday"


def test_the_demo_never_touches_the_own_studio():
    environ = {"XDG_DATA_HOME": "/data", "DATABASE_URL": "postgresql://studio"}
    assert default_url(environ=environ) == "postgresql://studio"
    assert default_url(DEMO_FILE, environ) == "sqlite:////data/umberday/demo.db"
    assert default_url(environ={"XDG_DATA_HOME": "/data"}) == "sqlite:////data/umberday/umberday.db"


def test_a_new_studio_starts_in_the_machines_time_zone(tmp_path: Path):
    zones = tmp_path / "zoneinfo" / "Europe"
    zones.mkdir(parents=True)
    (zones / "Lisbon").touch()
    (tmp_path / "localtime").symlink_to(zones / "Lisbon")
    assert local_zone({}, tmp_path / "localtime") == "Europe/Lisbon"
    assert local_zone({"TZ": ":Asia/Tokyo"}, tmp_path / "localtime") == "Asia/Tokyo"
    assert local_zone({"TZ": "CET-1CEST"}, tmp_path / "localtime") == "Europe/Lisbon"
    assert local_zone({}, tmp_path / "missing") == "UTC"


@pytest.mark.parametrize(("guess", "zone"), [("Europe/Lisbon", "Europe/Lisbon"), ("No/Where", "UTC")])
def test_a_guess_that_is_no_time_zone_is_left_aside(db: Database, guess: str, zone: str):
    assert studios.ensure_studio(db, guess).time_zone == zone


def test_a_browser_is_opened_only_where_there_is_a_screen():
    assert not has_display({})
    assert has_display({"DISPLAY": ":0"})
    assert has_display({"WAYLAND_DISPLAY": "wayland-0"})


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.4", "studio.example", ""])
def test_other_machines_are_not_let_in(host: str):
    with pytest.raises(NotAllowed, match="accounts"):
        check_host(host)


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.4", "127.0.0.1"])
def test_other_machines_are_let_in_where_people_sign_in(host: str):
    assert check_host(host, shared=True) == host


def test_serving_other_machines_without_accounts_is_refused_in_plain_words(capsys, monkeypatch, tmp_path: Path):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert serve.run_studio("0.0.0.0", 0) == 1
    assert "--shared" in capsys.readouterr().err


def test_a_shared_studio_is_called_by_its_public_names():
    environ = {
        "UMBERDAY_PUBLIC_URL": "https://studio.example, https://paint.example:8443/",
        "UMBERDAY_PROXIES": "127.0.0.1",
    }
    public = public_address("192.0.2.7", environ)
    assert {"studio.example", "paint.example", "192.0.2.7"} <= set(public.host_names)
    assert public.https
    assert public.proxies == ("127.0.0.1",)
    assert not public_address("::1", {}).https
    assert "[::1]" in public_address("::1", {}).host_names


@pytest.mark.parametrize(
    "url",
    [
        "studio.example",
        "ftp://studio.example",
        "https://",
        "https://a.example/below",
        "http://a.example,https://b.example",
    ],
)
def test_a_public_address_that_is_none_is_refused(url: str):
    with pytest.raises(NotAllowed, match="UMBERDAY_PUBLIC_URL"):
        public_address("127.0.0.1", {"UMBERDAY_PUBLIC_URL": url})


@pytest.mark.parametrize(("given", "processes"), [("", 3), ("1", 1), (" 12 ", 12)])
def test_how_many_search_at_once_may_be_set(given: str, processes: int):
    assert search_processes({"UMBERDAY_SEARCHES": given} if given else {}) == processes


def test_where_the_key_of_one_time_codes_is(tmp_path: Path):
    assert secret_file("sqlite:////var/a.db", {}) is None  # beside it
    assert secret_file("postgresql://x/y", {"XDG_DATA_HOME": str(tmp_path)}) == tmp_path / "umberday" / "umberday.key"
    for url in ("sqlite:////var/a.db", "postgresql://x/y"):
        assert secret_file(url, {"UMBERDAY_SECRET_FILE": "/etc/umberday.key"}) == Path("/etc/umberday.key")
    with pytest.raises(NotAllowed, match="UMBERDAY_SECRET_FILE"):
        secret_file("postgresql://x/y", {"UMBERDAY_SECRET_FILE": "umberday.key"})


def test_seeds_that_cannot_be_opened_are_told_at_the_start(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    url = f"sqlite:///{tmp_path / 'studio.db'}"
    migrate(url)
    db = Database(url)
    with db.write() as session:
        session.add(Person(name="Ana", email="a@b.example", password_hash="-", code_seed="A" * 32))
    seal_seeds(db)
    assert capsys.readouterr().err == ""
    (tmp_path / "studio.key").unlink()
    seal_seeds(db)
    told = capsys.readouterr().err
    assert "cannot be checked: 1." in told and "studio.key is missing" in told and "new-password" in told
    (tmp_path / "studio.key").write_text("no key")
    with db.write() as session:
        session.add(Person(name="Ben", email="b@b.example", password_hash="-", code_seed="B" * 32))
    seal_seeds(db)
    assert "holds no key" in capsys.readouterr().err
    db.close()


@pytest.mark.parametrize("given", ["0", "33", "-1", "two", "1.5", "²"])
def test_a_number_of_searches_that_is_none_is_refused(given: str):
    with pytest.raises(NotAllowed, match="UMBERDAY_SEARCHES"):
        search_processes({"UMBERDAY_SEARCHES": given})


def test_a_taken_port_is_told_with_another_to_try():
    taken = serve.listen("127.0.0.1", 0)
    port = taken.getsockname()[1]
    taken.listen()
    with pytest.raises(NotAllowed, match=f"Port {port} .*--port"):
        serve.listen("127.0.0.1", port)
    taken.close()
    for absurd in (-1, 70000):
        with pytest.raises(NotAllowed):
            serve.listen("127.0.0.1", absurd)


def test_a_demo_set_up_anew_keeps_the_old_one(tmp_path: Path):
    demo = tmp_path / "demo.db"
    serve.put_aside(demo)
    for content in ("first", "second"):
        demo.write_text(content)
        Path(f"{demo}-wal").write_text(content)
        serve.put_aside(demo)
    assert not demo.exists()
    assert (tmp_path / "demo-1.db").read_text() == "first"
    assert (tmp_path / "demo-2.db-wal").read_text() == "second"
