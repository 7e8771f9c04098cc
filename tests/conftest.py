"""What holds for the whole suite: the tests of a folder carry its marker, and a full run renders every template."""

from pathlib import Path

import jinja2
import pytest

pytest_plugins = ["tests.databases"]

TESTS = Path(__file__).parent
TEMPLATES = TESTS.parent / "templates"
loaded: set[str] = set()
_get_source = jinja2.FileSystemLoader.get_source


def _get_source_noting(self, environment, template):
    # Called once for each template an environment renders, includes, imports or extends.
    loaded.add(template)
    return _get_source(self, environment, template)


def pytest_configure(config: pytest.Config) -> None:
    jinja2.FileSystemLoader.get_source = _get_source_noting  # type: ignore[method-assign]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.path.is_relative_to(TESTS / "browser"):
            item.add_marker("browser")


def is_full_run(config: pytest.Config) -> bool:
    # Without its plugin for the cache pytest knows no --lf.
    option = config.option
    narrowed = option.keyword or option.markexpr or option.collectonly or getattr(option, "lf", False)
    return config.args_source == pytest.Config.ArgsSource.TESTPATHS and not narrowed


def never_rendered(config: pytest.Config) -> list[str]:
    """Templates that no test of this run needed; a narrowed run has nothing to say about them."""
    if hasattr(config, "workerinput") or not is_full_run(config):
        return []
    return sorted({path.relative_to(TEMPLATES).as_posix() for path in TEMPLATES.rglob("*.html")} - loaded)


def pytest_testnodedown(node, error) -> None:
    """A worker of xdist is done: take over what it rendered."""
    loaded.update(getattr(node, "workeroutput", {}).get("templates", ()))


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["templates"] = sorted(loaded)
    elif exitstatus == pytest.ExitCode.OK and never_rendered(session.config):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter, config: pytest.Config) -> None:
    missing = never_rendered(config)
    if missing:
        terminalreporter.section("templates that no test renders: the run fails", red=True)
        terminalreporter.line(", ".join(missing))
