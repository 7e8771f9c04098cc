"""Calls that take long: in threads apart, so many at once, and none that keeps the program from ending."""

import asyncio
import subprocess
import sys
import threading
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar

import pytest
from starlette.responses import Response

from server.web.api.stateless import Planners

ROOT = Path(__file__).parents[2]
Answer = TypeVar("Answer")
ENDLESS = """
import asyncio, threading
from server.web.api.stateless import Planners

async def ask():
    asyncio.get_running_loop().create_task(Planners().run(lambda: threading.Event().wait(600)))
    await asyncio.sleep(0.2)

asyncio.run(ask())
"""


def apart(work: Coroutine[object, object, Answer]) -> Answer:
    """What the coroutine answers, run in a loop and thread of its own: the browser's tests keep one in this thread."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()


def test_more_than_may_wait_are_turned_away_and_the_others_answered() -> None:
    may_end = threading.Event()

    def work() -> Response:
        may_end.wait(30)
        return Response("done")

    async def ask() -> list[int]:
        pool = Planners(at_once=1, waiting=2)
        asked = [asyncio.create_task(pool.run(work)) for _ in range(5)]
        await asyncio.sleep(0)
        may_end.set()
        codes = [answer.status_code for answer in await asyncio.gather(*asked)]
        return [*codes, (await pool.run(work)).status_code]

    assert apart(ask()) == [200, 200, 200, 503, 503, 200]


def test_a_fault_of_the_work_is_raised_where_it_is_awaited_and_frees_its_place() -> None:
    def fail() -> Response:
        raise ZeroDivisionError

    async def ask() -> None:
        pool = Planners(at_once=1, waiting=0)
        for _ in range(2):
            with pytest.raises(ZeroDivisionError):
                await pool.run(fail)

    apart(ask())


def test_the_program_ends_though_a_search_goes_on() -> None:
    ended = subprocess.run([sys.executable, "-c", ENDLESS], cwd=ROOT, timeout=30, check=False, capture_output=True)
    assert ended.returncode == 0, ended.stderr
