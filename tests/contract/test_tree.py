"""What a clone is handed: files of its own, and nothing that leads back to the machine they were written on."""

import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def tracked() -> list[tuple[str, str]]:
    """Mode and path of every file that git hands out, or of every file where there is no git."""
    if not (ROOT / ".git").exists():
        return [("120000" if file.is_symlink() else "100644", str(file.relative_to(ROOT))) for file in ROOT.rglob("*")]
    command = ["git", "ls-files", "-s", "-z"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    lines = [line.partition("\t") for line in listed.stdout.split("\0") if line]
    return [(about.split()[0], path) for about, _, path in lines]


def test_no_file_is_a_link():
    assert [path for mode, path in tracked() if mode not in ("100644", "100755")] == []


def test_nothing_that_is_made_on_a_machine_is_handed_out():
    made = (".venv", ".pytest_cache", ".mypy_cache", ".ruff_cache", ".hypothesis", "__pycache__", "out")
    assert [path for _, path in tracked() if path.split("/")[0].startswith(made) or "__pycache__" in path] == []
