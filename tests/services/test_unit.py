"""A unit of work: whole or not at all, once for a key, with everything it changed in the history."""

import threading
from contextlib import suppress
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import update
from sqlmodel import Session, col, select

from server.services import panels
from server.services.unit import unit
from server.store.db import Database, ReadOnlySession
from server.store.tables import Change, ChangeSet, Panel, Place
from tests.services.conftest import NOW, Bench

RIVALS = 8


def change_sets(session: Session) -> list[ChangeSet]:
    return list(session.exec(select(ChangeSet).order_by(col(ChangeSet.id))))


def changes(session: Session) -> list[Change]:
    return list(session.exec(select(Change).order_by(col(Change.id))))


def add_once(bench: Bench, key: str | None, title: str = "Two pears") -> tuple[bool, str]:
    """What a page does with a posted form."""
    with bench.unit(f"Added '{title}'", key=key) as work:
        if not work.repeated:
            panel = panels.create(work.session, bench.actor, bench.panel_command(title=title))
            work.location = f"/panels/{panel.uid}"
    return work.repeated, work.location


def test_a_repeated_key_gives_the_first_answer(bench: Bench) -> None:
    repeated, location = add_once(bench, "key-1")
    assert not repeated
    assert add_once(bench, "key-1", "Something else") == (True, location)
    with bench.db.read() as session:
        assert [panel.title for panel in panels.all_open(session, bench.actor)] == ["Two pears"]
        assert len(change_sets(session)) == 1


def test_without_a_key_each_time_counts(bench: Bench) -> None:
    assert add_once(bench, None)[1] != add_once(bench, None)[1]


def test_a_key_belongs_to_its_studio(bench: Bench, stranger: Bench) -> None:
    add_once(bench, "key-1")
    assert not add_once(stranger, "key-1")[0]


def test_a_failed_unit_leaves_its_key_free(bench: Bench) -> None:
    with pytest.raises(RuntimeError), bench.unit(key="key-1"):
        raise RuntimeError
    assert not add_once(bench, "key-1")[0]


def test_a_repeated_unit_cannot_write(bench: Bench) -> None:
    add_once(bench, "key-1")
    with pytest.raises(ReadOnlySession), bench.unit(key="key-1") as work:
        panels.create(work.session, bench.actor, bench.panel_command())
    with bench.db.read() as session:
        assert len(panels.all_open(session, bench.actor)) == 1


