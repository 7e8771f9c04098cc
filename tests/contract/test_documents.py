"""README.md and DEVELOPERS.md name every command, route, setting and ring; README's commands are those that exist."""

import re
from pathlib import Path

import pytest
from fastapi.routing import APIRoute

from server import __main__ as commands
from server.web import settings
from server.web.api import ROUTERS as API_ROUTERS
from server.web.pages import ROUTERS as PAGE_ROUTERS

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
COMMANDS = [command.name for command in commands.COMMANDS] + list(commands.LAUNCHER_COMMANDS)


def routes() -> list[tuple[str, str]]:
    found = []
    for router, prefix in [(r, "") for r in PAGE_ROUTERS] + [(r, "/api/v1") for r in API_ROUTERS]:
        for route in router.routes:
            if isinstance(route, APIRoute):
                found += [(method, prefix + route.path) for method in sorted(route.methods or ())]
    return found


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_in_the_developers_list(name: str):
    assert f"`./umberday {name}" in DEVELOPERS


def test_readme_names_only_commands_that_exist():
    for name in re.findall(r"\./umberday ([a-z]+)", README):
        assert name in COMMANDS
    for name in ("demo", "serve", "test"):
        assert f"./umberday {name}" in README


def test_every_route_is_in_the_developers_table():
    missing = [f"{method} {path}" for method, path in routes() if f"`{path}`" not in DEVELOPERS]
    assert not missing


def test_the_table_names_no_route_that_is_gone():
    known = {path for _, path in routes()} | {"/api/v1/openapi.json", "/static/…"}
    table = DEVELOPERS.partition("## Routes")[2].partition("\n## ")[0]
    named = set(re.findall(r"`(/[^`]*)`", table))
    assert not named - known


def test_every_variable_of_the_environment_is_told():
    for name in re.findall(r'environ(?:\.get\(|\[)"([A-Z_]+)"', Path(settings.__file__).read_text(encoding="utf-8")):
        assert name in DEVELOPERS
    assert "UMBERDAY_PYTHON" in DEVELOPERS


def test_every_ring_has_its_place_in_the_documents():
    for folder in (ROOT / "server").iterdir():
        if folder.is_dir() and folder.name != "__pycache__":
            assert f"`server/{folder.name}/`" in DEVELOPERS


def test_the_pictures_of_the_readme_exist():
    pictures = re.findall(r'<img src="([^"]+)"', README)
    assert len(pictures) == 3
    for path in pictures:
        assert (ROOT / path).is_file()
        assert (ROOT / path).stat().st_size < 150_000
