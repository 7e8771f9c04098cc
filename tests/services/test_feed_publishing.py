"""What a calendar tells of an entry that moves, goes and comes back.

RFC 5545, 3.8.7.4: SEQUENCE starts at 0 and grows when the time or the status changes, not with every word; 3.8.7.2:
DTSTAMP is when the entry was revised. That a cancelled one is told for thirty days is our own choice.
"""

import threading
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select
from sqlmodel import col

from server.formats.ical import Entry, Stamp
from server.services import panels
from server.services.board.facts import Moment
from server.services.board.today import moment_of
from server.services.feed_publishing import CANCELLED_D, publish
from server.store.tables import Change, PublishedEvent
from tests.services.conftest import NOW, Bench

ZONE = ZoneInfo("Europe/Prague")
DUE = Entry(
    kind="event",
    uid="due-1",
    panel_uid="panel-1",
    summary="Two pears: due for the show",
    plain="Two pears: due",
    start=date(2026, 12, 12),
    end=date(2026, 12, 13),
    status="CONFIRMED",
)


def at(days: float = 0.0) -> Moment:
    return moment_of(NOW + timedelta(days=days), ZONE)


def told(bench: Bench, *entries: Entry, days: float = 0.0) -> dict[str, tuple[Entry, Stamp]]:
    return {entry.uid: (entry, stamp) for entry, stamp in publish(bench.db, bench.actor, entries, at(days)).entries}


def revise(bench: Bench, days: float) -> datetime:
    """Change something in the studio; when."""
    when = NOW + timedelta(days=days)
    with bench.unit("Changed something", now=when) as work:
        panels.create(work.session, bench.actor, bench.panel_command(title=f"At {days}"))
    return when


@pytest.fixture(autouse=True)
def revised(bench: Bench) -> datetime:
    return revise(bench, -1)


def test_it_starts_at_nought_with_the_moment_of_the_revision(bench: Bench, revised: datetime):
    assert told(bench, DUE)["due-1"] == (DUE, Stamp(0, revised, revised))


def test_asked_again_it_says_the_same_and_writes_nothing(bench: Bench):
    first = told(bench, DUE)
    with bench.db.read() as session:
        rows = session.scalars(select(PublishedEvent)).all()
    assert told(bench, DUE, days=3) == first
    with bench.db.read() as session:
        assert session.scalars(select(PublishedEvent)).all() == rows
        assert not session.scalars(select(Change).where(col(Change.table_name) == "published_event")).all()


def test_a_date_that_moves_makes_the_sequence_grow_each_time(bench: Bench, revised: datetime):
    told(bench, DUE)
    for number in (1, 2, 3):
        when = revise(bench, number)
        moved = replace(DUE, start=DUE.start + timedelta(days=number), end=date(2026, 12, 13) + timedelta(days=number))
        assert told(bench, moved, days=number)["due-1"][1] == Stamp(number, revised, when)


def test_other_words_are_a_revision_and_no_move(bench: Bench, revised: datetime):
    told(bench, DUE)
    when = revise(bench, 1)
    said = replace(DUE, description="chance of keeping it: about 15 in 20")
    assert told(bench, said, days=1)["due-1"][1] == Stamp(0, revised, when)


def test_where_only_time_went_on_the_stamp_is_of_then_and_stays(bench: Bench, revised: datetime):
    told(bench, DUE)
    said = replace(DUE, description="chance of keeping it: about 14 in 20")
    stamp = told(bench, said, days=2)["due-1"][1]
    assert revised < stamp.changed_at <= NOW + timedelta(days=2)
    assert told(bench, said, days=5)["due-1"][1] == stamp


def test_one_that_goes_away_is_told_as_cancelled_for_a_while_and_may_come_back(bench: Bench):
    told(bench, DUE)
    when = revise(bench, 1)
    entry, stamp = told(bench, days=1)["due-1"]
    assert (entry.status, stamp.sequence, stamp.changed_at) == ("CANCELLED", 1, when)
    assert entry.summary == "Two pears: due"  # without its details, which only those who may see them were told
    assert told(bench, days=CANCELLED_D)["due-1"] == (entry, stamp)
    assert "due-1" not in told(bench, days=CANCELLED_D + 2)
    back, stamp = told(bench, DUE, days=CANCELLED_D + 3)["due-1"]
    assert (back.status, stamp.sequence) == ("CONFIRMED", 2)


def test_one_that_has_passed_stays_as_it_was_and_fades_at_last(bench: Bench):
    told(bench, DUE)
    assert told(bench, days=18)["due-1"][0].status == "CONFIRMED"  # 13 December is over
    assert told(bench, days=18)["due-1"][1].sequence == 0
    assert "due-1" not in told(bench, days=18 + 93)


def test_a_task_that_is_not_wanted_any_more_is_not_left_standing(bench: Bench):
    task = replace(DUE, kind="task", status="NEEDS-ACTION")
    told(bench, task)
    assert told(bench, days=18)["due-1"][0].status == "CANCELLED"
    assert told(bench, replace(task, uid="open", end=None), days=400)["open"][0].status == "NEEDS-ACTION"


def test_a_range_that_has_begun_keeps_its_first_day(bench: Bench):
    """What a forecast leaves out is what has passed: that is no move."""
    ready = replace(DUE, start=date(2026, 11, 24), end=date(2026, 11, 30), status="TENTATIVE")
    first = told(bench, ready)["due-1"]
    later = told(bench, replace(ready, start=date(2026, 11, 27)), days=2)["due-1"]
    assert later == first
    moved = told(bench, replace(ready, end=date(2026, 12, 2)), days=2)["due-1"]
    assert (moved[0].start, moved[1].sequence) == (date(2026, 11, 24), 1)


def test_no_studio_learns_of_another(bench: Bench, stranger: Bench):
    told(bench, DUE)
    assert told(stranger) == {}
    assert told(stranger, DUE)["due-1"][1].sequence == 0


def test_many_who_ask_at_once_note_one_row_an_entry(bench: Bench):
    entries = [replace(DUE, uid=f"due-{n}") for n in range(20)]
    faults: list[BaseException] = []
    gate = threading.Barrier(8)

    def ask() -> None:
        try:
            gate.wait()
            told(bench, *entries)
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not faults
    with bench.db.read() as session:
        assert len(session.scalars(select(PublishedEvent)).all()) == 20
