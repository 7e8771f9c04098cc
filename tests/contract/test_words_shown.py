"""What no text of ours may say, and what no template may hold."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
# A range is a chance, never a promise.
PROMISES = re.compile(r"\b(safe|safely|archival|guaranteed)\b", re.IGNORECASE)
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


def test_no_text_of_the_server_promises():
    for folder in ("server", "seed_demo"):
        for path in (ROOT / folder).rglob("*"):
            if path.suffix in {".py", ".toml", ".json"} and path.is_file():
                for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
                    # Autoescape's own vocabulary and thread-safety are words of programming.
                    if PROMISES.search(line.replace("Thread-safe", "").replace("|safe", "").replace("| safe", "")):
                        pytest.fail(f"{path.relative_to(ROOT)}:{number}: {line.strip()}")


def test_no_template_switches_escaping_off():
    for path in TEMPLATES:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\|\s*safe\b|autoescape\s+false|Markup\(", text), path
