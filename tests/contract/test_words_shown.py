"""What no text of ours may say, and what no template may hold."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
# A range is a chance, never a promise.
PROMISES = re.compile(
    r"\b(safe|safely|safer|safest|safety|archival|guarantee\w*|foolproof|harmless|risk-free|"
    r"will (never|not) crack|(won't|won\u2019t|never) cracks?)\b",
    re.IGNORECASE,
)
# What a strict Content-Security-Policy blocks, or htmx would have to evaluate.
INLINE = re.compile(
    r"""<style|<script(?![^>]*\bsrc=)|\sstyle\s*=|\son[a-z]+\s*=|hx-on|["']js:|javascript:""", re.IGNORECASE
)
FOREIGN = re.compile(r"""(?:src|href|action)\s*=\s*["'](?:https?:)?//""", re.IGNORECASE)


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_a_template_promises_nothing_and_holds_nothing_inline(path: Path):
    text = path.read_text(encoding="utf-8")
    assert not PROMISES.search(text)
    assert not INLINE.search(text)
    assert not FOREIGN.search(text)


def shown_texts(path: Path) -> list[str]:
    """Every string of a module that could reach a screen: all but docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    nodes = (node for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str))
    return [str(node.value) for node in nodes if id(node) not in docstrings]


def test_no_text_of_the_program_promises():
    for folder in ("server", "seed_demo"):
        for path in (ROOT / folder).rglob("*.py"):
            for text in shown_texts(path):
                assert not PROMISES.search(text), path
    for path in shown_data():
        assert not PROMISES.search(path.read_text(encoding="utf-8")), path


def shown_data() -> list[Path]:
    """Files other than code and templates whose words reach a screen or a reader."""
    tables = [path for end in ("toml", "csv", "json") for path in (ROOT / "server").rglob(f"*.{end}")]
    seeds = [path for path in (ROOT / "seed_demo").rglob("*") if path.is_file() and path.suffix in {".toml", ".csv"}]
    static = [
        path for path in (ROOT / "static").iterdir() if path.suffix in {".js", ".svg"} and "htmx" not in path.name
    ]
    return [*tables, *seeds, *static, ROOT / "README.md"]


def test_the_words_that_promise_are_found_wherever_they_stand():
    for text in ("It is safe now.", "Archival.", "guaranteed", "a guarantee", "SAFELY", "this won't crack"):
        assert PROMISES.search(text), text
    for text in ("raises the risk of drying cracks", "unsafely thin", "a step aside"):
        assert not PROMISES.search(text), text
    names = {path.name for path in shown_data()}
    assert {"soundness_thresholds.toml", "soundness_sources.toml", "pigments.csv", "umberday.js"} <= names


def test_no_template_switches_escaping_off():
    for path in TEMPLATES:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\|\s*safe\b|autoescape\s+false|Markup\(", text), path
