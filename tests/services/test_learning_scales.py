"""Scales learned when idle: beside the requests, once for all processes of a database, and kept."""

import logging
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta, timezone

import pytest
from sqlalchemy import select, update
from sqlmodel import col

from bench.learning_studios import Painter, make
from server.science.learning import Ask, Evidence, Priors, learn
from server.science.learning.scales import Scales
from server.services import learning_data, learning_scales, touch_tests
from server.services.board.snapshot import snapshot
from server.services.learning import StudioLearning
from server.services.learning_scales import (
    AT_ONCE,
    CLAIM_HOLDS,
    GROWN,
    NONE_STORED,
    STORED_COLUMNS,
    Given,
    IdleLearning,
    Stored,
    Task,
    learn_and_keep,
    prior_scales,
    scales_from_json,
    scales_to_json,
    stored_of,
)
from server.services.touch_tests import TouchTestCreate
from server.services.whereabouts import whereabouts
from server.store.db import Database
from server.store.tables import LearnedScales
from tests.services.conftest import NOW as TODAY
from tests.services.conftest import Bench

NOW = datetime(2031, 5, 1, 9, tzinfo=timezone.utc)
MANY = 90
assert MANY > AT_ONCE


def evidence(tests: int = MANY, seed: int = 3) -> tuple[Evidence, ...]:
    return tuple(make(seed, 1000, Painter(wrong=0.02), until=tests).layers)


def given(tests: int = MANY) -> Given:
    return Given(evidence(tests), Priors())


def now() -> datetime:
    return NOW


@pytest.fixture
def studio_id(bench: Bench) -> int:
    return bench.actor.studio_id


@pytest.fixture
def another(database: Database, database_url: str) -> Iterator[Database]:
    """The same database, as another process has it."""
    made = Database(database_url)
    yield made
    made.close()


def stored(db: Database) -> Stored:
    with db.read() as session:
        row = session.execute(select(*STORED_COLUMNS)).first()
    return NONE_STORED if row is None else stored_of(row)


def task(db: Database, studio_id: int, tests: int = MANY) -> Task:
    return Task(db, studio_id, given(tests), stored(db).scales)


def numbers(scales: Scales | None) -> object:
    assert scales is not None
    return scales_to_json(scales)


def waited_for(db: Database, seconds: float = 20.0) -> Stored:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = stored(db)
        if found.scales is not None and found.claimed_at is None:
            return found
        time.sleep(0.02)
    raise AssertionError("nothing was learned")


def test_what_is_kept_comes_back_to_the_last_bit():
    scales = given().learned()
    back = scales_from_json(scales_to_json(scales))
    assert back.settings == scales.settings and back.draws == scales.draws
    assert back.sd.tolist() == scales.sd.tolist()
    one, other = (learn(evidence(), Ask(), each).predict(replace(evidence()[0], presses=())) for each in (scales, back))
    assert one.log_mean == other.log_mean and one.log_sd == other.log_sd


def test_a_request_is_answered_at_once_and_the_scales_come_later(database: Database, studio_id: int, monkeypatch):
    goes_on = threading.Event()
    learned = Given.learned

    def slowly(self: Given, start: Scales | None = None) -> Scales:
        assert threading.current_thread().name == "learning"
        assert goes_on.wait(20)
        return learned(self, start)

    before = prior_scales()
    monkeypatch.setattr(Given, "learned", slowly)
    idle = IdleLearning()
    began = time.monotonic()
    assert idle.scales_of(task(database, studio_id), NONE_STORED) is before
    assert idle.scales_of(task(database, studio_id), NONE_STORED) is before  # while the first is at it
    assert time.monotonic() - began < 5.0
    # Another write goes through while they are learned: nothing is locked meanwhile.
    with database.write() as session:
        session.execute(select(col(LearnedScales.id))).all()
    goes_on.set()
    found = waited_for(database)
    assert found.tests == MANY and found.suit(MANY)
    assert numbers(found.scales) == numbers(learned(given()))
    assert idle.scales_of(task(database, studio_id), found) is found.scales


