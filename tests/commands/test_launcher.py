"""The launcher and the commands behind it, as a person at a keyboard meets them."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from server import __main__ as commands

ROOT = Path(__file__).resolve().parents[2]


def run(*arguments: str, given: str = "", **environ: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-P", "-m", "server", *arguments]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **environ}
    return subprocess.run(
        command, input=given, capture_output=True, text=True, env=environment, check=False, timeout=180
    )


def test_help_lists_every_command():
    answer = run("help")
    assert answer.returncode == 0
    for command in commands.COMMANDS:
        assert command.name in answer.stdout
    for name in commands.LAUNCHER_COMMANDS:
        assert name in answer.stdout
    assert run().stdout == answer.stdout


def test_an_unknown_command_is_told():
    answer = run("paint")
    assert answer.returncode == 2
    assert "paint" in answer.stderr


@pytest.mark.parametrize("command", ["demo", "serve"])
def test_other_machines_are_refused_in_plain_words(command: str, tmp_path: Path):
    answer = run(command, "--host", "0.0.0.0", XDG_DATA_HOME=str(tmp_path))
    assert answer.returncode == 1
    assert "without accounts" in answer.stderr
    assert "--shared" in answer.stderr
    assert "Traceback" not in answer.stderr


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


def test_serve_starts_answers_and_ends(tmp_path: Path):
    port = free_port()
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "XDG_DATA_HOME": str(tmp_path)}
    environment.pop("DATABASE_URL", None)
    command = [sys.executable, "-P", "-m", "server", "serve", "--port", str(port), "--log-requests"]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)
    try:
        assert server.stdout is not None
        told = server.stdout.readline()
        assert told.startswith(f"Umberday is at http://127.0.0.1:{port}/")
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/cautions?token=secret") as answer:
            assert answer.status == 200
    finally:
        server.send_signal(signal.SIGINT)
        _, complaints = server.communicate(timeout=60)
    assert server.returncode == 0
    assert "GET /cautions 200" in complaints
    assert "secret" not in complaints
    assert "Traceback" not in complaints
    folder = tmp_path / "umberday"
    assert (folder / "umberday.db").is_file()
    assert folder.stat().st_mode & 0o077 == 0


def test_a_call_reads_standard_input_and_answers_json():
    answer = run("estimate", "-", given="{}")
    assert answer.returncode == 2
    assert json.loads(answer.stderr)["status"] == 422


def checkout(folder: Path, version: str = "3, 11", has_venv: bool = True) -> tuple[Path, Path]:
    """A bare checkout with a lock file, and a Python that only pretends: it notes what it is asked to install."""
    shutil.copy(ROOT / "umberday", folder / "umberday")
    (folder / "requirements.lock").write_text("first\n")
    python = folder / "pretended"
    python.write_text(
        f"""#!/bin/sh
echo "$@" >>{folder}/asked
case "$*" in
-V) echo "Python {version}" ;;
*version_info*3,\\ 11*) [ "{version}" = "3, 11" ] ;;
*version_info*) echo 3.11 ;;
*ensurepip*) {"true" if has_venv else "false"} ;;
"-m venv"*) mkdir -p "$3/bin" && cp "$0" "$3/bin/python" ;;
*"pip install"*) [ ! -f {folder}/broken ] ;;
esac
"""
    )
    python.chmod(0o755)
    return folder, python


def launch(folder: Path, python: Path, *arguments: str, **environ: str) -> subprocess.CompletedProcess[str]:
    environment = {"PATH": os.environ["PATH"], "UMBERDAY_PYTHON": str(python), **environ}
    command = ["sh", str(folder / "umberday"), *arguments]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False, timeout=180)


def installs(folder: Path) -> int:
    return (folder / "asked").read_text().count("pip install")


def test_the_environment_is_made_once_and_again_when_the_lock_changes(tmp_path: Path):
    folder, python = checkout(tmp_path)
    first = launch(folder, python, "help")
    assert (first.returncode, installs(folder)) == (0, 1)
    asked = (folder / "asked").read_text()
    assert "--require-hashes -r" in asked
    assert "-P -m server help" in asked
    assert launch(folder, python, "help").returncode == 0
    assert installs(folder) == 1
    (folder / "requirements.lock").write_text("second\n")
    launch(folder, python, "help")
    assert installs(folder) == 2


def test_an_install_that_was_cut_off_is_done_again(tmp_path: Path):
    folder, python = checkout(tmp_path)
    (folder / "broken").touch()
    failed = launch(folder, python, "help")
    assert failed.returncode == 1
    assert "start again to retry" in failed.stderr
    assert not (folder / ".venv" / "stamp").exists()
    assert not (folder / ".venv.lock").exists()
    (folder / "broken").unlink()
    assert launch(folder, python, "help").returncode == 0
    assert (folder / ".venv" / "stamp").exists()


def test_a_builder_that_died_holds_nobody_up(tmp_path: Path):
    folder, python = checkout(tmp_path)
    (folder / ".venv.lock").mkdir()
    ended = subprocess.Popen(["true"])
    ended.wait()
    (folder / ".venv.lock" / "pid").write_text(str(ended.pid))
    assert launch(folder, python, "help").returncode == 0


def test_two_starts_at_once_build_once(tmp_path: Path):
    folder, python = checkout(tmp_path)
    holder = subprocess.Popen(["sleep", "30"])
    (folder / ".venv.lock").mkdir()
    (folder / ".venv.lock" / "pid").write_text(str(holder.pid))
    environment = {"PATH": os.environ["PATH"], "UMBERDAY_PYTHON": str(python)}
    waiting = subprocess.Popen(["sh", str(folder / "umberday"), "help"], env=environment, stderr=subprocess.PIPE)
    time.sleep(1.5)
    assert waiting.poll() is None
    holder.kill()
    holder.wait()
    waiting.communicate(timeout=60)
    assert waiting.returncode == 0
    assert installs(folder) == 1


def test_a_python_that_will_not_do_is_told_kindly(tmp_path: Path):
    folder, python = checkout(tmp_path, version="3.9.2")
    assert "3.11 or newer; " in launch(folder, python, "help").stderr
    assert "is not here" in launch(folder, folder / "nowhere", "help").stderr
    folder, python = checkout(tmp_path, has_venv=False)
    assert "apt install python3-venv" in launch(folder, python, "help").stderr


def test_left_out_tests_are_told_and_never_left_out_in_ci(tmp_path: Path):
    folder, python = checkout(tmp_path)
    (folder / "requirements-dev.lock").write_text("dev\n")
    tools = tmp_path / "tools"
    tools.mkdir()
    for name in ("sh", "cat", "cksum", "cp", "dirname", "env", "id", "kill", "mkdir", "mv", "rm", "sleep", "readlink"):
        if found := shutil.which(name):
            (tools / name).symlink_to(found)
    # No chromium on this path, and no apt-get to install it with; PostgreSQL may lie in its usual place.
    told = launch(folder, python, "test", "-x", PATH=str(tools))
    assert told.returncode == 0
    assert "LEFT OUT: the tests in a real browser" in told.stderr
    assert "-m not browser" in (folder / "asked").read_text()
    refused = launch(folder, python, "test", PATH=str(tools), CI="true")
    assert refused.returncode == 1
    assert "In CI nothing is left out" in refused.stderr
