"""A studio's rows and boards, kept until something in the studio changes.

Reading a studio's rows and working out its boards costs far more than asking whether anything changed, so both are kept
under the studio's *revision*. It has two halves: what the history says (every change of every process is entered
there) and a count of this process's own commits, which also sees rows that were written past the history. The history's
half looks at the last entries together: on PostgreSQL an entry may become visible after one with a higher id.
"""

import threading
from collections import Counter
from collections.abc import Callable, Hashable
from itertools import count
from typing import Any, TypeVar, cast
from weakref import WeakKeyDictionary

from sqlalchemy import Pool, event, func, select
from sqlmodel import Session, col

from server.services import plan_reading
from server.services.access import Actor
from server.services.board.rows import StudioRows, load
from server.services.give_way import ROAD
from server.services.kept import Kept
from server.services.learning_scales import revision_of
from server.services.readings.hours import stamp_of
from server.services.unit import studio_of_unit
from server.store.tables import Change, ChangeSet, Private, Studio

STUDIOS_KEPT = 256  # those that somebody looked at last; one of fifty panels takes some 300 kB with its boards
BOARDS_KEPT = 12  # of one studio: Today and the calendar of a few days
LAST_ENTRIES = 64
WROTE = "wrote_rows"  # key in ``Session.info``
ANYBODYS = 0  # no studio has this id

T = TypeVar("T")
# By the pool of connections, which all engines of one database share.
_commits: "WeakKeyDictionary[Pool, Counter[int]]" = WeakKeyDictionary()  # by studio
_studios: "WeakKeyDictionary[Pool, Kept[tuple[Hashable, Snapshot]]]" = WeakKeyDictionary()
_lock = threading.Lock()
_turns = tuple(threading.Lock() for _ in range(61))  # to read a studio's rows
_numbers = count(1)


class Snapshot:
    """A studio's rows at one revision, and what was made of them. ``number`` is another one for each snapshot."""

    def __init__(self, rows: StudioRows) -> None:
        self.rows = rows
        self.number = next(_numbers)
        self._made: Kept[Any] = Kept(BOARDS_KEPT)
        self._turn = threading.Lock()

    def keep(self, key: Hashable, make: Callable[[], T]) -> T:
        """What ``make`` gives, made once for ``key``. ``make`` asks for nothing else that this snapshot keeps."""
        made = self._made.get(key)
        if made is None:
            with ROAD.in_turn(self._turn):
                made = self._made.get(key)
                if made is None:
                    made = make()
                    self._made.keep({key: made})
        return cast(T, made)


def snapshot(session: Session, actor: Actor) -> Snapshot:
    """The actor's studio as it is now: one query when nothing changed since it was read last."""
    pool = session.get_bind().engine.pool
    kept = _studios.setdefault(pool, Kept(STUDIOS_KEPT))
    key = revision(session, actor.studio_id)
    with ROAD.in_turn(_turns[actor.studio_id % len(_turns)]):
        found = kept.get(actor.studio_id)
        if found is not None and found[0] == key and not _is_told_since(session, found[1].rows):
            return found[1]
        rows = load(session, actor)
        assert rows is not None
        made = Snapshot(rows)
        kept.keep({actor.studio_id: (key, made)})
    return made


def _is_told_since(session: Session, rows: StudioRows) -> bool:
    """Whether what was still to be told of the plan in use has come: another process enters it past the history."""
    plan = rows.plan
    return plan is not None and plan.follows and not plan_reading.is_following(session, plan.uid)


def revision(session: Session, studio_id: int) -> Hashable:
    """Another one whenever something of the studio changed that is told anywhere."""
    pool = session.get_bind().engine.pool
    commits = _commits.get(pool, Counter())
    return commits[studio_id], commits[ANYBODYS], _last_entries(session, studio_id)


def last_changes(session: Session) -> dict[int, int]:
    """The last entries of all histories together, each with its studio."""
    query = select(col(ChangeSet.id), col(ChangeSet.studio_id)).order_by(col(ChangeSet.id).desc())
    return {row.id: row.studio_id for row in session.execute(query.limit(LAST_ENTRIES))}


def _last_entries(session: Session, studio_id: int) -> tuple[Any, ...]:
    last = (
        select(col(ChangeSet.id).label("id"))
        .where(col(ChangeSet.studio_id) == studio_id)
        .order_by(col(ChangeSet.id).desc())
        .limit(LAST_ENTRIES)
        .subquery()
    )
    query = select(func.max(last.c.id), func.sum(last.c.id), stamp_of(studio_id), revision_of(studio_id))
    return tuple(session.execute(query).one())


def _note_write(session: Session, _context: object) -> None:
    wrote: set[int] = session.info.setdefault(WROTE, set())
    for row in (*session.new, *session.dirty, *session.deleted):
        if not isinstance(row, Private | ChangeSet | Change):  # boards tell nothing of people, and the history's half
            wrote.add(_studio_of(session, row))


def _studio_of(session: Session, row: Any) -> int:
    """Whose row it is; of what hangs on another row, whose unit of work it is."""
    own = row.id if isinstance(row, Studio) else getattr(row, "studio_id", None)
    return own or studio_of_unit(session) or ANYBODYS


def _count_commit(session: Session) -> None:
    wrote = session.info.get(WROTE)
    if wrote:
        pool = session.get_bind().engine.pool
        with _lock:
            _commits.setdefault(pool, Counter()).update(wrote)
        wrote.clear()


event.listen(Session, "after_flush", _note_write)
event.listen(Session, "after_commit", _count_commit)