def test_only_one_of_several_processes_learns_them(database: Database, another: Database, studio_id: int, monkeypatch):
    counted: list[str] = []
    together = threading.Barrier(2, timeout=20)
    learned = Given.learned

    def counting(self: Given, start: Scales | None = None) -> Scales:
        counted.append(threading.current_thread().name)
        time.sleep(0.3)
        return learned(self, start)

    monkeypatch.setattr(Given, "learned", counting)
    answers: list[bool] = []

    def process(db: Database) -> None:
        mine = task(db, studio_id)
        together.wait()
        answers.append(learn_and_keep(mine, lambda: datetime.now(timezone.utc)))

    threads = [threading.Thread(target=process, args=(db,)) for db in (database, another)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [False, True] and len(counted) == 1
    # And the other one shows what the first has learned.
    assert numbers(stored(another).scales) == numbers(stored(database).scales)


def test_a_claim_that_was_never_kept_runs_out(database: Database, another: Database, studio_id: int, monkeypatch):
    def killed(self: Given, start: Scales | None = None) -> Scales:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(learning_scales, "_release", lambda *_: None)  # a process that is killed releases nothing
        patched.setattr(Given, "learned", killed)
        with pytest.raises(KeyboardInterrupt):
            learn_and_keep(task(database, studio_id), now)
    assert stored(database).is_claimed(NOW)
    assert not learn_and_keep(task(another, studio_id), lambda: NOW + CLAIM_HOLDS - timedelta(seconds=1))
    later = NOW + CLAIM_HOLDS + timedelta(seconds=1)
    assert learn_and_keep(task(another, studio_id), lambda: later)
    found = stored(database)
    assert found.tests == MANY and found.claimed_at is None


def test_who_lost_the_claim_overwrites_nothing(database: Database, studio_id: int, monkeypatch):
    """A process that slept through its claim comes back when another one has learned them."""
    learned = Given.learned

    def overtaken(self: Given, start: Scales | None = None) -> Scales:
        with database.write() as session:
            session.execute(update(LearnedScales).values(claimed_by="somebody else"))
        return learned(self, start)

    monkeypatch.setattr(Given, "learned", overtaken)
    learn_and_keep(task(database, studio_id), now)
    assert stored(database).scales is None


def test_a_failure_gives_the_claim_back_and_is_logged(
    database: Database, studio_id: int, monkeypatch, caplog: pytest.LogCaptureFixture
):
    prior_scales()

    def fails(self: Given, start: Scales | None = None) -> Scales:
        raise FloatingPointError("not today")

    monkeypatch.setattr(Given, "learned", fails)
    idle = IdleLearning()
    with caplog.at_level(logging.ERROR, logger=learning_scales.__name__):
        idle.scales_of(task(database, studio_id), NONE_STORED)
        end = time.monotonic() + 20
        while not caplog.records and time.monotonic() < end:
            time.sleep(0.02)
    assert "could not be learned" in caplog.text
    assert not stored(database).is_claimed(datetime.now(timezone.utc))


def test_they_are_learned_anew_when_tests_have_grown_by_a_seventh(database: Database, studio_id: int):
    learn_and_keep(task(database, studio_id), now)
    assert not learn_and_keep(task(database, studio_id, MANY + 3), now)
    more = int(MANY * GROWN) + 1
    assert not stored(database).suit(more)
    assert learn_and_keep(task(database, studio_id, more), now)
    assert stored(database).tests == more


def test_another_model_takes_nothing_from_what_was_kept(database: Database, studio_id: int):
    learn_and_keep(task(database, studio_id), now)
    with database.write() as session:
        session.execute(update(LearnedScales).values(model="0"))
    assert stored(database).scales is None


def many_tests(bench: Bench) -> None:
    """Layers that each take a third longer than the book says, pressed four times: more tests than are few."""
    days = ((1.0, "wet"), (2.5, "tacky"), (4.0, "tacky"), (6.0, "touch_dry"))
    layers = [bench.painted(bench.panel(title=f"Panel {i}"), 20 + i) for i in range(AT_ONCE // len(days) + 2)]
    with bench.unit("Pressed") as work:
        for layer in layers:
            assert layer.painted_at is not None
            for day, stage in days:
                at = layer.painted_at + timedelta(days=day)
                command = TouchTestCreate(stage=stage, pressed_at=at, is_sure=True)
                touch_tests.log(work.session, bench.actor, layer.uid, command, TODAY)


def read(db: Database, studio_id: int) -> StudioLearning:
    with db.read() as session:
        return learning_data.read(session, studio_id, whereabouts(session, studio_id))


def test_every_process_shows_the_dates_that_follow(bench: Bench, another: Database, monkeypatch):
    goes_on = threading.Event()
    learned = Given.learned

    def when_asked(self: Given, start: Scales | None = None) -> Scales:
        assert threading.current_thread().name != "learning" or goes_on.wait(20)
        return learned(self, start)

    monkeypatch.setattr(Given, "learned", when_asked)
    monkeypatch.setattr(learning_data, "IDLE", IdleLearning())
    many_tests(bench)
    studio_id = bench.actor.studio_id
    with bench.db.read() as session:
        first = snapshot(session, bench.actor)
    assert first.rows.learning.learned is not None
    assert first.rows.learning.learned.scales is prior_scales()
    goes_on.set()
    found = waited_for(bench.db)
    with bench.db.read() as session:
        later = snapshot(session, bench.actor)
        assert snapshot(session, bench.actor) is later
    assert later is not first and later.rows.learning.number != first.rows.learning.number
    ours, theirs = (read(db, studio_id).learned for db in (bench.db, another))
    assert ours is not None and theirs is not None
    assert numbers(ours.scales) == numbers(theirs.scales) == numbers(found.scales)
    assert [(each.mean, each.sd) for each in ours.effects()] == [(each.mean, each.sd) for each in theirs.effects()]
    with bench.db.read() as session:
        revision = session.execute(select(col(LearnedScales.revision))).scalar_one()
    assert revision == 1
