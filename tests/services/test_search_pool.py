"""Search processes: bounded, started when needed, ended with the program, and none that dies takes anything with it."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from threading import Event
from types import SimpleNamespace
from typing import Any

import pytest

from server.formats.calls import CallProblem, FieldProblem
from server.planning.schedule import compiled, threads
from server.services import planning_search
from server.services.errors import FieldError, Invalid, Refused
from server.services.search_pool import MOST_WAITING, Ears, SearchPool

ROOT = Path(__file__).parents[2]
Told = Callable[[Any], bool]
LATEST_S = 60.0


@pytest.fixture
def pool() -> Iterator[SearchPool]:
    made = SearchPool()
    yield made
    made.close()


def double(number: int, _told: Told) -> tuple[int, int]:
    return 2 * number, os.getpid()


def count_threads(_told: Told) -> int:
    return threads.allowed()


def search_on(folder: Path, told: Told) -> str:
    """Note that it runs, by its process, and go on until it is told to stop or may end."""
    (folder / f"runs-{os.getpid()}").touch()
    rounds = 0
    while told(rounds) and not (folder / "may-end").exists():
        rounds += 1
        time.sleep(0.01)
    return f"ended after {rounds > 0}"


def fail(fault: Exception, _told: Told) -> None:
    raise fault


def endless(_told: Told) -> None:
    while True:
        pass


def wait_for(what: Callable[[], Any]) -> Any:
    until = time.monotonic() + LATEST_S
    while not (found := what()):
        assert time.monotonic() < until, "it never came"
        time.sleep(0.02)
    return found


def running(folder: Path) -> list[int]:
    return [int(path.name.partition("-")[2]) for path in folder.glob("runs-*")]


def has_run(folder: Path, count: int) -> bool:
    return len(running(folder)) == count


def is_there(pid: int) -> bool:
    """Whether a process still runs; one that ended and was not fetched by its parent does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def test_no_process_is_there_before_the_first_search_and_one_serves_many(pool: SearchPool) -> None:
    assert pool.processes == []
    answers = [pool.run(double, number) for number in (1, 2, 3)]
    assert [twice for twice, _ in answers] == [2, 4, 6]
    [pid] = {pid for _, pid in answers}
    assert pool.processes == [pid] and pid != os.getpid()


def test_a_process_gets_ready_before_it_is_asked_and_only_one(pool: SearchPool, tmp_path: Path) -> None:
    (tmp_path / "may-end").touch()
    for _ in range(3):
        pool.get_ready(partial(search_on, tmp_path))
    wait_for(lambda: has_run(tmp_path, 1))
    wait_for(lambda: not pool.is_getting_ready)
    [pid] = pool.processes
    pool.get_ready(partial(search_on, tmp_path))
    assert pool.run(double, 2) == (4, pid)
    # One that ended by itself, for want of work, is followed by another.
    os.kill(pid, signal.SIGKILL)
    wait_for(lambda: pool.processes == [])
    pool.get_ready(partial(search_on, tmp_path))
    wait_for(lambda: has_run(tmp_path, 2))


def test_the_rehearsal_is_a_plan_and_a_pool_that_ended_does_not_begin_one(pool: SearchPool) -> None:
    assert pool.run(planning_search.rehearse) is None
    pool.close()
    pool.get_ready(planning_search.rehearse)
    assert pool.processes == [] and not pool.is_getting_ready


@pytest.mark.parametrize("is_compiled", [True, False])
def test_a_program_that_starts_has_a_process_ready_where_the_search_is_compiled(
    pool: SearchPool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, is_compiled: bool
) -> None:
    compiling: list[Path] = []
    monkeypatch.setattr(planning_search, "SEARCHES", pool)
    monkeypatch.setattr(planning_search, "QUIET", SimpleNamespace(seconds=0.0))
    monkeypatch.setattr(planning_search, "_IS_PREPARED", Event())
    monkeypatch.setattr(compiled, "compile_aside", compiling.append)
    monkeypatch.setattr(compiled, "is_ready", lambda data: is_compiled and data == tmp_path)
    planning_search.prepare(tmp_path, 2)
    wait_for(lambda: not pool.is_getting_ready)
    assert len(pool.processes) == is_compiled and pool.most == 2 and compiling == [tmp_path]


@pytest.mark.parametrize(
    "fault",
    [
        Refused("Say first when you paint."),
        Invalid([FieldError("stack_uid", "Give it mixes."), FieldError("", "And more.")]),
        CallProblem([FieldProblem("panels.0.id", "is missing")]),
        ZeroDivisionError("no fault of ours"),
    ],
)
def test_what_is_raised_there_is_raised_here(pool: SearchPool, fault: Exception) -> None:
    with pytest.raises(type(fault)) as raised:
        pool.run(fail, fault)
    assert str(raised.value) == str(fault)
    assert getattr(raised.value, "errors", None) == getattr(fault, "errors", None)
    assert pool.run(double, 1)[0] == 2 and len(pool.processes) == 1  # the process serves on


