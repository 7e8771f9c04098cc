"""A studio's rows and boards, kept until something in the studio changes.

Reading a studio's rows and working out its boards costs far more than asking whether anything changed, so both are kept
under the studio's *revision*. It has two halves: what the history says (every change of every process is entered
there) and a count of this process's own commits, which also sees rows that were written past the history. The history's
half looks at the last entries together: on PostgreSQL an entry may become visible after one with a higher id.
"""

import threading
from collections.abc import Callable, Hashable
from itertools import count
from typing import Any, TypeVar, cast
from weakref import WeakKeyDictionary

from sqlalchemy import Pool, event, func, select
from sqlmodel import Session, col

from server.services.access import Actor
from server.services.board.rows import StudioRows, load
from server.services.kept import Kept
from server.services.learning_scales import SCALES
from server.services.readings.hours import stamp_of
from server.store.tables import ChangeSet

STUDIOS_KEPT = 16
BOARDS_KEPT = 12  # of one studio: Today and the calendar of a few days
LAST_ENTRIES = 64
WROTE = "wrote_rows"  # key in ``Session.info``

T = TypeVar("T")
# By the pool of connections, which all engines of one database share.
_commits: "WeakKeyDictionary[Pool, int]" = WeakKeyDictionary()
_studios: "WeakKeyDictionary[Pool, Kept[tuple[Hashable, Snapshot]]]" = WeakKeyDictionary()
_lock = threading.Lock()
_numbers = count(1)


class Snapshot:
    """A studio's rows at one revision, and what was made of them. ``number`` is another one for each snapshot."""

    def __init__(self, rows: StudioRows) -> None:
        self.rows = rows
        self.number = next(_numbers)
        self._made: Kept[Any] = Kept(BOARDS_KEPT)

    def keep(self, key: Hashable, make: Callable[[], T]) -> T:
        """What ``make`` gives, made once for ``key``."""
        made = self._made.get(key)
        if made is None:
            made = make()
            self._made.keep({key: made})
        return cast(T, made)


def snapshot(session: Session, actor: Actor) -> Snapshot:
    """The actor's studio as it is now: one query when nothing changed since it was read last."""
    pool = session.get_bind().engine.pool
    kept = _studios.setdefault(pool, Kept(STUDIOS_KEPT))
    key = (actor.studio_id, _commits.get(pool, 0), SCALES.number, _last_entries(session, actor.studio_id))
    found = kept.get(actor.studio_id)
    if found is not None and found[0] == key:
        return found[1]
    rows = load(session, actor)
    assert rows is not None
    made = Snapshot(rows)
    kept.keep({actor.studio_id: (key, made)})
    return made


def _last_entries(session: Session, studio_id: int) -> tuple[Any, ...]:
    last = (
        select(col(ChangeSet.id).label("id"))
        .where(col(ChangeSet.studio_id) == studio_id)
        .order_by(col(ChangeSet.id).desc())
        .limit(LAST_ENTRIES)
        .subquery()
    )
    query = select(func.max(last.c.id), func.sum(last.c.id), stamp_of(studio_id))
    return tuple(session.execute(query).one())


def _note_write(session: Session, _context: object) -> None:
    session.info[WROTE] = True


def _count_commit(session: Session) -> None:
    if session.info.get(WROTE):
        pool = session.get_bind().engine.pool
        with _lock:
            _commits[pool] = _commits.get(pool, 0) + 1


event.listen(Session, "after_flush", _note_write)
event.listen(Session, "after_commit", _count_commit)
