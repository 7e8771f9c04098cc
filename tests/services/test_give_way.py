"""Work that nobody waits for rests while an answer is under way, and never for long."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from server.services.give_way import Road

LONG_S = 60.0  # longer than any test lasts: what rests so long did not go on by itself


@pytest.fixture
def road() -> Road:
    return Road(LONG_S)


@contextmanager
def aside(road: Road, work: Callable[[], None]) -> Iterator[threading.Event]:
    """``work`` in a thread of its own that goes behind others; the event is set once it is done."""
    done = threading.Event()

    def run() -> None:
        with road.behind_others():
            work()
        done.set()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    yield done
    thread.join(timeout=10)
    assert not thread.is_alive()


def test_a_step_waits_until_the_answer_is_given(road: Road) -> None:
    answer = road.answering()
    answer.__enter__()
    with aside(road, road.give_way) as done:
        assert not done.wait(0.1)
        answer.__exit__(None, None, None)
        assert done.wait(10)


def test_with_nobody_waiting_it_goes_on_at_once(road: Road) -> None:
    with aside(road, road.give_way) as done:
        assert done.wait(10)


def test_a_thread_that_somebody_waits_for_never_rests(road: Road) -> None:
    with road.answering():
        road.give_way()


def test_a_step_is_not_put_off_for_ever() -> None:
    road = Road(0.01)
    with road.answering(), aside(road, road.give_way) as done:
        assert done.wait(10)


def test_while_the_body_of_a_request_is_on_its_way_nobody_waits(road: Road) -> None:
    with road.answering(), road.resting(), aside(road, road.give_way) as done:
        assert done.wait(10)


def test_who_holds_a_turn_does_not_wait_for_who_waits_for_it(road: Road) -> None:
    turn, is_held, may_ask = threading.Lock(), threading.Event(), threading.Event()

    def make() -> None:
        with road.in_turn(turn):
            is_held.set()
            may_ask.wait(10)
            road.give_way()

    with aside(road, make) as done:
        assert is_held.wait(10)
        threading.Timer(0.05, may_ask.set).start()
        with road.answering(), road.in_turn(turn):
            assert done.wait(10)
    assert not turn.locked()


def test_nothing_stays_counted_after_a_fault(road: Road) -> None:
    with pytest.raises(ValueError, match="broken"), road.answering(), road.resting():
        raise ValueError("broken")
    with pytest.raises(ValueError, match="broken"), road.in_turn(threading.Lock()):
        raise ValueError("broken")
    assert road.is_clear
