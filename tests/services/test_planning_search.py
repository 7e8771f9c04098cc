"""A process that is to search is awake by then, and has planned a large studio once before the button is pressed."""

import os
import signal
from collections.abc import Callable, Iterator
from threading import Event
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from server.science.soundness import check
from server.services import planning, planning_make, planning_rules, planning_search
from server.services.planning_asked import Effort, PlanMake
from server.services.search_pool import SearchPool
from server.services.verdicts import Verdicts
from tests.services.conftest import NOW, Bench
from tests.services.test_search_pool import wait_for

ZONE = ZoneInfo("UTC")


@pytest.fixture
def pool(monkeypatch: pytest.MonkeyPatch) -> Iterator[SearchPool]:
    made, is_prepared = SearchPool(), Event()
    is_prepared.set()
    monkeypatch.setattr(planning_search, "SEARCHES", made)
    monkeypatch.setattr(planning_search, "_IS_PREPARED", is_prepared)
    monkeypatch.setattr(planning_search, "REHEARSALS", type(planning_search.REHEARSALS)())
    yield made
    made.close()


@pytest.fixture
def studio(bench: Bench) -> Bench:
    with bench.unit("Hours") as work:
        hours = planning.WorkTimeCreate(painter="Ada", weekdays="1234567", start="09:00", end="12:30")
        planning.create(work.session, bench.actor, hours)
    for title in ("One", "Two"):
        panel = bench.panel(title=title)
        bench.layer(panel, kind="first")
        bench.layer(panel, kind="second")
    return bench


def expect(studio: Bench) -> None:
    planning_search.expect(studio.db, studio.actor, NOW, ZONE)


def ran(pool: SearchPool, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of what is run in the pool from now on."""
    names: list[str] = []
    run = pool.run

    def noted(work: Callable[..., Any], *args: Any, **how: Any) -> Any:
        names.append(work.__name__)
        return run(work, *args, **how)

    monkeypatch.setattr(pool, "run", noted)
    return names


def at_rest(pool: SearchPool) -> bool:
    return not planning_search.REHEARSALS.is_busy and not pool.is_getting_ready


def test_a_large_studio_is_planned_once_by_a_process_that_lives(
    studio: Bench, pool: SearchPool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(planning_search, "LARGE", 2)
    names = ran(pool, monkeypatch)
    expect(studio)
    expect(studio)
    wait_for(lambda: at_rest(pool))
    expect(studio)
    wait_for(lambda: at_rest(pool))
    assert names == ["rehearse_studio"]
    [pid] = pool.processes
    os.kill(pid, signal.SIGKILL)
    wait_for(lambda: pool.processes == [])
    expect(studio)
    wait_for(lambda: at_rest(pool))
    assert names == ["rehearse_studio"] * 2


def test_for_a_small_one_a_process_that_is_awake_is_enough(
    studio: Bench, pool: SearchPool, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = ran(pool, monkeypatch)
    expect(studio)
    wait_for(lambda: pool.processes)
    wait_for(lambda: at_rest(pool))
    assert names == ["rehearse"]


def test_before_the_program_is_prepared_nothing_is_made_ready(
    studio: Bench, pool: SearchPool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(planning_search, "_IS_PREPARED", Event())
    expect(studio)
    assert at_rest(pool) and pool.processes == []


def test_without_hours_nothing_is_planned_and_nothing_breaks(
    bench: Bench, pool: SearchPool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(planning_search, "LARGE", 0)
    names = ran(pool, monkeypatch)
    expect(bench)
    wait_for(lambda: at_rest(pool))
    assert names == []


def test_after_the_rehearsal_the_rules_have_nothing_new_to_judge(
    studio: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    judged: list[object] = []

    def judge(*asked: Any) -> Any:
        judged.append(asked)
        return check(*asked)

    verdicts = Verdicts(judge=judge)
    monkeypatch.setattr(planning_rules, "VERDICTS", verdicts)
    with studio.db.read() as session:
        asked = planning_make.read(session, studio.actor, PlanMake(), NOW, ZONE)
    assert planning_search.rehearse_studio(asked, lambda _: True) == os.getpid()
    before = len(judged)
    assert before > 0
    planning_make.work_out(asked, Effort(moves=0))
    assert len(judged) == before
