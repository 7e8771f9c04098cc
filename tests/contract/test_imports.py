"""The rings: which part of the server may import which. The rule is DEVELOPERS.md's own, "arrows point inward"."""

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SERVER = ROOT / "server"
# What pages may name of the inner rings: values, and tables to choose from.
VALUE_TYPES = (
    "server.science.errors",
    "server.science.recipe",
    "server.science.reference",
    "server.science.results",
    "server.science.soundness.types",
    "server.store.tables",
)

# Ring -> the rings it may use beside itself.
ALLOWED = {
    "science": set(),
    "planning": {"science"},
    "store": set(),
    "formats": {"science", "planning"},
    "services": {"science", "planning", "store", "formats"},
    "web": {"services", "formats"},
}
# Where the program is put together, the database is opened; nowhere else in the web.
OPENS_THE_DATABASE = {
    "web/app.py",
    "web/deps.py",
    "web/shared_link.py",
    "web/serve.py",
    "web/upkeep.py",
    "web/pages/health.py",
}
# Libraries a ring must not know, by the first name of the module.
FORBIDDEN = {
    "planning": {"fastapi", "starlette", "sqlmodel", "sqlalchemy", "jinja2"},
    "formats": {"fastapi", "starlette", "sqlmodel", "sqlalchemy", "jinja2"},
    "services": {"fastapi", "starlette", "jinja2"},
    "store": {"fastapi", "starlette", "jinja2"},
}


def modules_of(ring: str) -> list[Path]:
    return sorted((SERVER / ring).rglob("*.py"))


def imported(path: Path) -> set[str]:
    """Every module a file imports, at its top or within a function."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
    return found


@pytest.mark.parametrize("ring", ALLOWED)
def test_arrows_point_inward(ring: str):
    wrong = []
    for path in modules_of(ring):
        place = path.relative_to(SERVER).as_posix()
        allowed = ALLOWED[ring] | {ring}
        if place in OPENS_THE_DATABASE:
            allowed = allowed | {"store"}
        for name in imported(path):
            parts = name.split(".")
            if parts[0] != "server" or len(parts) < 2 or parts[1] in allowed:
                continue
            # Values are spoken in every ring that lies outside theirs; calculations and sessions are not.
            is_value = name.startswith(VALUE_TYPES) or any(value.startswith(name + ".") for value in VALUE_TYPES)
            if not (is_value and ring == "web"):
                wrong.append(f"{place} imports {name}")
    assert not wrong


def test_the_science_knows_numbers_and_nothing_else():
    known = set(sys.stdlib_module_names) | {"numpy", "server"}
    for path in modules_of("science"):
        for name in imported(path):
            assert name.split(".")[0] in known, f"{path.name} imports {name}"
            assert name not in {"random", "time", "socket", "sqlite3", "urllib", "asyncio"}, (
                f"{path.name} imports {name}"
            )
        text = path.read_text(encoding="utf-8")
        for clock in ("datetime.now", "date.today", "utcnow"):
            assert clock not in text, f"{path.name} reads the clock"


@pytest.mark.parametrize("ring", FORBIDDEN)
def test_no_ring_knows_the_libraries_of_another(ring: str):
    for path in modules_of(ring):
        roots = {name.split(".")[0] for name in imported(path)}
        assert not roots & FORBIDDEN[ring], f"{path.relative_to(SERVER)} imports {roots & FORBIDDEN[ring]}"


def test_pages_ask_the_services_and_write_no_queries():
    for path in modules_of("web"):
        if path.name != "health.py":
            names = {name for name in imported(path) if name.startswith(("sqlmodel", "sqlalchemy", "alembic"))}
            assert names <= {"sqlmodel", "sqlmodel.Session"}, path


def test_only_the_settings_read_the_environment():
    for path in SERVER.rglob("*.py"):
        if path.name != "settings.py":
            text = path.read_text(encoding="utf-8")
            assert "os.environ" not in text, path
            assert "getenv" not in text, path


def test_every_folder_of_the_server_is_a_ring():
    folders = {path.name for path in SERVER.iterdir() if path.is_dir() and path.name != "__pycache__"}
    assert folders == set(ALLOWED)


def test_files_and_functions_stay_small():
    """Under 400 lines a file, 5 parameters a function; a function of over 50 lines is hard to read."""
    wrong = []
    for folder in ("server", "seed_demo", "bench"):
        for path in (ROOT / folder).rglob("*.py"):
            text = path.read_text(encoding="utf-8")
            place = path.relative_to(ROOT).as_posix()
            if text.count("\n") > 400:
                wrong.append(f"{place} has {text.count(chr(10))} lines")
            for node in ast.walk(ast.parse(text)):
                if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and "migrations/" not in place:
                    length = (node.end_lineno or 0) - node.lineno + 1
                    if length > 50:
                        wrong.append(f"{place}: {node.name} has {length} lines")
    assert not wrong