def test_rivals_with_one_key_make_one_record(bench: Bench) -> None:
    """All start at once; whoever comes first makes the record, the others get its address."""
    for number in range(5):
        answers: list[Any] = []
        start = threading.Barrier(RIVALS)

        def post(key: str = f"race-{number}", answers: list[Any] = answers, start: Any = start) -> None:
            try:
                start.wait()
                answers.append(add_once(bench, key))
            except BaseException as fault:
                answers.append(fault)

        threads = [threading.Thread(target=post) for _ in range(RIVALS)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(repeated for repeated, _ in answers) == [False] + [True] * (RIVALS - 1)
        assert len({location for _, location in answers}) == 1
    with bench.db.read() as session:
        assert len(panels.all_open(session, bench.actor)) == 5


def test_a_loser_does_the_work_when_the_first_one_fails(bench: Bench) -> None:
    inside, go = threading.Event(), threading.Event()

    def fail() -> None:
        with suppress(ZeroDivisionError), bench.unit(key="key-1") as work:
            panels.create(work.session, bench.actor, bench.panel_command(title="lost"))
            inside.set()
            go.wait(10)
            raise ZeroDivisionError

    thread = threading.Thread(target=fail)
    thread.start()
    assert inside.wait(10)
    threading.Timer(0.2, go.set).start()
    assert not add_once(bench, "key-1", "kept")[0]
    thread.join()
    with bench.db.read() as session:
        assert [panel.title for panel in panels.all_open(session, bench.actor)] == ["kept"]


def test_the_history_has_every_row_before_and_after(bench: Bench) -> None:
    panel = bench.panel()
    with bench.unit("Renamed", now=NOW + timedelta(hours=1)) as work:
        found = work.session.get_one(Panel, panel.id)
        found.title = "First thought"
        work.session.flush()
        found.title = "Second thought"
    with bench.db.read() as session:
        added, renamed = changes(session)
        assert [entry.label for entry in change_sets(session)] == ["Added a panel", "Renamed"]
    assert added.before is None
    assert added.after is not None
    assert added.after["title"] == "Two pears"
    assert renamed.before == added.after
    assert renamed.after is not None
    assert renamed.after["title"] == "Second thought"  # one entry, however often it was written
    assert renamed.after["version"] == 2
    assert renamed.after["updated_at"] == (NOW + timedelta(hours=1)).isoformat()


def test_a_value_never_read_is_fetched_for_the_history(bench: Bench) -> None:
    panel = bench.panel()
    with bench.unit() as work:
        found = work.session.get_one(Panel, panel.id)
        work.session.expire(found, ["notes"])
        found.notes = "new"
    with bench.db.read() as session:
        last = changes(session)[-1]
    assert last.before is not None
    assert last.after is not None
    assert (last.before["notes"], last.after["notes"]) == ("", "new")


def test_what_comes_and_goes_within_a_unit_leaves_no_trace(bench: Bench) -> None:
    with bench.unit() as work:
        place = Place(studio_id=bench.actor.studio_id, name="gone", light="room")
        work.session.add(place)
        work.session.flush()
        work.session.delete(place)
    with bench.db.read() as session:
        assert changes(session) == []
        assert change_sets(session) == []


def test_a_unit_in_which_nothing_happens_is_forgotten_unless_it_has_a_key(bench: Bench) -> None:
    with bench.unit():
        pass
    with bench.unit("Looked", key="key-1") as work:
        work.location = "/somewhere"
    with bench.db.read() as session:
        assert [entry.label for entry in change_sets(session)] == ["Looked"]
    with bench.unit(key="key-1") as work:
        assert work.location == "/somewhere"


def test_a_bulk_statement_is_refused(bench: Bench) -> None:
    bench.panel()
    with pytest.raises(RuntimeError, match="no trace"), bench.unit() as work:
        work.session.execute(update(Panel).values(title="all the same"))


def test_a_label_may_be_set_within_and_is_cut_to_fit(bench: Bench) -> None:
    with bench.unit("y" * 500) as work:
        panels.create(work.session, bench.actor, bench.panel_command())
    with bench.unit("Something") as work:
        panels.create(work.session, bench.actor, bench.panel_command())
        work.label = "x" * 500
    with bench.db.read() as session:
        assert [entry.label for entry in change_sets(session)] == ["y" * 300, "x" * 300]


def test_sixteen_writers_through_services_lose_nothing(bench: Bench) -> None:
    """Each adds its word to the same panel's notes, and tries again when it is told of another's change."""
    panel = bench.panel()
    faults: list[BaseException] = []

    def write(word: str) -> None:
        from server.services.errors import Conflict

        try:
            while True:
                with bench.db.read() as session:
                    seen = panels.public(session, panels.get(session, bench.actor, panel.uid))
                wanted = seen.model_copy(update={"notes": f"{seen.notes} {word}".strip()})
                try:
                    with bench.unit() as work:
                        panels.update(work.session, bench.actor, panel.uid, wanted)
                except Conflict:
                    continue
                return
        except BaseException as fault:
            faults.append(fault)

    words = [f"word{number}" for number in range(16)]
    threads = [threading.Thread(target=write, args=(word,)) for word in words]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    with bench.db.read() as session:
        found = panels.get(session, bench.actor, panel.uid)
        assert sorted(found.notes.split()) == sorted(words)
        assert found.version == 1 + len(words)


def test_unit_needs_no_moment(database: Database, bench: Bench) -> None:
    with unit(database, bench.actor, label="Added") as work:
        panel = panels.create(work.session, bench.actor, bench.panel_command())
    assert panel.created_at.tzinfo is not None