def test_one_that_is_killed_is_told_of_and_its_search_begun_anew(pool: SearchPool, tmp_path: Path) -> None:
    anew: list[bool] = []
    with ThreadPoolExecutor(1) as thread:
        asked = thread.submit(pool.run, search_on, tmp_path, ears=Ears(anew=lambda: anew.append(True)))
        [first] = wait_for(lambda: running(tmp_path))
        os.kill(first, signal.SIGKILL)
        wait_for(lambda: len(running(tmp_path)) == 2)
        (tmp_path / "may-end").touch()
        assert asked.result(LATEST_S).startswith("ended")
    assert anew == [True] and first not in pool.processes


def test_a_search_over_which_two_die_is_given_up_in_words(pool: SearchPool, tmp_path: Path) -> None:
    with ThreadPoolExecutor(1) as thread:
        asked = thread.submit(pool.run, search_on, tmp_path)
        for count in (1, 2):
            wait_for(partial(has_run, tmp_path, count))
            for pid in running(tmp_path):
                if is_there(pid):
                    os.kill(pid, signal.SIGKILL)
        with pytest.raises(Refused, match="was cut off"):
            asked.result(LATEST_S)
    assert pool.run(double, 4)[0] == 8


def test_one_that_died_while_nothing_was_asked_of_it_is_not_missed(pool: SearchPool) -> None:
    _, pid = pool.run(double, 1)
    os.kill(pid, signal.SIGKILL)
    wait_for(lambda: not is_there(pid))
    twice, other = pool.run(double, 5)
    assert twice == 10 and other != pid


def test_a_search_is_told_of_and_stopped(pool: SearchPool, tmp_path: Path) -> None:
    heard: list[int] = []

    def told(rounds: int) -> bool:
        heard.append(rounds)
        return len(heard) < 3

    assert pool.run(search_on, tmp_path, ears=Ears(told)) == "ended after True"
    assert heard == sorted(heard) and len(heard) >= 3
    assert pool.run(double, 1)[0] == 2  # a stop that came late stops nothing else


def test_long_searches_and_calls_leave_a_process_to_the_quick(pool: SearchPool, tmp_path: Path) -> None:
    with ThreadPoolExecutor(12) as askers:
        long = askers.submit(pool.run, search_on, tmp_path, kind="long")
        wait_for(lambda: len(running(tmp_path)) == 1)
        with pytest.raises(Refused, match="already"):
            pool.run(search_on, tmp_path, kind="long")
        calls = [askers.submit(pool.run, search_on, tmp_path, kind="call") for _ in range(3)]
        wait_for(lambda: len(running(tmp_path)) == 2)
        assert pool.run(double, 21)[0] == 42
        assert len(pool.processes) == 3 and not any(each.done() for each in (long, *calls))
        (tmp_path / "may-end").touch()
        assert all(each.result(LATEST_S) for each in (long, *calls))


def test_more_quick_ones_than_may_wait_are_turned_away_at_once(tmp_path: Path) -> None:
    pool = SearchPool(2)
    with ThreadPoolExecutor(20) as askers:
        asked = [askers.submit(pool.run, search_on, tmp_path) for _ in range(20)]
        wait_for(lambda: sum(each.done() for each in asked) == 20 - 2 - MOST_WAITING)
        turned_away = [each for each in asked if each.done()]
        (tmp_path / "may-end").touch()
        assert all("Several plans" in str(each.exception(LATEST_S)) for each in turned_away)
        assert all(each.result(LATEST_S) for each in asked if each not in turned_away)
    assert len(pool.processes) <= 2
    pool.close()


def test_the_end_of_the_program_ends_all_and_says_so(pool: SearchPool, tmp_path: Path) -> None:
    with ThreadPoolExecutor(1) as thread:
        asked = thread.submit(pool.run, search_on, tmp_path)
        [pid] = wait_for(lambda: running(tmp_path))
        pool.close()
        with pytest.raises(Refused, match="is ending"):
            asked.result(LATEST_S)
    wait_for(lambda: not is_there(pid))
    assert pool.processes == []


ORPHANS = """
import sys
from threading import Thread
from server.services.search_pool import SearchPool
from tests.services.test_search_pool import double, endless
pool = SearchPool()
if __name__ == "__main__":
    print(pool.run(double, 1)[1], flush=True)
    Thread(target=pool.run, args=(endless,)).start()
    print("searches", flush=True)
"""


def test_a_program_that_is_killed_leaves_no_search_behind() -> None:
    with subprocess.Popen([sys.executable, "-c", ORPHANS], cwd=ROOT, stdout=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        pid = int(program.stdout.readline())
        assert program.stdout.readline() == "searches\n"
        assert is_there(pid)
        program.kill()
    wait_for(lambda: not is_there(pid))


def test_a_search_has_the_cores_to_itself_until_another_runs(
    pool: SearchPool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(threads, "there", lambda: 3)
    assert pool.run(count_threads) == 3
    with ThreadPoolExecutor(1) as askers:
        long = askers.submit(pool.run, search_on, tmp_path, kind="long")
        wait_for(lambda: list(tmp_path.glob("runs-*")))
        assert pool.run(count_threads) == 1
        (tmp_path / "may-end").touch()
        long.result(LATEST_S)
    assert pool.run(count_threads) == 3
